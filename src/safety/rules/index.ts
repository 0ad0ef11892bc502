// Which rules a rig's limits make.
import type { ChannelFact, ChannelKind } from '../../model/channel';
import type { RigLimits } from '../../model/files/rig';
import { FROZEN_KINDS } from '../../model/limits';
import { UNIT_OF, type Channel, type Row } from '../row';
import type { Rule } from '../rule';
import { History } from './held';
import { LevelRule, LevelRules, type LevelLimit } from './level';
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
  /** Tick of the controller, µs. */
  readonly tick_us: number;
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

/** The rules by class: a loop over objects of one class is several times faster than one over a mixture. */
export interface RuleSet {
  readonly channels: readonly Channel[];
  readonly rotation: RotationWatch | null;
  readonly thrust: ThrustWatch | null;
  // stepped on each fresh, possible sample of their channel
  readonly levels: LevelRules;
  readonly means: readonly MeanRule[];
  readonly frozen: readonly FrozenRule[];
  readonly trends: readonly TrendRule[];
  readonly limiting: readonly SupplyLimitingRule[];
  readonly lost: readonly PropellerLostRule[];
  readonly mismatch: readonly MismatchRule[];
  // stepped every row
  readonly stale: StaleRule;
  readonly impossible: ImpossibleRule;
  readonly stall: readonly StallRule[];
  readonly sustained: readonly DesyncSustainedRule[];
  readonly desyncs: readonly DesyncCountRule[];
  readonly silence: SilenceRule;
  readonly segment: SegmentTimeoutRule;
  readonly protocol: RunTimeRule;
  readonly longest: RunTimeRule;
  readonly pace: Pace;
  /** All of them, in the order in which causes are told. */
  readonly all: readonly Rule[];
  /** Longest duration of each segment, µs, by ordinal: filled while segments are fed. */
  readonly bounds: Map<number, number>;
}

/** When the rules about time (all but silence) must be stepped again: from `due_us` on, or when the board does something else. */
export interface Pace {
  due_us: number;
  driving: boolean;
  ordinal: number;
  /** Least time without rotation that matters, µs. */
  readonly lostLeast_us: number;
}

/** Below this throttle a missing rotation is never a desync, whatever the rig says its idle is. */
const IDLE_LEAST = 0.05;
/** Readings that must not stand still, and how far the throttle must have moved meanwhile: a speed may honestly be steady. */
const FROZEN = [...FROZEN_KINDS.map((kind) => [kind, 0] as const), ['speed', 0.1] as const];
const SUPPLY_LIMITING_FOR_S = 0.05;
/** Ages below this many ticks of the controller mean nothing. */
const STALE_TICKS = 3;

export function makeRules(setup: JudgeSetup): RuleSet {
  const channels = setup.facts.map((f): Channel => ({ id: f.id, kind: f.kind, column: f.column, unit: UNIT_OF[f.kind], period_us: f.period_us }));
  const of = (kind: ChannelKind) => channels.filter((c) => c.kind === kind);
  const { limits } = setup;
  const bounds = new Map<number, number>();
  const [current] = of('current');
  const [voltage] = of('voltage');

  const history = new History(channels.length);
  const levels = levelsOf(setup).flatMap(([kind, limit]) => of(kind).map((channel) => new LevelRule(channel, limit, history)));
  const means = of('current').map((channel) => new MeanRule(channel, limits.current_mean.above_A, limits.current_mean.over_s));
  const { supply_V, supplyLimit_A } = setup;
  const limiting = supply_V === null || supplyLimit_A === null ? [] : [new SupplyLimitingRule(current, voltage, supplyLimit_A, supply_V, limits.supply_sag?.for_s ?? SUPPLY_LIMITING_FOR_S)];
  const { sensor_frozen_s, trend } = limits;
  const frozen = sensor_frozen_s === null ? [] : FROZEN.flatMap(([kind, moved]) => of(kind).map((channel) => new FrozenRule(channel, sensor_frozen_s * 1e6, moved)));
  const rises = [['motor_temperature', trend?.motor_K_per_s ?? null], ['esc_temperature', trend?.esc_K_per_s ?? null]] as const;
  const trends = trend === null ? [] : rises.flatMap(([kind, rise]) => (rise === null ? [] : of(kind).map((channel) => new TrendRule(channel, rise, trend.over_s))));
  const thrust = makeThrust(setup, of);
  const { mismatch: gap } = limits;
  const lost = thrust === null ? [] : [new PropellerLostRule(thrust)];
  const mismatch = thrust === null || gap === null ? [] : [new MismatchRule(thrust, gap.thrust)];
  const stale = new StaleRule(channels, limits.sensor_stale, STALE_TICKS * setup.tick_us);
  const impossible = new ImpossibleRule(channels);
  const { stall: blocked, desync } = limits;
  const [speed] = of('speed');
  const rotation = speed === undefined ? null : new RotationWatch(speed, Math.max(IDLE_LEAST, setup.idle), limits.stop.speed_rpm, desync?.sustained_s ?? Infinity);
  const stall = rotation === null || blocked === null ? [] : [new StallRule(rotation, current, blocked)];
  const sustained = rotation === null || desync === null ? [] : [new DesyncSustainedRule(rotation, speed, desync.sustained_s)];
  const desyncs = rotation === null || desync === null ? [] : [new DesyncCountRule(rotation, speed, desync.count)];
  const silence = new SilenceRule(limits.host_silence_s * 1e6);
  const segment = new SegmentTimeoutRule(bounds);
  const protocol = new RunTimeRule('PROTOCOL_TIMEOUT', Infinity);
  const longest = new RunTimeRule('LONGEST_RUN', limits.longest_run_s);
  const pace: Pace = { due_us: -Infinity, driving: false, ordinal: 0, lostLeast_us: Math.min(Infinity, ...[...stall, ...sustained].map((r) => r.longest_us)) };
  const all = [
    ...levels, ...means, ...limiting, stale, impossible, ...frozen, ...stall, ...sustained, ...desyncs, ...trends, ...lost, ...mismatch,
    silence, segment, protocol, longest,
  ];
  return {
    channels, rotation, thrust, levels: new LevelRules(levels, history), means, frozen, trends, limiting, lost, mismatch, stale, impossible, stall, sustained, desyncs, silence,
    segment, protocol, longest, pace, all, bounds,
  };
}

