// Messages of the board, from payloads to plain objects. Rows have a faster way of their own: rows.ts.
import * as L from '../wire/layout';
import * as M from '../wire/messages';

export interface Identity {
  readonly type: 'identity';
  readonly sequence: number;
  readonly version: number;
  readonly board: number;
  readonly firmware: number;
  readonly tick_us: number;
  readonly channels: number;
  readonly queue: number;
  readonly slots: number;
  /** 0 unknown, 1 power-on, 2 pin, 3 watchdog, 4 software, 5 brown-out. */
  readonly reset: number;
  /** The board says that it is a simulated one. */
  readonly simulated: boolean;
  readonly uid: number;
}

export interface ChannelDeclaration {
  readonly type: 'channel';
  readonly sequence: number;
  readonly channel: number;
  /** KIND_* of the wire. */
  readonly kind: number;
  /** SI per count = scaleMantissa * 10^exponent. */
  readonly scaleMantissa: number;
  readonly exponent: number;
  readonly zero: number;
  readonly period_us: number;
}

export interface Ack {
  readonly type: 'ack';
  readonly sequence: number;
  readonly command: number;
  readonly commandSequence: number;
  readonly result: number;
  readonly state: number;
  readonly cause: number;
}

/** A telemetry row. `counts` are those of the fresh mask's bits, lowest channel first. */
export interface Row {
  readonly type: 'row';
  readonly sequence: number;
  readonly tick_us: number;
  readonly throttle: number;
  readonly state: number;
  /** Segments waiting on the board, 15 = 15 or more. */
  readonly queued: number;
  readonly cause: number;
  readonly ordinal: number;
  readonly fresh: number;
  readonly valid: number;
  readonly counts: readonly number[];
}

export interface SegmentStarted {
  readonly type: 'segment-started';
  readonly sequence: number;
  readonly ordinal: number;
  readonly tick_us: number;
  readonly throttle: number;
  readonly why: number;
}

export interface Ended {
  readonly type: 'ended';
  readonly sequence: number;
  readonly ordinal: number;
  readonly tick_us: number;
  readonly how: number;
}

export interface Tripped {
  readonly type: 'tripped';
  readonly sequence: number;
  readonly cause: number;
  /** Limit slot, 255 when none. */
  readonly slot: number;
  readonly tick_us: number;
  readonly value: number;
  readonly limit: number;
  readonly ordinal: number;
}

export interface Status {
  readonly type: 'status';
  readonly sequence: number;
  readonly state: number;
  readonly cause: number;
  readonly slot: number;
  readonly tick_us: number;
  readonly value: number;
  readonly limit: number;
  readonly ordinal: number;
  readonly checksum: number;
  readonly badFrames: number;
}

export type BoardMessage = Identity | ChannelDeclaration | Ack | Row | SegmentStarted | Ended | Tripped | Status;

/** Bits set in a channel mask. */
export function bitsIn(mask: number): number {
  let n = 0;
  for (let m = mask; m !== 0; m &= m - 1) n++;
  return n;
}

/** Exact size of a payload that starts with `id`; a row's depends on its fresh mask. 0 for an unknown id. */
function sizeOf(bytes: Uint8Array, length: number): number {
  switch (bytes[0]) {
    case M.MSG_ACK: return L.ACK_SIZE;
    case M.MSG_IDENTITY: return L.IDENTITY_SIZE;
    case M.MSG_CHANNEL: return L.CHANNEL_SIZE;
    case M.MSG_ROW: return length < L.ROW_VALUES ? L.ROW_VALUES : L.ROW_VALUES + 4 * bitsIn(bytes[L.ROW_FRESH]);
    case M.MSG_SEGMENT_STARTED: return L.STARTED_SIZE;
    case M.MSG_ENDED: return L.ENDED_SIZE;
    case M.MSG_TRIPPED: return L.TRIPPED_SIZE;
    case M.MSG_STATUS: return L.STATUS_SIZE;
    default: return 0;
  }
}

/**
 * Decodes the first `length` bytes as a message of the board. Returns null when the id is unknown or the length is not
 * that message's: the caller counts it; nothing half-read gets out.
 */
