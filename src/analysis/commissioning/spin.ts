/** The first spin of a rig: does stop stand still, does idle turn, and do speed, voltage and thrust fit together? */
import { between, channelOf, withRole, type PlayedSegment, type RunData } from '../run-data';
import { idealMoistAir, STANDARD_DENSITY_kg_m3 } from '../physics/air';
import { thrustCoefficient } from '../physics/propeller';
import { mean } from '../stats/summary';

/** Means over the last half of a level; null without samples. */
export interface LevelReading {
  readonly throttle: number;
  readonly speed_rpm: number | null;
  readonly current_A: number | null;
  readonly voltage_V: number | null;
  readonly thrust_N: number | null;
  /** Share of the expected speed samples that came: a motor that stands has no speed to tell. */
  readonly turning: number | null;
}

/** Readings of the first level with this role; null when it was not played. */
export function levelReading(data: RunData, role: string): LevelReading | null {
  const segment = withRole(data, role).at(0);
  if (segment === undefined) return null;
  const from_s = (segment.start_s + segment.end_s) / 2;
  const value = (kind: Parameters<typeof channelOf>[1]): number | null => meanBetween(data, kind, from_s, segment.end_s);
  const speed = channelOf(data, 'speed');
  const got = speed === null ? 0 : between(speed, from_s, segment.end_s).value.length;
  return {
    throttle: mean(between(data.throttle, from_s, segment.end_s).value), speed_rpm: value('speed'), current_A: value('current'), voltage_V: value('voltage'),
    thrust_N: value('thrust'), turning: speed === null ? null : Math.min(1, (got * speed.period_s) / (segment.end_s - from_s)),
  };
}

/** Mean of a channel over a played segment (all of it, or its last share); null without samples. */
export function segmentMean(data: RunData, segment: PlayedSegment, kind: Parameters<typeof channelOf>[1], share = 1): number | null {
  return meanBetween(data, kind, segment.end_s - share * (segment.end_s - segment.start_s), segment.end_s);
}

function meanBetween(data: RunData, kind: Parameters<typeof channelOf>[1], from_s: number, to_s: number): number | null {
  const channel = channelOf(data, kind);
  if (channel === null) return null;
  const { value } = between(channel, from_s, to_s);
  return value.length === 0 ? null : mean(value);
}

/** The load cell's zero after a spin less that before it, N; null where it was not measured. */
export function zeroShift(data: RunData): number | null {
  const before = withRole(data, 'zero-before').at(0);
  const after = withRole(data, 'zero-after').at(-1);
  if (before === undefined || after === undefined) return null;
  const a = segmentMean(data, before, 'thrust');
  const b = segmentMean(data, after, 'thrust');
  return a === null || b === null ? null : b - a;
}

export interface PoleCount {
  /** Speed that the declared KV leads to expect at this throttle, rpm. */
  readonly expected_rpm: number;
  /** Measured over expected speed. */
  readonly ratio: number;
  /** The whole number of pole pairs that fits best. */
  readonly likely_pairs: number;
}

/**
 * Cross-check of the declared pole pairs. The indicated speed is inversely proportional to the declared pairs, the speed
 * that KV, throttle and voltage lead to expect is not: n = KV·(d·V − R·I/d), where the motor current is the supply current
 * over the duty d (a step-down converter passes power on).
 * @returns null when a reading is missing or the motor hardly turns
 */
export function poleCount(level: LevelReading, motor: { readonly kv_rpm_per_V: number; readonly resistance_ohm: number | null; readonly pole_pairs: number }): PoleCount | null {
  const { throttle, voltage_V, current_A, speed_rpm } = level;
  if (voltage_V === null || speed_rpm === null || !(throttle > 0)) return null;
  const drop_V = ((motor.resistance_ohm ?? 0) * Math.max(0, current_A ?? 0)) / throttle;
  const expected_rpm = motor.kv_rpm_per_V * (throttle * voltage_V - drop_V);
  if (!(expected_rpm > 0)) return null;
  const ratio = speed_rpm / expected_rpm;
  return { expected_rpm, ratio, likely_pairs: Math.max(1, Math.round(motor.pole_pairs * ratio)) };
}

/**
 * Static thrust coefficient CT = T/(ρ·n²·D⁴) of a level; null where thrust, speed or diameter are unknown.
 * Air as declared, else the standard 1.225 kg/m³.
 */
export function levelThrustCoefficient(level: LevelReading, zero_N: number, diameter_m: number | null, air: RunData['facts']['air']): number | null {
  if (level.thrust_N === null || level.speed_rpm === null || diameter_m === null || !(level.speed_rpm > 0)) return null;
  const density_kg_m3 = air === null ? STANDARD_DENSITY_kg_m3 : idealMoistAir(air);
  return thrustCoefficient(level.thrust_N - zero_N, { speed_rpm: level.speed_rpm, diameter_m, density_kg_m3 });
}
