// What the sequencer needs of the world. It owns these interfaces; twin, station, record and host implement them.
import type { Observable, SchedulerLike } from 'rxjs';
import type { BenchEvent, RunOutcome } from '../model/events';
import type { SampleBlock } from '../model/sample';
import type { Segment } from '../model/segment';
import type { ClosestApproach, Permit } from '../model/trip';

/** A segment with its place in the run. Ordinals rise by one from 1. */
export interface NumberedSegment {
  readonly ordinal: number;
  readonly segment: Segment;
  /** The queue may run dry after this one. */
  readonly last: boolean;
}

/** A bench that can be armed, fed with segments and stopped. It has no verb that clears a trip. */
export interface Bench {
  /** Blocks of samples, in order, each already judged. */
  readonly blocks: Observable<SampleBlock>;
  readonly events: Observable<BenchEvent>;
  /** Latest leave to drive; judged also while nothing runs. */
  permit(): Permit;
  /** Arms the board. Emits one permit: not granted when a condition blocks arming. */
  arm(): Observable<Permit>;
  /** Adds segments to the queue that the station feeds to the board. */
  feed(segments: readonly NumberedSegment[]): void;
  /** Starts playing; `bound_s` is the longest that the whole protocol may take. */
  start(bound_s: number): void;
  /** Ends the segment being played, goes on with the next. */
  endSegment(ordinal: number): void;
  /** Finishes the segment being played, drops every later one. */
  finishSegment(): void;
  /** Zero throttle now. Never waits, never fails, may be repeated. A `stopped` event follows when measurement says so. */
  stopNow(): void;
  /** The main process is alive. */
  beat(): void;
  closest(): readonly ClosestApproach[];
}

export interface Clock {
  /** Scheduler for timers; virtual on the twin. */
  readonly scheduler: SchedulerLike;
  /** Device time, microseconds. */
  now_us(): number;
}

/** Where a run is written. */
export interface RunLog {
  block(block: SampleBlock): void;
  event(event: BenchEvent): void;
  /** Written the moment it is known, before any tidying up. */
  outcome(outcome: RunOutcome): void;
}
