// The pieces that a protocol is made of. Plain frozen data in SI units.

/** What the board plays. Each has a bounded duration; the output after the last one is zero. */
export type Segment = SegmentBase &
  (
    | { readonly kind: 'rest' }
    | { readonly kind: 'level'; readonly throttle: number }
    | { readonly kind: 'ramp'; readonly to: number }
    | { readonly kind: 'hold-current'; readonly target_A: number }
    | { readonly kind: 'hold-power'; readonly target_W: number }
    | { readonly kind: 'hold-speed'; readonly target_rpm: number }
    | { readonly kind: 'wait-until'; readonly throttle: number; readonly until: Condition }
  );

interface SegmentBase {
  /** Seconds; for wait-until the bound after which it ends anyway. */
  readonly duration_s: number;
  /** What a person calls it, shown in progress, trips and records. */
  readonly label: string;
  /** What analysis looks for, e.g. `plateau`, `ramp-up`, `step-up`, `hold`, `settle`. */
  readonly role: string;
  /** Throttle that this segment may not exceed, 0..1. */
  readonly cap?: number;
  /** Fastest change of throttle, fraction per second. */
  readonly slew_per_s?: number;
  /** Free numbers for analysis, e.g. the step's index or the level's target. */
  readonly tags?: Readonly<Record<string, number>>;
}
export type SegmentKind = Segment['kind'];

/** A condition on a channel that ends a wait-until. */
export interface Condition {
  readonly channel: 'current' | 'voltage' | 'speed' | 'thrust' | 'motor_temperature' | 'esc_temperature';
  readonly is: 'above' | 'below';
  /** In the channel's SI unit (A, V, rpm, N, degC). */
  readonly value: number;
  /** The condition must hold this long, seconds. */
  readonly for_s: number;
}

/** A named instant in the record; takes no time. */
export interface Mark {
  readonly kind: 'mark';
  readonly label: string;
}

/** Asks for the mean of a channel over the last part of the segment before. Nobody may answer (dry run): undefined. */
export interface Ask {
  readonly kind: 'ask';
  readonly channel: Condition['channel'];
  readonly over_s: number;
}

/** The longest that an ask may look back, s: what the sequencer keeps. */
export const ASK_MAX_S = 30;

export type Step = Segment | Mark | Ask;

/** A protocol being iterated: yields steps, receives the answer to an ask (undefined for everything else). */
export type ProtocolSteps = Generator<Step, void, number | undefined>;

/** What a protocol run needs of its bench, declared up front so that a plan can refuse it. */
export interface ProtocolNeeds {
  /** Propeller mounted, taken off, or either. */
  readonly propeller: 'on' | 'off' | 'any';
  readonly channels: readonly Condition['channel'][];
  /** Hard braking pumps the bus: a declared sink is required. */
  readonly sink: boolean;
  /** Supply voltage that the protocol asks for, V, or null for the article's nominal voltage. */
  readonly supply_V: number | null;
  /** Slowest row rate that still gives a result, rows per second. */
  readonly min_rate_Hz: number;
}
