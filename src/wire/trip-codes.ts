// Causes of a trip as numbers on the wire. Stable: never renumber. Names for people live in model/trip.ts.

export const TRIP_NONE: i32 = 0;
// Found by the controller (and, with the same meaning, by the station).
export const TRIP_CURRENT_PEAK: i32 = 1;
export const TRIP_CURRENT_MEAN: i32 = 2;
export const TRIP_VOLTAGE_LOW: i32 = 3;
export const TRIP_VOLTAGE_HIGH: i32 = 4;
export const TRIP_MOTOR_TEMPERATURE: i32 = 5;
export const TRIP_ESC_TEMPERATURE: i32 = 6;
export const TRIP_OVERSPEED: i32 = 7;
export const TRIP_THRUST: i32 = 8;
export const TRIP_SENSOR_STALE: i32 = 9;
export const TRIP_SENSOR_IMPOSSIBLE: i32 = 10;
export const TRIP_SENSOR_FROZEN: i32 = 11;
export const TRIP_STALL: i32 = 12;
export const TRIP_DESYNC_SUSTAINED: i32 = 13;
export const TRIP_HOST_SILENT: i32 = 14;
export const TRIP_LONGEST_RUN: i32 = 15;
export const TRIP_TICK: i32 = 16;
export const TRIP_STOP_INPUT: i32 = 17;
// Found by the station only; reach the board in CMD_TRIP.
export const TRIP_DESYNC_COUNT: i32 = 32;
export const TRIP_TREND: i32 = 33;
export const TRIP_MISMATCH: i32 = 34;
export const TRIP_PROPELLER_LOST: i32 = 35;
export const TRIP_OUT_OF_ORDER: i32 = 36;
export const TRIP_SEGMENT_TIMEOUT: i32 = 37;
export const TRIP_PROTOCOL_TIMEOUT: i32 = 38;
export const TRIP_CANNOT_RECORD: i32 = 39;
export const TRIP_SUPPLY_SAG: i32 = 40;
export const TRIP_SUPPLY_LIMITING: i32 = 41;
export const TRIP_HOST_STALLED: i32 = 42;
export const TRIP_LINK_LOST: i32 = 43;
export const TRIP_HOST_FAULT: i32 = 44;
