// The judge: every row, in device time, before anybody else sees it. First cause latches, later causes are kept behind it.
import { SITable } from '../model/channel';
import { BOARD_STATES, THROTTLE_FULL, type BoardState, type SampleBlock } from '../model/sample';
import type { Trip, TripCode } from '../model/trip';
import { copy } from './copy';
import { holds, latchTrip, OPEN_LATCH, type Latch } from './latch';
import { Row, showTime } from './row';
import type { Finding } from './rule';
import { makeRules, stepRules, type JudgeSetup, type RuleSet } from './rules';
import type { Desync } from './rules/rotation';

export type { JudgeSetup } from './rules';

const READY = BOARD_STATES.indexOf('ready');
const DRIVING = BOARD_STATES.indexOf('driving');
const TRIPPED = BOARD_STATES.indexOf('tripped');

/** Everything the judge remembers. Changed in place by {@link advance}; {@link judge} leaves it alone and returns another. */
export interface JudgeState {
  readonly setup: JudgeSetup;
  readonly rules: RuleSet;
  readonly row: Row;
  latch: Latch;
  /** The desync that ended in the latest row, or null. */
  desync: Desync | null;
  /** Conditions that come from elsewhere and stand until they are taken back, by code: text for people. */
  readonly outside: Map<TripCode, string>;
  /** Conversion, and least and greatest SI value that the channel can show, by channel id. */
  readonly table: SITable;
  readonly low: Float64Array;
  readonly high: Float64Array;
}

/** A row as plain data, for the pure function. */
export interface Sample {
  readonly throttle: number;
  readonly state: BoardState;
  readonly ordinal: number;
  readonly fresh: number;
  readonly valid: number;
  readonly counts: readonly number[];
}

export interface Verdict {
  /** Nothing is broken and nothing is latched. */
  readonly content: boolean;
  /** Trips that this row latched, in order. */
  readonly trips: readonly Trip[];
  /** What is broken now; blocks arming. */
  readonly conditions: readonly Finding[];
  readonly desync: Desync | null;
}

/** A judge that has seen nothing yet. */
export function startJudge(setup: JudgeSetup): JudgeState {
  const low = new Float64Array(setup.facts.length).fill(-Number.MAX_VALUE);
  const high = new Float64Array(setup.facts.length).fill(Number.MAX_VALUE);
  for (const fact of setup.facts) {
    const span = setup.spans?.[fact.kind];
    if (span === undefined) continue;
    high[fact.id] = span.to;
    // A speed below what the sensor can show is a motor that hardly turns, not a broken sensor.
    if (fact.kind !== 'speed') low[fact.id] = span.from;
  }
  const table = new SITable(setup.facts.map((fact) => fact.conversion));
  return { setup, rules: makeRules(setup), row: new Row(), latch: OPEN_LATCH, desync: null, outside: new Map(), table, low, high };
}

/** A run begins: windows run on, what belongs to one run starts afresh. `bound_s`: longest that the protocol may take. */
export function beginRun(state: JudgeState, bound_s: number): void {
  for (const rule of state.rules.all) rule.begin();
  state.rules.levels.begin();
  state.rules.rotation?.begin();
  state.rules.thrust?.begin();
  state.rules.protocol.bound_us = bound_s * 1e6;
  state.rules.pace.due_us = -Infinity;
}

/** Pure: the state after a row, and the verdict on it. `time_us`: the row's device time, unwrapped. */
export function judge(state: JudgeState, sample: Sample, time_us: number): [JudgeState, Verdict] {
  const next = copy(state);
  const block: SampleBlock = {
    rows: 1,
    tick_us: Float64Array.of(time_us),
    throttle: Uint16Array.of(sample.throttle),
    state: Uint8Array.of(BOARD_STATES.indexOf(sample.state)),
    ordinal: Uint16Array.of(sample.ordinal),
    fresh: Uint8Array.of(sample.fresh),
    valid: Uint8Array.of(sample.valid),
    counts: sample.counts.map((c) => Int32Array.of(c)),
  };
  const trips = advance(next, block, 0) ?? [];
  const conditions = brokenNow(next);
  const content = conditions.length === 0 && next.latch.first === null;
  return [next, { content, trips, conditions, desync: next.desync }];
}

/**
 * In place: takes row `i` of a block in. Returns the trips that it latched, or null when there is none (no allocation then).
 * A row that is not later than the one before is a finding of its own and is otherwise left out. `abort` is told the cause
 * that is about to be latched first, before any word about it is made: words take longer than all the judging.
 */