export function decodeMessage(bytes: Uint8Array, length: number): BoardMessage | null {
  if (length < 3 || sizeOf(bytes, length) !== length) return null;
  const view = new DataView(bytes.buffer, bytes.byteOffset, length);
  const u8 = (at: number) => view.getUint8(at);
  const u16 = (at: number) => view.getUint16(at, true);
  const u32 = (at: number) => view.getUint32(at, true);
  const i32 = (at: number) => view.getInt32(at, true);
  const sequence = u16(1);
  switch (bytes[0]) {
    case M.MSG_ACK:
      return {
        type: 'ack', sequence, command: u8(L.ACK_COMMAND), commandSequence: u8(L.ACK_SEQUENCE), result: u8(L.ACK_RESULT),
        state: u8(L.ACK_STATE), cause: u8(L.ACK_CAUSE),
      };
    case M.MSG_IDENTITY:
      return {
        type: 'identity', sequence, version: u16(L.IDENTITY_VERSION), board: u16(L.IDENTITY_BOARD), firmware: u16(L.IDENTITY_FIRMWARE),
        tick_us: i32(L.IDENTITY_TICK), channels: u8(L.IDENTITY_CHANNELS), queue: u8(L.IDENTITY_QUEUE), slots: u8(L.IDENTITY_SLOTS),
        reset: u8(L.IDENTITY_RESET) & ~M.RESET_SIMULATED, simulated: (u8(L.IDENTITY_RESET) & M.RESET_SIMULATED) !== 0, uid: u32(L.IDENTITY_UID),
      };
    case M.MSG_CHANNEL:
      return {
        type: 'channel', sequence, channel: u8(L.CHANNEL_ID), kind: u8(L.CHANNEL_KIND), scaleMantissa: i32(L.CHANNEL_SCALE),
        exponent: view.getInt8(L.CHANNEL_EXPONENT), zero: i32(L.CHANNEL_ZERO), period_us: i32(L.CHANNEL_PERIOD),
      };
    case M.MSG_ROW: {
      const counts: number[] = [];
      for (let at = L.ROW_VALUES; at < length; at += 4) counts.push(i32(at));
      return {
        type: 'row', sequence, tick_us: u32(L.ROW_TICK), throttle: u16(L.ROW_THROTTLE), state: u8(L.ROW_STATE) & 0xf,
        queued: u8(L.ROW_STATE) >> 4, cause: u8(L.ROW_CAUSE), ordinal: u16(L.ROW_ORDINAL), fresh: u8(L.ROW_FRESH),
        valid: u8(L.ROW_VALID), counts,
      };
    }
    case M.MSG_SEGMENT_STARTED:
      return {
        type: 'segment-started', sequence, ordinal: u16(L.STARTED_ORDINAL), tick_us: u32(L.STARTED_TICK),
        throttle: u16(L.STARTED_THROTTLE), why: u8(L.STARTED_WHY),
      };
    case M.MSG_ENDED:
      return { type: 'ended', sequence, ordinal: u16(L.ENDED_ORDINAL), tick_us: u32(L.ENDED_TICK), how: u8(L.ENDED_HOW) };
    case M.MSG_TRIPPED:
      return {
        type: 'tripped', sequence, cause: u8(L.TRIPPED_CAUSE), slot: u8(L.TRIPPED_SLOT), tick_us: u32(L.TRIPPED_TICK),
        value: i32(L.TRIPPED_VALUE), limit: i32(L.TRIPPED_LIMIT), ordinal: u16(L.TRIPPED_ORDINAL),
      };
    default:
      return {
        type: 'status', sequence, state: u8(L.STATUS_STATE), cause: u8(L.STATUS_CAUSE), slot: u8(L.STATUS_SLOT), tick_us: u32(L.STATUS_TICK),
        value: i32(L.STATUS_VALUE), limit: i32(L.STATUS_LIMIT), ordinal: u16(L.STATUS_ORDINAL), checksum: u32(L.STATUS_CHECKSUM),
        badFrames: u16(L.STATUS_BAD_FRAMES),
      };
  }
}
