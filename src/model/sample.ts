// A block of samples as they came from the board: raw integers in columns, never scaled.

/** States of the controller. */
export const BOARD_STATES = ['safe', 'ready', 'driving', 'tripped'] as const;
export type BoardState = (typeof BOARD_STATES)[number];

/**
 * Rows in columns. A row is one telemetry row of the board. `counts[channel][row]` is the latest count of that channel:
 * new in this row where the fresh bit is set, held from before where it is not, and possible where the valid bit is set.
 */
export interface SampleBlock {
  readonly rows: number;
  /** Device time, microseconds since the board started, unwrapped. */
  readonly tick_us: Float64Array;
  /** Throttle commanded, 0..10000 (0.01 %). */
  readonly throttle: Uint16Array;
  /** Index into BOARD_STATES. */
  readonly state: Uint8Array;
  /** Segment being played, 0 when none. */
  readonly ordinal: Uint16Array;
  /** Bit masks, bit n = channel n. */
  readonly fresh: Uint8Array;
  readonly valid: Uint8Array;
  readonly counts: readonly Int32Array[];
}

/** Raw throttle of full output. */
export const THROTTLE_FULL = 10_000;
