// Which rules a rig's limits make.
import type { ChannelFact, ChannelKind } from '../../model/channel';
import type { RigLimits } from '../../model/files/rig';
import { UNIT_OF, type Channel } from '../row';
import type { Rule } from '../rule';
import { LevelRule, type LevelLimit } from './level';
import { MeanRule } from './mean';
import { MismatchRule, PropellerLostRule, ThrustWatch } from './propeller';
import { DesyncCountRule, DesyncSustainedRule, RotationWatch, StallRule } from './rotation';
import { FrozenRule, ImpossibleRule, StaleRule } from './sensors';
import { SupplyLimitingRule } from './supply';
import { RunTimeRule, SegmentTimeoutRule, SilenceRule } from './time';
import { TrendRule } from './trend';

/** What the judge is set up with. */
export interface JudgeSetup {
  readonly facts: readonly ChannelFact[];
  readonly limits: RigLimits;
  /** Least throttle at which the motor turns, 0..1 (`throttle.idle` of the rig). */
  readonly idle: number;
  /** Voltage that the supply is set to, V; null: unknown, sag is not judged. */
  readonly supply_V: number | null;
  /** Current limit of the supply, A; null: unknown, or a battery beside it carries the peaks. */
  readonly supplyLimit_A: number | null;
  /** Diameter of the mounted propeller, m; null: none is mounted, thrust is not expected. */
  readonly propeller_m: number | null;
  /** What the sensors can show, in SI; a channel that is left out can show anything. */
  readonly spans?: Partial<Record<ChannelKind, { readonly from: number; readonly to: number }>>;
}

export interface RuleSet {
  readonly channels: readonly Channel[];
  /** Stepped on each fresh, possible sample of their channel: index = channel id. */
  readonly onSample: readonly (readonly Rule[])[];
  /** Stepped every row. */
  readonly onRow: readonly Rule[];
  readonly rotation: RotationWatch | null;
  readonly thrust: ThrustWatch | null;
  readonly protocol: RunTimeRule;
  /** Longest duration of each segment, µs, by ordinal: filled while segments are fed. */
  readonly bounds: Map<number, number>;
}

/** Below this throttle a missing rotation is never a desync, whatever the rig says its idle is. */
const IDLE_LEAST = 0.05;
/** A channel that can honestly stand still counts as frozen when the throttle moved by this much meanwhile. */
const FROZEN_MOVED = 0.1;
const SUPPLY_LIMITING_FOR_S = 0.05;

export function makeRules(setup: JudgeSetup): RuleSet {
  const channels = setup.facts.map((f): Channel => ({ id: f.id, kind: f.kind, column: f.column, unit: UNIT_OF[f.kind], period_us: f.period_us }));
  const of = (kind: ChannelKind) => channels.find((c) => c.kind === kind);
  const { limits } = setup;
  const onSample: Rule[][] = channels.map(() => []);
  const onRow: Rule[] = [];
  const add = (rule: Rule) => (rule.channel === null ? onRow : onSample[rule.channel]).push(rule);

  for (const [kind, limit] of levelsOf(setup)) {
    const channel = of(kind);
    if (channel !== undefined) add(new LevelRule(channel, limit));
  }
  const current = of('current');
  const voltage = of('voltage');
  const speed = of('speed');
  if (current !== undefined) add(new MeanRule(current, limits.current_mean.above_A, limits.current_mean.over_s));
  if (current !== undefined && voltage !== undefined && setup.supplyLimit_A !== null && setup.supply_V !== null)
    add(new SupplyLimitingRule(current, voltage, setup.supplyLimit_A, setup.supply_V, limits.supply_sag?.for_s ?? SUPPLY_LIMITING_FOR_S));

  add(new StaleRule(channels, limits.sensor_stale));
  for (const channel of channels) if (channel.kind !== 'speed') add(new ImpossibleRule(channel));
  if (limits.sensor_frozen_s !== null)
    for (const [kind, moved] of [['current', 0], ['thrust', 0], ['speed', FROZEN_MOVED]] as const) {
      const channel = of(kind);
      if (channel !== undefined) add(new FrozenRule(channel, limits.sensor_frozen_s * 1e6, moved));
    }

  const rotation = speed === undefined ? null : new RotationWatch(speed, Math.max(IDLE_LEAST, setup.idle), limits.desync?.sustained_s ?? Infinity);
  if (rotation !== null && speed !== undefined) {
    if (limits.stall !== null && current !== undefined) add(new StallRule(rotation, current, limits.stall));
    if (limits.desync !== null) {
      add(new DesyncSustainedRule(rotation, speed, limits.desync.sustained_s));
      add(new DesyncCountRule(rotation, speed, limits.desync.count));
    }
  }
  if (limits.trend !== null)
    for (const [kind, rise] of [['motor_temperature', limits.trend.motor_K_per_s], ['esc_temperature', limits.trend.esc_K_per_s]] as const) {
      const channel = of(kind);
      if (channel !== undefined && rise !== null) add(new TrendRule(channel, rise, limits.trend.over_s));
    }

  const thrust = makeThrust(setup, of);
  if (thrust !== null) {
    add(new PropellerLostRule(thrust));
    if (limits.mismatch !== null) add(new MismatchRule(thrust, limits.mismatch.thrust));
  }

  const bounds = new Map<number, number>();
  const protocol = new RunTimeRule('PROTOCOL_TIMEOUT', Infinity);
  add(new SilenceRule(limits.host_silence_s * 1e6));
  add(new SegmentTimeoutRule(bounds));
  add(protocol);
  add(new RunTimeRule('LONGEST_RUN', limits.longest_run_s));
  return { channels, onSample, onRow, rotation, thrust, protocol, bounds };
}