/**
 * Steps every rule that this row concerns; true when any of them is broken. In four pieces, because a compiler puts only so
 * much into one: in a single piece the same work takes half as long again.
 */
export function stepRules(rules: RuleSet, row: Row): boolean {
  rules.rotation?.step(row);
  rules.thrust?.step(row);
  // Every piece must run: no short cut.
  const levels = rules.levels.step(row);
  const readings = stepReadings(rules, row);
  const derived = stepDerived(rules, row);
  const times = stepTimes(rules, row);
  return levels || readings || derived || times;
}

function stepReadings({ means, frozen, stale, impossible }: RuleSet, row: Row): boolean {
  const { good } = row;
  let broken = stale.step(row);
  if (impossible.step(row)) broken = true;
  for (let i = 0; i < means.length; i++) if ((good & means[i].bit) !== 0 && means[i].step(row)) broken = true;
  for (let i = 0; i < frozen.length; i++) if ((good & frozen[i].bit) !== 0 && frozen[i].step(row)) broken = true;
  return broken;
}

function stepDerived({ trends, limiting, lost, mismatch }: RuleSet, row: Row): boolean {
  const { good } = row;
  let broken = false;
  for (let i = 0; i < trends.length; i++) if ((good & trends[i].bit) !== 0 && trends[i].step(row)) broken = true;
  for (let i = 0; i < limiting.length; i++) if ((good & limiting[i].bit) !== 0 && limiting[i].step(row)) broken = true;
  for (let i = 0; i < lost.length; i++) if ((good & lost[i].bit) !== 0 && lost[i].step()) broken = true;
  for (let i = 0; i < mismatch.length; i++) if ((good & mismatch[i].bit) !== 0 && mismatch[i].step(row)) broken = true;
  return broken;
}

/** Rules about time have nothing to say until the first of them is due, unless the board does something else. */
function stepTimes(rules: RuleSet, row: Row): boolean {
  const { pace, rotation } = rules;
  const silent = rules.silence.step(row);
  const ended = rotation !== null && rotation.ended !== null;
  if (row.tick_us < pace.due_us && row.driving === pace.driving && row.ordinal === pace.ordinal && !ended) {
    if (row.driving) rules.protocol.last_us = rules.longest.last_us = row.tick_us;
    return silent;
  }
  const broken = stepDue(rules, row);
  pace.driving = row.driving;
  pace.ordinal = row.ordinal;
  // While one is broken, every row may end that. Without rotation, the time that counts began now at the earliest.
  if (broken) pace.due_us = -Infinity;
  else {
    const without_us = rotation === null ? Infinity : rotation.without_us < 0 ? row.tick_us : rotation.without_us;
    pace.due_us = Math.min(rules.segment.due_us, rules.protocol.due_us, rules.longest.due_us, without_us + pace.lostLeast_us);
  }
  return silent || broken;
}

function stepDue(rules: RuleSet, row: Row): boolean {
  const { stall, sustained, desyncs } = rules;
  let broken = false;
  for (let i = 0; i < stall.length; i++) if (stall[i].step(row)) broken = true;
  for (let i = 0; i < sustained.length; i++) if (sustained[i].step(row)) broken = true;
  for (let i = 0; i < desyncs.length; i++) if (desyncs[i].step(row)) broken = true;
  if (rules.segment.step(row)) broken = true;
  if (rules.protocol.step(row)) broken = true;
  if (rules.longest.step(row)) broken = true;
  return broken;
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
  return levels;
}

function makeThrust(setup: JudgeSetup, of: (kind: ChannelKind) => Channel[]): ThrustWatch | null {
  const [thrust] = of('thrust');
  const [speed] = of('speed');
  const [current] = of('current');
  const [voltage] = of('voltage');
  if (setup.propeller_m === null || thrust === undefined || speed === undefined) return null;
  const u_offset = setup.facts.find((f) => f.kind === 'thrust')?.u_offset ?? 0;
  const floor_N = Math.max(0.01, 10 * u_offset, 0.02 * (setup.limits.thrust?.above_N ?? 0));
  return new ThrustWatch({ thrust, speed, current, voltage, diameter_m: setup.propeller_m, still_rpm: setup.limits.stop.speed_rpm, floor_N, mismatch: setup.limits.mismatch });
}