export function advance(state: JudgeState, block: SampleBlock, i: number, abort?: (cause: TripCode) => void): readonly Trip[] | null {
  const { row, rules } = state;
  state.desync = null;
  const tick_us = block.tick_us[i];
  if (!(tick_us > row.tick_us)) return lateRow(state, tick_us);
  row.before_us = row.tick_us;
  row.tick_us = tick_us;
  const board = block.state[i];
  row.throttle = block.throttle[i] / THROTTLE_FULL;
  row.ordinal = block.ordinal[i];
  row.wasArmed = row.armed;
  row.driving = board === DRIVING;
  row.armed = row.driving || board === READY;
  row.tripped = board === TRIPPED;
  row.powered = row.driving && row.throttle > 0;
  row.fresh = block.fresh[i];
  takeSamples(state, block, i);

  const broken = stepRules(rules, row);
  if (rules.rotation !== null) state.desync = rules.rotation.ended;
  // What was broken before arming, and conditions from elsewhere, count from the first armed row on.
  if (!broken && (!row.armed || row.wasArmed)) return null;
  if (abort !== undefined) {
    const cause = firstCause(state);
    if (cause !== null) abort(cause);
  }
  return register(state, brokenNow(state));
}

/** The cause that {@link register} is about to latch as the first one, in the order of {@link brokenNow}; null when there is none. */
function firstCause({ row, latch, rules, outside }: JudgeState): TripCode | null {
  if (!row.armed || latch.first !== null) return null;
  for (const rule of rules.all) if (rule.broken) return rule.code;
  for (const code of outside.keys()) return code;
  return null;
}

/** A row that is not later than the one before: a finding, and otherwise left out. */
export function lateRow(state: JudgeState, tick_us: number): readonly Trip[] | null {
  state.desync = null;
  return register(state, [outOfOrder(state.row.tick_us, tick_us)]);
}

/** A condition from elsewhere begins (text) or ends (null). Returns the trip when the board is armed, else null. */
export function condition(state: JudgeState, code: TripCode, detail: string | null): Trip | null {
  if (detail === null) {
    state.outside.delete(code);
    return null;
  }
  state.outside.set(code, detail);
  return state.row.armed ? (register(state, [outsideFinding(code, detail)])?.[0] ?? null) : null;
}

/** Latches a trip that the board reported. False when its cause is already there. */
export function latchBoardTrip(state: JudgeState, trip: Trip): boolean {
  const before = state.latch;
  state.latch = latchTrip(before, trip);
  return state.latch !== before;
}

/** All that is broken now, rules first in the order of the limits, then what comes from elsewhere. */
export function brokenNow(state: JudgeState): Finding[] {
  const findings = state.rules.all.filter((rule) => rule.broken).map((rule) => rule.finding(state.row));
  for (const [code, detail] of state.outside) findings.push(outsideFinding(code, detail));
  return findings;
}

/** Counts to SI for the fresh channels, and which of them can be believed. */
function takeSamples(state: JudgeState, block: SampleBlock, i: number): void {
  const { row, low, high, table } = state;
  const { si, at_us, fresh_us, tick_us } = row;
  const { levels } = state.rules;
  if (row.driving !== levels.history.driving) levels.enter(row.driving);
  const { counts } = block;
  const valid = block.valid[i];
  let good = 0;
  for (let fresh = row.fresh, bit = 1, c = 0; fresh !== 0 && c < low.length; fresh >>= 1, bit <<= 1, c++) {
    if ((fresh & 1) === 0) continue;
    fresh_us[c] = tick_us;
    if ((valid & bit) === 0) continue;
    const value = table.at(c, counts[c][i]);
    // Written so that a NaN is not good.
    if (!(value >= low[c] && value <= high[c])) continue;
    si[c] = value;
    at_us[c] = tick_us;
    good |= bit;
    levels.take(c, value, tick_us);
  }
  row.good = good;
}

/**
 * Latches findings that are not latched yet and returns them as trips, null when there was none. In a safe board a broken
 * rule only blocks arming; it becomes a trip where something could turn, or a later cause behind a trip.
 */
function register(state: JudgeState, findings: readonly Finding[]): readonly Trip[] | null {
  const { row } = state;
  if (!row.armed && !(row.tripped && state.latch.first !== null)) return null;
  const trips: Trip[] = [];
  for (const f of findings) {
    if (holds(state.latch, f.code, f.channel)) continue;
    const trip: Trip = { ...f, by: 'station', tick_us: row.tick_us, ordinal: row.ordinal };
    state.latch = latchTrip(state.latch, trip);
    trips.push(trip);
  }
  return trips.length > 0 ? trips : null;
}

function outOfOrder(last_us: number, tick_us: number): Finding {
  return {
    code: 'OUT_OF_ORDER', value: tick_us / 1000, limit: last_us / 1000, unit: 'ms', channel: null,
    detail: `A row of device time ${showTime(tick_us)} came after one of ${showTime(last_us)}. Check the link; did the board restart?`,
  };
}

function outsideFinding(code: TripCode, detail: string): Finding {
  return { code, value: null, limit: null, unit: '', channel: null, detail };
}
