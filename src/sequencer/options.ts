// What a run is given, and what it tells while it goes on.
import type { Observable } from 'rxjs';
import type { ChannelFact } from '../model/channel';
import type { RunOutcome } from '../model/events';
import type { RunState } from './machine';
import type { Bench, Clock, RunLog } from './ports';

/** What the operator may ask for. The third way to end early, a trip, is nobody's wish. */
export type OperatorRequest = 'finish-segment' | 'stop-now';

export interface RunPorts {
  readonly bench: Bench;
  readonly clock: Clock;
  readonly log: RunLog;
}

export interface RunOptions {
  /** The longest that the protocol may take, s. The station trips at it; the sequencer's own stop comes two seconds later. */
  readonly bound_s: number;
  /** Durations of the segments as planned, s: for `of` and `time_left_s`. */
  readonly planned_s: readonly number[];
  /** Channels of the bench, for answers in SI. */
  readonly channels: readonly ChannelFact[];
  readonly requests?: Observable<OperatorRequest>;
  readonly bounds?: Partial<Bounds>;
}

/** Time bounds of the phases other than playing, s. */
export interface Bounds {
  readonly arm_s: number;
  readonly start_s: number;
  /** For the measurement that the motor stands still. */
  readonly stop_s: number;
  /** How long before the end of its segment a question is answered. */
  readonly ask_lead_s: number;
  readonly beat_s: number;
  /** Time between two progress reports when nothing else happens. */
  readonly progress_s: number;
}

export const BOUNDS: Bounds = { arm_s: 10, start_s: 2, stop_s: 10, ask_lead_s: 0.1, beat_s: 0.1, progress_s: 1 };
/** The station judges the protocol's bound; the sequencer's own comes after it. */
export const BOUND_MARGIN_S = 2;

export interface RunProgress {
  readonly state: RunState;
  /** Segment being played, 0 before the first, and how many are planned. */
  readonly ordinal: number;
  readonly of: number;
  readonly label: string;
  readonly role: string;
  readonly time_left_s: number;
  readonly desyncs: number;
  /** With the last progress only. */
  readonly outcome: RunOutcome | null;
}
