// Segments in SI to what the board plays: raw throttle, counts, microseconds.
import { toCounts, type ChannelFact, type ChannelKind } from '../model/channel';
import type { BoardGuards } from '../model/board-limits';
import { THROTTLE_FULL } from '../model/sample';
import type { Segment } from '../model/segment';
import type { RawSegment } from '../link/commands';
import * as M from '../wire/messages';

export interface RawContext {
  readonly facts: readonly ChannelFact[];
  readonly guards: BoardGuards;
  /** Bus voltage at which power targets are converted, V: matters only where a calibration is curved. */
  readonly supply_V: number;
}

const MICRO = 1e6;

/**
 * One segment as the board takes it. Throttle and targets are rounded to the nearest count, a hold target to at least one.
 * A wait-until is a level that the station ends. Throws a RangeError when the rig has not got the channel of a hold.
 */
export function rawSegment(ordinal: number, segment: Segment, last: boolean, context: RawContext): RawSegment {
  const cap = segment.cap === undefined ? context.guards.throttle_cap : Math.min(Math.round(segment.cap * THROTTLE_FULL), context.guards.throttle_cap);
  return {
    ordinal,
    ...what(segment, context),
    flags: last ? M.SEG_FLAG_LAST : 0,
    duration: Math.max(1, Math.round(segment.duration_s * MICRO)),
    cap,
    slew: slewOf(segment.slew_per_s),
    gainP: 0,
    gainI: 0,
  };
}

/** Raw throttle per millisecond; a limit slower than the wire can say becomes the slowest one it can. */
function slewOf(per_s: number | undefined): number {
  return per_s === undefined ? 0 : Math.min(0xffff, Math.max(1, Math.round((per_s * THROTTLE_FULL) / 1000)));
}

function what(segment: Segment, context: RawContext): { kind: number; target: number } {
  switch (segment.kind) {
    case 'rest':
      return { kind: M.SEG_REST, target: 0 };
    case 'level':
    case 'wait-until':
      return { kind: M.SEG_LEVEL, target: raw(segment.throttle) };
    case 'ramp':
      return { kind: M.SEG_RAMP, target: raw(segment.to) };
    case 'hold-current':
      return { kind: M.SEG_HOLD_CURRENT, target: least(countsAbove('current', segment.target_A, context.guards.current_zero, context)) };
    case 'hold-power': {
      const amps = segment.target_W / context.supply_V;
      const current = countsAbove('current', amps, context.guards.current_zero, context);
      const voltage = countsAbove('voltage', context.supply_V, context.guards.voltage_zero, context);
      return { kind: M.SEG_HOLD_POWER, target: least((current * voltage) / 2 ** M.POWER_SHIFT) };
    }
    case 'hold-speed':
      return { kind: M.SEG_HOLD_SPEED, target: least(countsAbove('speed', segment.target_rpm, 0, context)) };
  }
}

function raw(throttle: number): number {
  return Math.round(throttle * THROTTLE_FULL);
}

function least(counts: number): number {
  return Math.max(1, Math.round(counts));
}

function countsAbove(kind: ChannelKind, si: number, zero: number, { facts }: RawContext): number {
  const fact = facts.find((f) => f.kind === kind);
  if (fact === undefined) throw new RangeError(`a hold needs the ${kind} channel, which this rig does not have`);
  return toCounts(fact.conversion, si) - zero;
}
