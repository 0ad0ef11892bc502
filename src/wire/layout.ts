// Byte offsets inside a payload (before COBS and CRC). Little-endian. Written in the two-compiler subset.
// Commands: [0] id, [1] sequence u8. Board frames: [0] id, [1..2] sequence u16.

// CMD_HELLO
export const HELLO_VERSION: i32 = 2; // u16
export const HELLO_SIZE: i32 = 4;
// CMD_DESCRIBE
export const DESCRIBE_CHANNEL: i32 = 2; // u8
export const DESCRIBE_SIZE: i32 = 3;
// CMD_SET_TELEMETRY
export const TELEMETRY_DIVIDER: i32 = 2; // u16, rows every n ticks, 1..65535
export const TELEMETRY_SIZE: i32 = 4;
// CMD_SET_LIMIT
export const LIMIT_SLOT: i32 = 2; // u8
export const LIMIT_RULE: i32 = 3; // u8
export const LIMIT_CHANNEL: i32 = 4; // u8
export const LIMIT_CAUSE: i32 = 5; // u8, trip code to raise
export const LIMIT_THRESHOLD: i32 = 6; // i32, counts
export const LIMIT_BAD: i32 = 10; // u16
export const LIMIT_WINDOW: i32 = 12; // u16, fresh samples
export const LIMIT_SPAN: i32 = 14; // i32, microseconds
export const LIMIT_SIZE: i32 = 18;
// CMD_SET_GUARDS
export const GUARD_DEADMAN: i32 = 2; // i32, microseconds
export const GUARD_LONGEST_RUN: i32 = 6; // i32, microseconds
export const GUARD_THROTTLE_CAP: i32 = 10; // u16, raw throttle
export const GUARD_CURRENT_ZERO: i32 = 12; // i32, counts at 0 A
export const GUARD_VOLTAGE_ZERO: i32 = 16; // i32, counts at 0 V
export const GUARD_STILL_PERIOD: i32 = 20; // i32, counts; a longer electrical period counts as no rotation
export const GUARD_SIZE: i32 = 24;
// CMD_ARM
export const ARM_KEY: i32 = 2; // u16
export const ARM_CHECKSUM: i32 = 4; // u32, CRC-32/ISO-HDLC of the limit table and guards
export const ARM_SIZE: i32 = 8;
// CMD_PERMIT (not acknowledged): refreshes the deadman and lets the board drive for this long
export const PERMIT_SPAN: i32 = 2; // i32, microseconds
export const PERMIT_SIZE: i32 = 6;
// CMD_SEGMENT
export const SEGMENT_ORDINAL: i32 = 2; // u16, rises by one from 1 within a run
export const SEGMENT_KIND: i32 = 4; // u8
export const SEGMENT_FLAGS: i32 = 5; // u8
export const SEGMENT_TARGET: i32 = 6; // i32: raw throttle, counts, power product or period
export const SEGMENT_DURATION: i32 = 10; // i32, microseconds, 1..600 000 000
export const SEGMENT_CAP: i32 = 14; // u16, raw throttle that this segment may not exceed
export const SEGMENT_SLEW: i32 = 16; // u16, raw throttle per millisecond, 0 = no slew limit
export const SEGMENT_GAIN_P: i32 = 18; // u16, see controller/holds.ts; 0 = the core's default
export const SEGMENT_GAIN_I: i32 = 20; // u16
export const SEGMENT_SIZE: i32 = 22;
// CMD_END_SEGMENT, CMD_CLEAR_AFTER
export const ORDINAL_AT: i32 = 2; // u16
export const ORDINAL_SIZE: i32 = 4;
// CMD_TRIP
export const TRIP_CODE: i32 = 2; // u8
export const TRIP_SIZE: i32 = 3;
// CMD_CLEAR_TRIP
export const CLEAR_KEY: i32 = 2; // u16
export const CLEAR_SIZE: i32 = 4;
// CMD_DISARM, CMD_START, CMD_STOP, CMD_STATUS: no fields
export const BARE_SIZE: i32 = 2;