function levelsOf(setup: JudgeSetup): [ChannelKind, LevelLimit][] {
  const { limits: l, supply_V } = setup;
  const levels: [ChannelKind, LevelLimit][] = [
    ['current', { code: 'CURRENT_PEAK', name: 'current_peak', side: 'above', limit: l.current_peak.above_A, for_s: l.current_peak.for_s }],
    ['voltage', { code: 'VOLTAGE_HIGH', name: 'voltage_high', side: 'above', limit: l.voltage_high.above_V, for_s: l.voltage_high.for_s }],
  ];
  const above = (kind: ChannelKind, code: LevelLimit['code'], name: string, limit: number, for_s: number) => levels.push([kind, { code, name, side: 'above', limit, for_s }]);
  if (l.voltage_low !== null) levels.push(['voltage', { code: 'VOLTAGE_LOW', name: 'voltage_low', side: 'below', limit: l.voltage_low.below_V, for_s: l.voltage_low.for_s }]);
  if (l.supply_sag !== null && supply_V !== null)
    levels.push(['voltage', { code: 'SUPPLY_SAG', name: 'supply_sag', side: 'below', limit: l.supply_sag.below * supply_V, for_s: l.supply_sag.for_s }]);
  if (l.motor_temperature !== null) above('motor_temperature', 'MOTOR_TEMPERATURE', 'motor_temperature', l.motor_temperature.above_degC, l.motor_temperature.for_s);
  if (l.esc_temperature !== null) above('esc_temperature', 'ESC_TEMPERATURE', 'esc_temperature', l.esc_temperature.above_degC, l.esc_temperature.for_s);
  if (l.speed !== null) above('speed', 'OVERSPEED', 'speed', l.speed.above_rpm, l.speed.for_s);
  if (l.thrust !== null) above('thrust', 'THRUST', 'thrust', l.thrust.above_N, l.thrust.for_s);
  if (l.torque !== null) above('torque', 'THRUST', 'torque', l.torque.above_Nm, l.torque.for_s);
  return levels;
}

function makeThrust(setup: JudgeSetup, of: (kind: ChannelKind) => Channel | undefined): ThrustWatch | null {
  const thrust = of('thrust');
  const speed = of('speed');
  const current = of('current');
  const voltage = of('voltage');
  if (setup.propeller_m === null || thrust === undefined || speed === undefined || current === undefined || voltage === undefined) return null;
  const u_offset = setup.facts.find((f) => f.kind === 'thrust')?.u_offset ?? 0;
  const floor_N = Math.max(0.01, 10 * u_offset, 0.02 * (setup.limits.thrust?.above_N ?? 0));
  return new ThrustWatch({ thrust, speed, current, voltage, diameter_m: setup.propeller_m, floor_N, mismatch: setup.limits.mismatch });
}
