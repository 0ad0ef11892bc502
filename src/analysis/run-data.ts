/** What analysis needs to know of one run, free of how it was recorded. Times are seconds since the first row. */
import type { ChannelKind } from '../model/channel';
import type { RunOutcome } from '../model/events';
import type { Segment } from '../model/segment';

/** Samples of one quantity: only those that are new and possible, never the values held between them. */
export interface Series {
  /** Increasing times, s. */
  readonly t_s: Float64Array;
  /** Values, as many as times. */
  readonly value: Float64Array;
}

/** One measuring channel over a run, in the SI unit of its column. */
export interface RunChannel extends Series {
  readonly kind: ChannelKind;
  readonly column: string;
  readonly period_s: number;
  /** Standard uncertainty of the gain, relative, and of the offset, in the column's unit. */
  readonly u_gain: number;
  readonly u_offset: number;
  /** Their degrees of freedom, and the span where they hold; only on a calibrated channel. */
  readonly dof_gain?: number;
  readonly dof_offset?: number;
  readonly span?: { readonly from: number; readonly to: number };
  readonly filter_Hz: number | null;
  readonly averaged: number;
  /** Samples that were averaged into one value because the run is very long; 1 or absent: none. */
  readonly block?: number;
  readonly placement: string | null;
  /** New samples that were impossible and are left out. */
  readonly impossible: number;
}

/** A segment as it was played. */
export interface PlayedSegment {
  readonly ordinal: number;
  readonly segment: Segment;
  readonly start_s: number;
  /** End, or the end of the record where the record stops inside it. */
  readonly end_s: number;
  /** Why it ended; null when the record stops inside it. */
  readonly ended: 'time' | 'asked' | 'stopped' | 'tripped' | null;
}

/** A recovered loss of commutation. */
export interface DesyncEvent {
  readonly t_s: number;
  readonly duration_s: number;
  readonly ordinal: number;
}

/** Facts of bench and article that enter formulas; null where nobody declared them. */
export interface RunFacts {
  readonly voltage_at: 'esc' | 'supply';
  readonly lead_resistance_ohm: number;
  /** Relative standard uncertainty of the lead resistance. */
  readonly u_lead_resistance: number;
  readonly dof_lead_resistance?: number;
  readonly pole_pairs: number | null;
  readonly motor_resistance_ohm: number | null;
  readonly propeller_diameter_m: number | null;
  readonly propeller_on: boolean | null;
  /** Thrust of this one drivetrain in hover, N. */
  readonly hover_thrust_N: number | null;
  readonly natural_frequency_Hz: number | null;
  readonly air: { readonly temperature_degC: number; readonly pressure_Pa: number; readonly humidity: number } | null;
}

/** One run. */
export interface RunData {
  readonly record_id: string;
  readonly simulated: boolean;
  readonly protocol: string;
  readonly parameters: Readonly<Record<string, unknown>>;
  /** Levels of the factors as the record has them. */
  readonly settings: Readonly<Record<string, unknown>>;
  readonly version: string;
  /** Device time of the first row, microseconds; what `t_s` counts from. */
  readonly origin_us: number;
  readonly duration_s: number;
  readonly rows: number;
  /** Samples that were averaged into one because the run is very long; 1 or absent: none. */
  readonly block?: number;
  readonly channels: readonly RunChannel[];
  /** Throttle commanded, 0..1, in every row. */
  readonly throttle: Series;
  readonly segments: readonly PlayedSegment[];
  readonly desyncs: readonly DesyncEvent[];
  readonly marks: readonly { readonly t_s: number; readonly label: string }[];
  readonly outcome: RunOutcome | null;
  /** How the record ends, with what is missing in words (empty when complete). */
  readonly end: { readonly status: 'complete' | 'cut-off' | 'damaged'; readonly detail: string };
  readonly facts: RunFacts;
}

/** The channel of a kind, or null when the rig has none. */
export const channelOf = (data: Pick<RunData, 'channels'>, kind: ChannelKind): RunChannel | null =>
  data.channels.find((c) => c.kind === kind) ?? null;

/** Segments with a role, in the order in which they were played. */
export const withRole = (data: Pick<RunData, 'segments'>, ...roles: readonly string[]): PlayedSegment[] =>
  data.segments.filter((s) => roles.includes(s.segment.role));

/** Index of the first sample at or after a time. */
export function firstAt(t_s: ArrayLike<number>, time_s: number): number {
  let low = 0;
  let high = t_s.length;
  while (low < high) {
    const middle = (low + high) >> 1;
    if (t_s[middle] < time_s) low = middle + 1; else high = middle;
  }
  return low;
}

/** The samples with from ≤ t < to, as views. */
export function between(series: Series, from_s: number, to_s: number): Series {
  const a = firstAt(series.t_s, from_s);
  const b = Math.max(a, firstAt(series.t_s, to_s));
  return { t_s: series.t_s.subarray(a, b), value: series.value.subarray(a, b) };
}
