// Numbers that both ends of the wire agree on. Written in the two-compiler subset: constants only.
// A frame is: 0x00, COBS(payload + CRC-16), 0x00. The CRC is CRC-16/IBM-3740 over the payload, little-endian.
// All fields are little-endian. Field offsets within a payload are in layout.ts.

/** Version of this wire. Both ends refuse another one. */
export const WIRE_VERSION: i32 = 1;
/** Longest payload without its CRC, bytes. Short enough that COBS never needs a 0xFF block. */
export const PAYLOAD_MAX: i32 = 96;

// ---- host to board: payload = id, sequence number (u8), fields -------------------------------------------------
export const CMD_HELLO: i32 = 1;
export const CMD_DESCRIBE: i32 = 2;
export const CMD_SET_TELEMETRY: i32 = 3;
export const CMD_SET_LIMIT: i32 = 4;
export const CMD_SET_GUARDS: i32 = 5;
export const CMD_ARM: i32 = 6;
export const CMD_DISARM: i32 = 7;
export const CMD_PERMIT: i32 = 8;
export const CMD_SEGMENT: i32 = 9;
export const CMD_START: i32 = 10;
export const CMD_END_SEGMENT: i32 = 11;
export const CMD_CLEAR_AFTER: i32 = 12;
export const CMD_STOP: i32 = 13;
export const CMD_TRIP: i32 = 14;
export const CMD_CLEAR_TRIP: i32 = 15;
export const CMD_STATUS: i32 = 16;

/** Must accompany CMD_ARM, so that noise can never arm. */
export const KEY_ARM: i32 = 0xa55a;
/** Must accompany CMD_CLEAR_TRIP. */
export const KEY_CLEAR: i32 = 0x5aa5;

// ---- board to host: payload = id, sequence number (u16, counts every frame sent), fields ------------------------
export const MSG_ACK: i32 = 0x80;
export const MSG_IDENTITY: i32 = 0x81;
export const MSG_CHANNEL: i32 = 0x82;
export const MSG_ROW: i32 = 0x83;
export const MSG_SEGMENT_STARTED: i32 = 0x84;
export const MSG_ENDED: i32 = 0x85;
export const MSG_TRIPPED: i32 = 0x86;
export const MSG_STATUS: i32 = 0x87;

// ---- results in an ACK ------------------------------------------------------------------------------------------
export const RESULT_OK: i32 = 0;
export const RESULT_UNKNOWN: i32 = 1;
export const RESULT_WRONG_STATE: i32 = 2;
export const RESULT_BAD_VALUE: i32 = 3;
export const RESULT_QUEUE_FULL: i32 = 4;
export const RESULT_CHECKSUM: i32 = 5;
export const RESULT_NOT_CURRENT: i32 = 6;
export const RESULT_CONDITION: i32 = 7;

// ---- who answers ------------------------------------------------------------------------------------------------
/** Added to the reset cause in MSG_IDENTITY by a board that is simulated or emulated: no motor hangs on it. */
export const RESET_SIMULATED: i32 = 0x80;

// ---- states -----------------------------------------------------------------------------------------------------
export const STATE_SAFE: i32 = 0;
export const STATE_READY: i32 = 1;
export const STATE_DRIVING: i32 = 2;
export const STATE_TRIPPED: i32 = 3;

// ---- segments ---------------------------------------------------------------------------------------------------
export const SEG_REST: i32 = 1;
export const SEG_LEVEL: i32 = 2;
export const SEG_RAMP: i32 = 3;
export const SEG_HOLD_CURRENT: i32 = 4;
export const SEG_HOLD_POWER: i32 = 5;
export const SEG_HOLD_SPEED: i32 = 6;
/** Segment flag: the queue may run dry after this one; that is "complete", not "starved". */
export const SEG_FLAG_LAST: i32 = 1;
/** Raw throttle at full output; the unit is 0.01 %. */
export const THROTTLE_FULL: i32 = 10000;
/** Segments the board queues. */
export const SEGMENT_QUEUE: i32 = 16;
/** hold-power targets are (current counts * voltage counts) >> POWER_SHIFT, both less their zero counts. */
export const POWER_SHIFT: i32 = 6;

// ---- how a segment or the whole queue ended (MSG_SEGMENT_STARTED.why of the previous one, MSG_ENDED.how) -------
export const END_START: i32 = 0;
export const END_TIME: i32 = 1;
export const END_ASKED: i32 = 2;
export const END_COMPLETE: i32 = 3;
export const END_STARVED: i32 = 4;
export const END_STOPPED: i32 = 5;
export const END_TRIPPED: i32 = 6;
export const END_CLEARED: i32 = 7;

// ---- channels ---------------------------------------------------------------------------------------------------
export const CHANNELS_MAX: i32 = 8;
export const KIND_CURRENT: i32 = 1;
export const KIND_VOLTAGE: i32 = 2;
/** Electrical period in units of the declared scale (seconds per count): 1 turn = period * pole pairs. */
export const KIND_PERIOD: i32 = 3;
export const KIND_THRUST: i32 = 4;
export const KIND_MOTOR_TEMPERATURE: i32 = 5;
export const KIND_ESC_TEMPERATURE: i32 = 6;
export const KIND_TORQUE: i32 = 7;
/** Period value of "no commutation seen": fresh, not valid. */
export const PERIOD_NONE: i32 = 65535;

// ---- limit rules ------------------------------------------------------------------------------------------------
export const LIMIT_SLOTS: i32 = 24;
/** Longest window of a counted rule, in fresh samples. */
export const WINDOW_MAX: i32 = 256;
/** Empty slot. */
export const RULE_OFF: i32 = 0;
/** At least `bad` of the last `window` fresh samples of the channel lie above the threshold (counts). */
export const RULE_ABOVE: i32 = 1;
/** Same, below the threshold. */
export const RULE_BELOW: i32 = 2;
/** The channel's last fresh sample is older than `span` microseconds. */
export const RULE_STALE: i32 = 3;
/** At least `bad` of the last `window` fresh samples are marked invalid. */
export const RULE_INVALID: i32 = 4;
/** The mean of the channel over `span` microseconds lies above the threshold (counts). */
export const RULE_MEAN_ABOVE: i32 = 5;
/** Channel (current) above the threshold with no valid rotation for `span` microseconds, while driving. */
export const RULE_STALL: i32 = 6;
/** No valid rotation for `span` microseconds, while driving with throttle above zero, after rotation was seen. */
export const RULE_DESYNC: i32 = 7;
/** The channel's fresh count has not changed for `window` fresh samples, while driving with throttle above zero. */
export const RULE_FROZEN: i32 = 8;
