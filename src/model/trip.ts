// A trip: a latched safety stop. Codes are stable; texts may improve.

export const TRIP_CODES = [
  'CURRENT_PEAK', 'CURRENT_MEAN', 'VOLTAGE_LOW', 'VOLTAGE_HIGH', 'MOTOR_TEMPERATURE', 'ESC_TEMPERATURE', 'OVERSPEED', 'THRUST',
  'SENSOR_STALE', 'SENSOR_IMPOSSIBLE', 'SENSOR_FROZEN', 'STALL', 'DESYNC_SUSTAINED', 'HOST_SILENT', 'LONGEST_RUN', 'TICK', 'STOP_INPUT',
  'DESYNC_COUNT', 'TREND', 'MISMATCH', 'PROPELLER_LOST', 'OUT_OF_ORDER', 'SEGMENT_TIMEOUT', 'PROTOCOL_TIMEOUT', 'CANNOT_RECORD',
  'SUPPLY_SAG', 'SUPPLY_LIMITING', 'HOST_STALLED', 'LINK_LOST', 'HOST_FAULT',
] as const;
export type TripCode = (typeof TRIP_CODES)[number];

/** Trips that no campaign goes on from by itself: a person's own stop, and failures of the record, the link or the program. */
export const FINAL_TRIPS: readonly TripCode[] = ['STOP_INPUT', 'CANNOT_RECORD', 'LINK_LOST', 'HOST_FAULT'];

export interface Trip {
  readonly code: TripCode;
  /** Which layer found it first. */
  readonly by: 'controller' | 'station';
  /** Device time, microseconds. */
  readonly tick_us: number;
  /** Measured value and the limit it broke, in `unit`; null where there is no number. */
  readonly value: number | null;
  readonly limit: number | null;
  readonly unit: string;
  /** Column name of the channel, or null. */
  readonly channel: string | null;
  /** Segment ordinal being played, 0 when none. */
  readonly ordinal: number;
  /** What happened, in words, with the numbers; no guesses. */
  readonly detail: string;
}

/** Leave to drive, renewed by the station while it is content. */
export interface Permit {
  readonly granted: boolean;
  /** Why not, in words; empty when granted. */
  readonly reasons: readonly string[];
}

/** How near a run came to a limit: ratio 1 is the limit itself. */
export interface ClosestApproach {
  readonly limit: string;
  readonly value: number;
  readonly bound: number;
  readonly unit: string;
  readonly ratio: number;
  readonly tick_us: number;
}
