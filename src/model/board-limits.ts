// The rig's limits in raw numbers for the board, rounded so that the board never allows what the file forbids.
import { toCounts, toSI, type ChannelFact, type ChannelKind, type Conversion } from './channel';
import type { Rig } from './files/rig';
import { badOf, freshIn, limitList, type Limit } from './limits';
import { THROTTLE_FULL } from './sample';
import type { TripCode } from './trip';

export type BoardRule = 'above' | 'below' | 'stale' | 'invalid' | 'mean-above' | 'stall' | 'desync' | 'frozen';

/** One entry of the board's limit table; the station maps names to the numbers of the wire. */
export interface BoardLimit {
  readonly slot: number;
  /** Where it stands in the rig file. */
  readonly key: string;
  readonly rule: BoardRule;
  /** Channel id. */
  readonly channel: number;
  readonly cause: TripCode;
  /** Counts; 0 where the rule has none. */
  readonly threshold: number;
  /** This many bad ones … */
  readonly bad: number;
  /** … among this many fresh samples; 0 where the rule counts none. */
  readonly window: number;
  /** Microseconds; 0 where the rule has none. */
  readonly span_us: number;
}

/** What the board guards besides the limit table. */
export interface BoardGuards {
  readonly deadman_us: number;
  readonly longest_run_us: number;
  /** 0..10000. */
  readonly throttle_cap: number;
  /** Counts at 0 A and at 0 V. */
  readonly current_zero: number;
  readonly voltage_zero: number;
  /** Counts of the electrical period; a longer one is no rotation. */
  readonly still_period: number;
}

/** Most limits that a board keeps, and fresh samples in its longest window. */
export const BOARD_SLOTS = 24;
export const BOARD_WINDOW = 256;
/** Fewest equal samples that count as frozen, however short the time: two equal readings are no evidence. */
const FROZEN_LEAST = 8;
/** Still period where there is no speed channel: nothing uses it. */
const NO_SPEED_PERIOD = 20_000;
/** Longest period that a board reports; the count above it means that no commutation was seen. */
const PERIOD_LONGEST = 65_534;
const INT_MAX = 2_147_483_647;

/** Which side of a channel's SI value is forbidden. */
export type Side = 'above' | 'below';

/**
 * The count threshold for "SI value above (below) this", and the side in counts: speed counts periods, so above becomes
 * below. Every count whose SI value is forbidden lies beyond the threshold; at most one count that is allowed does too.
 * @param si the limit in the channel's unit
 */
export function safeThreshold(conversion: Conversion, si: number, side: Side): { readonly side: Side; readonly threshold: number } {
  const rising = conversion.law === 'linear' && conversion.c1 > 0;
  const countSide: Side = (side === 'above') === rising ? 'above' : 'below';
  const exact = toCounts(conversion, si);
  const forbidden = (counts: number): boolean => (side === 'above' ? toSI(conversion, counts) > si : toSI(conversion, counts) < si);
  // "Above" trips on counts greater than the threshold, "below" on smaller ones; so the threshold itself must be allowed,
  // which rounding inwards gives but for the last bit of the arithmetic.
  const inward = countSide === 'above' ? -1 : 1;
  let threshold = clamp(countSide === 'above' ? Math.floor(exact) : Math.ceil(exact));
  if (Math.abs(threshold) >= INT_MAX) return { side: countSide, threshold };
  if (forbidden(threshold)) threshold += inward;
  else if (!forbidden(threshold - inward)) threshold -= inward;
  return { side: countSide, threshold };
}

/**
 * The limit table. A counted rule trips when at least three quarters of the fresh samples in its time are bad, so that
 * noise cannot reset it; the number of samples is rounded down, which trips sooner.
 * @throws RangeError when the rig would need more slots or a longer window than a board has, or a falling current channel;
 * `checkRig` finds these first
 */
export function boardLimits(rig: Rig, facts: readonly ChannelFact[]): BoardLimit[] {
  const table: BoardLimit[] = [];
  for (const limit of limitList(rig)) {
    const fact = facts.find((f) => f.kind === limit.channel);
    const entry = fact === undefined ? null : compiled(limit, fact);
    if (fact === undefined || entry === null) continue;
    table.push({ slot: table.length, key: limit.key, channel: fact.id, cause: limit.code, threshold: 0, bad: 0, window: 0, span_us: 0, ...entry });
  }
  if (table.length > BOARD_SLOTS) throw new RangeError(`the rig has ${table.length} limits, a board keeps ${BOARD_SLOTS}`);
  return table;
}

/** The board's guards. Throttle cap and times are rounded down. */
export function boardGuards(rig: Rig, facts: readonly ChannelFact[]): BoardGuards {
  const zero = (kind: ChannelKind): number => {
    const fact = facts.find((f) => f.kind === kind);
    return fact === undefined ? 0 : Math.round(toCounts(fact.conversion, 0));
  };
  const speed = facts.find((f) => f.kind === 'speed');
  return {
    deadman_us: Math.floor(rig.limits.host_silence_s * 1e6 + 1e-6),
    longest_run_us: Math.floor(rig.limits.longest_run_s * 1e6 + 1e-6),
    throttle_cap: Math.floor(rig.limits.throttle_cap * THROTTLE_FULL + 1e-6),
    current_zero: zero('current'),
    voltage_zero: zero('voltage'),
    still_period: speed === undefined ? NO_SPEED_PERIOD : Math.min(PERIOD_LONGEST, Math.floor(toCounts(speed.conversion, rig.limits.stop.speed_rpm))),
  };
}

/** The part of an entry that depends on the kind of limit; null for a limit that the station alone judges. */
function compiled(limit: Limit, fact: ChannelFact): (Pick<BoardLimit, 'rule'> & Partial<BoardLimit>) | null {
  const window_s = limit.window_s ?? 0;
  const span_us = Math.floor(window_s * 1e6 + 1e-6);
  switch (limit.kind) {
    case 'above':
    case 'below': {
      const { side, threshold } = safeThreshold(fact.conversion, limit.value, limit.kind);
      return { rule: side, threshold, ...counted(limit, freshIn(window_s, fact.period_us)) };
    }
    case 'mean-above':
      return { rule: 'mean-above', threshold: risingThreshold(limit, fact), span_us };
    case 'stall':
      return { rule: 'stall', threshold: risingThreshold(limit, fact), span_us };
    case 'desync':
    case 'stale':
      return { rule: limit.kind, span_us };
    case 'impossible':
      return { rule: 'invalid', ...counted(limit, limit.value) };
    case 'frozen':
      return { rule: 'frozen', window: counted(limit, Math.max(FROZEN_LEAST, freshIn(window_s, fact.period_us))).window };
    case 'desync-count':
    case 'host-silence':
    case 'longest-run':
    case 'sag':
    case 'trend':
    case 'mismatch':
      return null;
  }
}

function risingThreshold(limit: Limit, fact: ChannelFact): number {
  const { side, threshold } = safeThreshold(fact.conversion, limit.value, 'above');
  if (side !== 'above') throw new RangeError(`${limit.key}: the ${fact.kind} channel falls when its count rises; swap its leads or its sign`);
  return threshold;
}

function counted(limit: Limit, n: number): { bad: number; window: number } {
  if (n > BOARD_WINDOW) throw new RangeError(`${limit.key}: ${n} fresh samples in its time, a board keeps ${BOARD_WINDOW}`);
  return { bad: badOf(n), window: n };
}

function clamp(counts: number): number {
  return Math.min(INT_MAX, Math.max(-INT_MAX, counts));
}
