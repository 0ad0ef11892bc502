// The limits of a rig as a list in SI: what the station judges by, what a plan prints, what the board gets in counts.
import type { ChannelKind } from './channel';
import type { Rig } from './files/rig';
import type { TripCode } from './trip';

export type LimitKind =
  | 'above' | 'below' | 'mean-above' | 'stall' | 'desync' | 'desync-count' | 'stale' | 'impossible' | 'frozen' | 'host-silence'
  | 'longest-run' | 'sag' | 'trend' | 'mismatch';

/** One limit in SI. */
export interface Limit {
  /** Where it stands in the rig file, e.g. `limits.current_peak`. */
  readonly key: string;
  readonly kind: LimitKind;
  /** The channel that it watches; null for a limit on no channel. */
  readonly channel: ChannelKind | null;
  /** In `unit`. Where a limit has only a time (stale, silence), the same as the window. */
  readonly value: number;
  readonly unit: string;
  /** Seconds it must be so, or over which the mean or slope is taken; null where there is no window. */
  readonly window_s: number | null;
  readonly code: TripCode;
}

/** Channels whose count must keep changing while the motor turns: their noise is above one count on any sound rig. */
export const FROZEN_KINDS: readonly ChannelKind[] = ['current', 'thrust'];
/** Channels that the board watches for impossible readings; speed is invalid at rest by nature, torque stops nothing. */
export const IMPOSSIBLE_KINDS: readonly ChannelKind[] = ['current', 'voltage', 'thrust', 'motor_temperature', 'esc_temperature'];

/** Every limit of the rig, in the order of the file; the throttle cap is no limit on a reading and not among them. */
export function limitList(rig: Rig): Limit[] {
  const l = rig.limits;
  const list: Limit[] = [];
  const add = (name: string, kind: LimitKind, channel: ChannelKind | null, value: number, unit: string, window_s: number | null, code: TripCode): void => {
    list.push({ key: `limits.${name}`, kind, channel, value, unit, window_s, code });
  };
  add('current_peak', 'above', 'current', l.current_peak.above_A, 'A', l.current_peak.for_s, 'CURRENT_PEAK');
  add('current_mean', 'mean-above', 'current', l.current_mean.above_A, 'A', l.current_mean.over_s, 'CURRENT_MEAN');
  if (l.voltage_low) add('voltage_low', 'below', 'voltage', l.voltage_low.below_V, 'V', l.voltage_low.for_s, 'VOLTAGE_LOW');
  add('voltage_high', 'above', 'voltage', l.voltage_high.above_V, 'V', l.voltage_high.for_s, 'VOLTAGE_HIGH');
  if (l.motor_temperature) add('motor_temperature', 'above', 'motor_temperature', l.motor_temperature.above_degC, 'degC', l.motor_temperature.for_s, 'MOTOR_TEMPERATURE');
  if (l.esc_temperature) add('esc_temperature', 'above', 'esc_temperature', l.esc_temperature.above_degC, 'degC', l.esc_temperature.for_s, 'ESC_TEMPERATURE');
  if (l.speed) add('speed', 'above', 'speed', l.speed.above_rpm, 'rpm', l.speed.for_s, 'OVERSPEED');
  if (l.thrust) add('thrust', 'above', 'thrust', l.thrust.above_N, 'N', l.thrust.for_s, 'THRUST');
  if (l.stall) add('stall', 'stall', 'current', l.stall.current_A, 'A', l.stall.for_s, 'STALL');
  if (l.desync) {
    add('desync', 'desync', 'speed', l.desync.sustained_s, 's', l.desync.sustained_s, 'DESYNC_SUSTAINED');
    add('desync', 'desync-count', 'speed', l.desync.count, '1', null, 'DESYNC_COUNT');
  }
  for (const { kind } of rig.channels) add('sensor_stale', 'stale', kind, staleAfter_s(rig, kind), 's', staleAfter_s(rig, kind), 'SENSOR_STALE');
  for (const { kind } of watched(rig, IMPOSSIBLE_KINDS)) add('sensor_stale', 'impossible', kind, l.sensor_stale, '1', staleAfter_s(rig, kind), 'SENSOR_IMPOSSIBLE');
  if (l.sensor_frozen_s !== null) for (const { kind } of watched(rig, FROZEN_KINDS)) add('sensor_frozen', 'frozen', kind, l.sensor_frozen_s, 's', l.sensor_frozen_s, 'SENSOR_FROZEN');
  add('host_silence', 'host-silence', null, l.host_silence_s, 's', l.host_silence_s, 'HOST_SILENT');
  add('longest_run', 'longest-run', null, l.longest_run_s, 's', l.longest_run_s, 'LONGEST_RUN');
  if (l.supply_sag) add('supply_sag', 'sag', 'voltage', l.supply_sag.below, '1', l.supply_sag.for_s, 'SUPPLY_SAG');
  if (l.trend) {
    const { motor_K_per_s, esc_K_per_s, over_s } = l.trend;
    if (motor_K_per_s !== null) add('trend.motor_temperature', 'trend', 'motor_temperature', motor_K_per_s, 'K/s', over_s, 'TREND');
    if (esc_K_per_s !== null) add('trend.esc_temperature', 'trend', 'esc_temperature', esc_K_per_s, 'K/s', over_s, 'TREND');
  }
  if (l.mismatch) add('mismatch', 'mismatch', 'thrust', l.mismatch.thrust, '1', l.mismatch.for_s, 'MISMATCH');
  return list;
}

/** Age of the last fresh sample at which a channel is stale: the stated number of its periods, at least three ticks. */
export function staleAfter_s(rig: Rig, kind: ChannelKind): number {
  const channel = rig.channels.find((c) => c.kind === kind);
  return Math.max(rig.limits.sensor_stale * (channel?.period_us ?? 0), 3 * rig.tick_us) / 1e6;
}

/** Fresh samples of a channel that fit into a time; at least one. */
export function freshIn(window_s: number, period_us: number): number {
  return Math.max(1, Math.floor((window_s * 1e6) / period_us + 1e-6));
}

/** Most of the window: three quarters of n, rounded up. Fewer would trip on noise, all of them would never trip on noise. */
export function badOf(n: number): number {
  return Math.ceil((3 * n) / 4);
}

function watched(rig: Rig, kinds: readonly ChannelKind[]) {
  return rig.channels.filter((c) => kinds.includes(c.kind));
}