// MSG_ACK
export const ACK_COMMAND: i32 = 3; // u8
export const ACK_SEQUENCE: i32 = 4; // u8, of the command
export const ACK_RESULT: i32 = 5; // u8
export const ACK_STATE: i32 = 6; // u8
export const ACK_CAUSE: i32 = 7; // u8
export const ACK_SIZE: i32 = 8;
// MSG_IDENTITY
export const IDENTITY_VERSION: i32 = 3; // u16
export const IDENTITY_BOARD: i32 = 5; // u16
export const IDENTITY_FIRMWARE: i32 = 7; // u16
export const IDENTITY_TICK: i32 = 9; // i32, microseconds
export const IDENTITY_CHANNELS: i32 = 13; // u8
export const IDENTITY_QUEUE: i32 = 14; // u8
export const IDENTITY_SLOTS: i32 = 15; // u8
export const IDENTITY_RESET: i32 = 16; // u8, reset cause: 0 unknown, 1 power-on, 2 pin, 3 watchdog, 4 software, 5 brown-out; plus RESET_SIMULATED
export const IDENTITY_UID: i32 = 17; // u32
export const IDENTITY_SIZE: i32 = 21;
// MSG_CHANNEL
export const CHANNEL_ID: i32 = 3; // u8, position in the row
export const CHANNEL_KIND: i32 = 4; // u8
export const CHANNEL_SCALE: i32 = 5; // i32 mantissa: SI per count = mantissa * 10^exponent
export const CHANNEL_EXPONENT: i32 = 9; // u8, two's complement
export const CHANNEL_ZERO: i32 = 10; // i32, counts at zero SI
export const CHANNEL_PERIOD: i32 = 14; // i32, microseconds between fresh samples
export const CHANNEL_SIZE: i32 = 18;
// MSG_ROW: fixed head, then one i32 for each bit of the fresh mask, lowest channel first
export const ROW_TICK: i32 = 3; // u32, microseconds, wraps
export const ROW_THROTTLE: i32 = 7; // u16
export const ROW_STATE: i32 = 9; // u8: low nibble state, high nibble segments queued (0..15, 15 = 15 or more)
export const ROW_CAUSE: i32 = 10; // u8
export const ROW_ORDINAL: i32 = 11; // u16, 0 when not driving
export const ROW_FRESH: i32 = 13; // u8 mask: channels with a new sample since the last row
export const ROW_VALID: i32 = 14; // u8 mask: channels whose latest sample is possible
export const ROW_VALUES: i32 = 15; // i32 each
// MSG_SEGMENT_STARTED
export const STARTED_ORDINAL: i32 = 3; // u16
export const STARTED_TICK: i32 = 5; // u32
export const STARTED_THROTTLE: i32 = 9; // u16
export const STARTED_WHY: i32 = 11; // u8, how the one before ended
export const STARTED_SIZE: i32 = 12;
// MSG_ENDED
export const ENDED_ORDINAL: i32 = 3; // u16
export const ENDED_TICK: i32 = 5; // u32
export const ENDED_HOW: i32 = 9; // u8
export const ENDED_SIZE: i32 = 10;
// MSG_TRIPPED
export const TRIPPED_CAUSE: i32 = 3; // u8
export const TRIPPED_SLOT: i32 = 4; // u8, 255 when no limit slot
export const TRIPPED_TICK: i32 = 5; // u32
export const TRIPPED_VALUE: i32 = 9; // i32
export const TRIPPED_LIMIT: i32 = 13; // i32
export const TRIPPED_ORDINAL: i32 = 17; // u16
export const TRIPPED_SIZE: i32 = 19;
// MSG_STATUS
export const STATUS_STATE: i32 = 3; // u8
export const STATUS_CAUSE: i32 = 4; // u8
export const STATUS_SLOT: i32 = 5; // u8
export const STATUS_TICK: i32 = 6; // u32, of the trip
export const STATUS_VALUE: i32 = 10; // i32
export const STATUS_LIMIT: i32 = 14; // i32
export const STATUS_ORDINAL: i32 = 18; // u16
export const STATUS_CHECKSUM: i32 = 20; // u32
export const STATUS_BAD_FRAMES: i32 = 24; // u16
export const STATUS_SIZE: i32 = 26;

// ---- the limits checksum (ARM_CHECKSUM, STATUS_CHECKSUM) ---------------------------------------------------------
// CRC-32/ISO-HDLC over CHECKSUM_BYTES bytes:
//   1. for slot 0, 1, … LIMIT_SLOTS - 1: the CHECKSUM_SLOT_BYTES bytes of the accepted CMD_SET_LIMIT payload that start at
//      CHECKSUM_SLOT_AT (rule, channel, cause, threshold, bad, window, span, just as sent); all zero for a slot that
//      was never set or was set with RULE_OFF, whatever its other fields said;
//   2. the CHECKSUM_GUARD_BYTES bytes of the accepted CMD_SET_GUARDS payload that start at CHECKSUM_GUARD_AT.
// Before the first CMD_SET_GUARDS the guards are the GUARD_START values below (a throttle cap of 0: nothing can turn).
// Golden values: GOLDEN_CHECKSUM and GOLDEN_CHECKSUM_AT_START in golden.ts.
export const CHECKSUM_SLOT_AT: i32 = 3;
export const CHECKSUM_SLOT_BYTES: i32 = 15;
export const CHECKSUM_GUARD_AT: i32 = 2;
export const CHECKSUM_GUARD_BYTES: i32 = 22;
export const CHECKSUM_BYTES: i32 = 382; // LIMIT_SLOTS * CHECKSUM_SLOT_BYTES + CHECKSUM_GUARD_BYTES
/** Guards of a core that nobody has configured. The two zero counts start at 0. */
export const GUARD_START_DEADMAN: i32 = 100000;
export const GUARD_START_LONGEST_RUN: i32 = 60000000;
export const GUARD_START_THROTTLE_CAP: i32 = 0;
export const GUARD_START_STILL_PERIOD: i32 = 20000;
