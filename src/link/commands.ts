// Commands to the board, from plain objects to payloads. Field layouts: wire/layout.ts.
import * as L from '../wire/layout';
import * as M from '../wire/messages';

/** One row of the board's limit table, in counts and microseconds, as CMD_SET_LIMIT carries it. */
export interface LimitRow {
  readonly slot: number;
  readonly rule: number;
  readonly channel: number;
  /** Trip code to raise (wire/trip-codes.ts). */
  readonly cause: number;
  readonly threshold: number;
  readonly bad: number;
  readonly window: number;
  readonly span: number;
}

/** The board's guards, as CMD_SET_GUARDS carries them. */
export interface Guards {
  readonly deadman: number;
  readonly longestRun: number;
  readonly throttleCap: number;
  readonly currentZero: number;
  readonly voltageZero: number;
  readonly stillPeriod: number;
}

/** One segment in raw numbers, as CMD_SEGMENT carries it. */
export interface RawSegment {
  readonly ordinal: number;
  readonly kind: number;
  readonly flags: number;
  readonly target: number;
  readonly duration: number;
  readonly cap: number;
  readonly slew: number;
  readonly gainP: number;
  readonly gainI: number;
}

export type Command =
  | { readonly name: 'hello'; readonly version: number }
  | { readonly name: 'describe'; readonly channel: number }
  | { readonly name: 'set-telemetry'; readonly divider: number }
  | ({ readonly name: 'set-limit' } & LimitRow)
  | ({ readonly name: 'set-guards' } & Guards)
  | { readonly name: 'arm'; readonly checksum: number }
  | { readonly name: 'disarm' }
  | { readonly name: 'permit'; readonly span: number }
  | ({ readonly name: 'segment' } & RawSegment)
  | { readonly name: 'start' }
  | { readonly name: 'end-segment'; readonly ordinal: number }
  | { readonly name: 'clear-after'; readonly ordinal: number }
  | { readonly name: 'stop' }
  | { readonly name: 'trip'; readonly cause: number }
  | { readonly name: 'clear-trip' }
  | { readonly name: 'status' };
export type CommandName = Command['name'];

/** Message id of each command. */
export const COMMAND_ID: Readonly<Record<CommandName, number>> = {
  hello: M.CMD_HELLO,
  describe: M.CMD_DESCRIBE,
  'set-telemetry': M.CMD_SET_TELEMETRY,
  'set-limit': M.CMD_SET_LIMIT,
  'set-guards': M.CMD_SET_GUARDS,
  arm: M.CMD_ARM,
  disarm: M.CMD_DISARM,
  permit: M.CMD_PERMIT,
  segment: M.CMD_SEGMENT,
  start: M.CMD_START,
  'end-segment': M.CMD_END_SEGMENT,
  'clear-after': M.CMD_CLEAR_AFTER,
  stop: M.CMD_STOP,
  trip: M.CMD_TRIP,
  'clear-trip': M.CMD_CLEAR_TRIP,
  status: M.CMD_STATUS,
};

/** Throws a RangeError that names the field when a number does not fit the wire: nothing is cut off silently. */
class Payload {
  readonly bytes: Uint8Array;
  private readonly view: DataView;

  constructor(
    private readonly command: Command,
    size: number,
    sequence: number,
  ) {
    this.bytes = new Uint8Array(size);
    this.view = new DataView(this.bytes.buffer);
    this.bytes[0] = COMMAND_ID[command.name];
    this.bytes[1] = sequence & 0xff;
  }

  u8(at: number, field: string, value: number): this {
    this.check(field, value, 0, 0xff);
    this.view.setUint8(at, value);
    return this;
  }

  u16(at: number, field: string, value: number): this {
    this.check(field, value, 0, 0xffff);
    this.view.setUint16(at, value, true);
    return this;
  }

  u32(at: number, field: string, value: number): this {
    this.check(field, value, 0, 0xffffffff);
    this.view.setUint32(at, value, true);
    return this;
  }

  i32(at: number, field: string, value: number): this {
    this.check(field, value, -0x80000000, 0x7fffffff);
    this.view.setInt32(at, value, true);
    return this;
  }

