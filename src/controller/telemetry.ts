// Frames that the board sends. Layouts: wire/layout.ts.
import {
  badFrames, cause, clock, nominalTick, resetCause, state, throttle, tripLimit, tripOrdinal, tripSlot, tripTick, tripValue, uid,
} from './board';
import { channels, counts, endRowOfChannels, exponentOf, freshRow, kindOf, periodOf, scaleOf, valid, zeroOf } from './channels';
import { checksum } from './limits';
import { least, mul, older } from './math';
import { beginFrame, endFrame, put16, put32, put8 } from './outbox';
import { ordinal, waiting } from './queue';
import {
  LIMIT_SLOTS, MSG_ACK, MSG_CHANNEL, MSG_ENDED, MSG_IDENTITY, MSG_ROW, MSG_SEGMENT_STARTED, MSG_STATUS, MSG_TRIPPED,
  SEGMENT_QUEUE, WIRE_VERSION,
} from '../wire/messages';

/** This board: 1 is the wasm core in a host process. Firmware images have numbers of their own. */
const BOARD: i32 = 1;
/** Version of this core. */
const FIRMWARE: i32 = 1;

/** Microseconds between rows: the divider times the nominal tick; 0 (until CMD_SET_TELEMETRY) sends none. */
let interval: i32 = 0;
let sinceRow: i32 = 0;

export function setDivider(n: i32): void {
  interval = mul(n, nominalTick);
  sinceRow = 0;
}

/** Microseconds between rows, 0 when none are sent. */
export function getRowInterval(): i32 {
  return interval;
}

/**
 * Once a tick, last: a row when it is due by elapsed time (ticks may be longer than the nominal one while a bench rests), or
 * when `now` asks for one (a trip, so that its sample is on record).
 */
export function sendRowIfDue(dt_us: i32, now: bool): void {
  if (interval == 0) {
    endRowOfChannels(); // what came before rows were asked for is not reported later
    return;
  }
  sinceRow = older(sinceRow, dt_us);
  if (sinceRow < interval && !now) return;
  sinceRow = 0;
  beginFrame(MSG_ROW);
  put32(clock);
  put16(throttle);
  put8(state | (least(waiting, 15) << 4));
  put8(cause);
  put16(ordinal);
  put8(freshRow);
  put8(valid);
  for (let c: i32 = 0; c < channels; c++) if ((freshRow & (1 << c)) != 0) put32(counts[c]);
  endFrame();
  endRowOfChannels();
}

export function sendAck(command: i32, sequence: i32, result: i32): void {
  beginFrame(MSG_ACK);
  put8(command);
  put8(sequence);
  put8(result);
  put8(state);
  put8(cause);
  endFrame();
}

export function sendIdentity(): void {
  beginFrame(MSG_IDENTITY);
  put16(WIRE_VERSION);
  put16(BOARD);
  put16(FIRMWARE);
  put32(nominalTick);
  put8(channels);
  put8(SEGMENT_QUEUE);
  put8(LIMIT_SLOTS);
  put8(resetCause);
  put32(uid);
  endFrame();
}

export function sendChannel(c: i32): void {
  beginFrame(MSG_CHANNEL);
  put8(c);
  put8(kindOf[c]);
  put32(scaleOf[c]);
  put8(exponentOf[c]);
  put32(zeroOf[c]);
  put32(periodOf[c]);
  endFrame();
}

export function sendStarted(why: i32): void {
  beginFrame(MSG_SEGMENT_STARTED);
  put16(ordinal);
  put32(clock);
  put16(throttle);
  put8(why);
  endFrame();
}

export function sendEnded(last: i32, how: i32): void {
  beginFrame(MSG_ENDED);
  put16(last);
  put32(clock);
  put8(how);
  endFrame();
}

export function sendTripped(): void {
  beginFrame(MSG_TRIPPED);
  put8(cause);
  put8(tripSlot);
  put32(tripTick);
  put32(tripValue);
  put32(tripLimit);
  put16(tripOrdinal);
  endFrame();
}

export function sendStatus(): void {
  beginFrame(MSG_STATUS);
  put8(state);
  put8(cause);
  put8(tripSlot);
  put32(tripTick);
  put32(tripValue);
  put32(tripLimit);
  put16(tripOrdinal);
  put32(checksum());
  put16(badFrames);
  endFrame();
}
