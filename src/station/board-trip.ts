// A trip that the board reports, in SI and words.
import { toSI, type ChannelFact } from '../model/channel';
import type { BoardLimit } from '../model/board-limits';
import type { Trip } from '../model/trip';
import { show, showTime, UNIT_OF } from '../safety/row';
import * as T from '../wire/trip-codes';
import { codeOf } from './wire-tables';

/** What both MSG_TRIPPED and MSG_STATUS say about a trip. */
export interface BoardTrip {
  readonly cause: number;
  /** Limit slot, 255 when none. */
  readonly slot: number;
  readonly value: number;
  readonly limit: number;
  readonly ordinal: number;
}

type Numbers = Pick<Trip, 'value' | 'limit' | 'unit' | 'channel' | 'detail'>;

/** The trip as everybody else knows it. `tick_us`: its device time, unwrapped. */
export function tripOf(board: BoardTrip, tick_us: number, limits: readonly BoardLimit[], facts: readonly ChannelFact[]): Trip {
  const limit = limits.find((l) => l.slot === board.slot);
  const numbers = limit === undefined ? ofGuard(board) : ofLimit(board, limit, facts);
  return { code: codeOf(board.cause), by: 'controller', tick_us, ordinal: board.ordinal, ...numbers };
}

function ofLimit(board: BoardTrip, limit: BoardLimit, facts: readonly ChannelFact[]): Numbers {
  const fact = facts.find((f) => f.id === limit.channel);
  const channel = fact?.column ?? null;
  switch (limit.rule) {
    case 'stale':
    case 'desync': {
      const detail = limit.rule === 'stale' ? `No new sample for ${showTime(board.value)}` : `No rotation for ${showTime(board.value)} while driving`;
      return { value: board.value / 1000, limit: board.limit / 1000, unit: 'ms', channel, detail: `The controller stopped the motor. ${detail} (limit ${showTime(board.limit)}).` };
    }
    case 'invalid':
    case 'frozen': {
      const detail = limit.rule === 'invalid' ? `${board.value} impossible samples` : `${board.value} samples without a change while driving`;
      return { value: board.value, limit: board.limit, unit: 'samples', channel, detail: `The controller stopped the motor. ${detail} of ${channel ?? 'a channel'} (limit ${board.limit}).` };
    }
    case 'above':
    case 'below':
    case 'mean-above':
    case 'stall': {
      if (fact === undefined) return { value: board.value, limit: board.limit, unit: 'counts', channel, detail: 'The controller stopped the motor.' };
      const unit = UNIT_OF[fact.kind];
      const value = toSI(fact.conversion, board.value);
      const bound = toSI(fact.conversion, board.limit);
      const time = limit.window > 0 ? `, ${limit.bad} of ${limit.window} samples` : `, ${showTime(limit.span_us)}`;
      const how = limit.rule === 'stall' ? ' and no rotation' : limit.rule === 'mean-above' ? ' in the mean' : '';
      return { value, limit: bound, unit, channel, detail: `The controller stopped the motor at ${show(value)} ${unit}${how} (limit ${show(bound)} ${unit}${time}).` };
    }
  }
}

/** Trips without a limit slot. */
function ofGuard(board: BoardTrip): Numbers {
  const none = { value: null, limit: null, unit: '', channel: null };
  const times = { value: board.value / 1000, limit: board.limit / 1000, unit: 'ms', channel: null };
  switch (board.cause) {
    case T.TRIP_HOST_SILENT:
      return { ...times, detail: `The controller heard nothing from the host for ${showTime(board.value)} (limit ${showTime(board.limit)}), or its permit ran out.` };
    case T.TRIP_LONGEST_RUN:
      return { ...times, detail: `The controller drove for ${showTime(board.value)}, longer than the longest run of ${showTime(board.limit)}.` };
    case T.TRIP_TICK:
      return { ...times, detail: `A tick of the controller took ${showTime(board.value)} (limit ${showTime(board.limit)}).` };
    case T.TRIP_STOP_INPUT:
      return { ...none, detail: 'The stop input is pressed.' };
    default:
      return { ...none, detail: `The controller stopped the motor for cause ${board.cause}, without a number.` };
  }
}