  private check(field: string, value: number, low: number, high: number): void {
    if (Number.isInteger(value) && value >= low && value <= high) return;
    throw new RangeError(`command ${this.command.name}: ${field} is ${value}; the wire carries whole numbers from ${low} to ${high}`);
  }
}

/** The payload of a command with its sequence number (u8). Throws a RangeError when a field does not fit. */
export function commandPayload(command: Command, sequence: number): Uint8Array {
  switch (command.name) {
    case 'hello':
      return new Payload(command, L.HELLO_SIZE, sequence).u16(L.HELLO_VERSION, 'version', command.version).bytes;
    case 'describe':
      return new Payload(command, L.DESCRIBE_SIZE, sequence).u8(L.DESCRIBE_CHANNEL, 'channel', command.channel).bytes;
    case 'set-telemetry':
      return new Payload(command, L.TELEMETRY_SIZE, sequence).u16(L.TELEMETRY_DIVIDER, 'divider', command.divider).bytes;
    case 'set-limit':
      return new Payload(command, L.LIMIT_SIZE, sequence)
        .u8(L.LIMIT_SLOT, 'slot', command.slot)
        .u8(L.LIMIT_RULE, 'rule', command.rule)
        .u8(L.LIMIT_CHANNEL, 'channel', command.channel)
        .u8(L.LIMIT_CAUSE, 'cause', command.cause)
        .i32(L.LIMIT_THRESHOLD, 'threshold', command.threshold)
        .u16(L.LIMIT_BAD, 'bad', command.bad)
        .u16(L.LIMIT_WINDOW, 'window', command.window)
        .i32(L.LIMIT_SPAN, 'span', command.span).bytes;
    case 'set-guards':
      return new Payload(command, L.GUARD_SIZE, sequence)
        .i32(L.GUARD_DEADMAN, 'deadman', command.deadman)
        .i32(L.GUARD_LONGEST_RUN, 'longestRun', command.longestRun)
        .u16(L.GUARD_THROTTLE_CAP, 'throttleCap', command.throttleCap)
        .i32(L.GUARD_CURRENT_ZERO, 'currentZero', command.currentZero)
        .i32(L.GUARD_VOLTAGE_ZERO, 'voltageZero', command.voltageZero)
        .i32(L.GUARD_STILL_PERIOD, 'stillPeriod', command.stillPeriod).bytes;
    case 'arm':
      return new Payload(command, L.ARM_SIZE, sequence)
        .u16(L.ARM_KEY, 'key', M.KEY_ARM)
        .u32(L.ARM_CHECKSUM, 'checksum', command.checksum).bytes;
    case 'permit':
      return new Payload(command, L.PERMIT_SIZE, sequence).i32(L.PERMIT_SPAN, 'span', command.span).bytes;
    case 'segment':
      return new Payload(command, L.SEGMENT_SIZE, sequence)
        .u16(L.SEGMENT_ORDINAL, 'ordinal', command.ordinal)
        .u8(L.SEGMENT_KIND, 'kind', command.kind)
        .u8(L.SEGMENT_FLAGS, 'flags', command.flags)
        .i32(L.SEGMENT_TARGET, 'target', command.target)
        .i32(L.SEGMENT_DURATION, 'duration', command.duration)
        .u16(L.SEGMENT_CAP, 'cap', command.cap)
        .u16(L.SEGMENT_SLEW, 'slew', command.slew)
        .u16(L.SEGMENT_GAIN_P, 'gainP', command.gainP)
        .u16(L.SEGMENT_GAIN_I, 'gainI', command.gainI).bytes;
    case 'end-segment':
    case 'clear-after':
      return new Payload(command, L.ORDINAL_SIZE, sequence).u16(L.ORDINAL_AT, 'ordinal', command.ordinal).bytes;
    case 'trip':
      return new Payload(command, L.TRIP_SIZE, sequence).u8(L.TRIP_CODE, 'cause', command.cause).bytes;
    case 'clear-trip':
      return new Payload(command, L.CLEAR_SIZE, sequence).u16(L.CLEAR_KEY, 'key', M.KEY_CLEAR).bytes;
    case 'disarm':
    case 'start':
    case 'stop':
    case 'status':
      return new Payload(command, L.BARE_SIZE, sequence).bytes;
  }
}
