// What a use case tells whoever watches: the command line today, a page later.
import type { Progress } from '../campaign';
import type { BenchEvent, RunOutcome } from '../model/events';
import type { ClosestApproach } from '../model/trip';
import type { RunningVerdict } from './verdicts';

export type { Progress };

/** Latest readings for a live line, SI; null while a channel has not spoken. */
export interface LiveReading {
  readonly t_s: number;
  readonly throttle: number;
  readonly values: Readonly<Record<string, number | null>>;
}

export interface RunTitle {
  readonly index: number;
  readonly of: number;
  readonly protocol: string;
  readonly setting: string;
  readonly repeat: number;
  /** Which mounting, null in a campaign of one. */
  readonly mounting: number | null;
  readonly simulated: boolean;
}

export interface RunNews {
  readonly title: RunTitle;
  readonly outcome: RunOutcome;
  readonly record: string;
  readonly duration_s: number;
  readonly closest: readonly ClosestApproach[];
  readonly figures: string;
}

/** What the figures say when a round of runs is over. */
export interface SoFar {
  /** Good runs by then, of how many planned. */
  readonly good: number;
  readonly of: number;
  readonly verdicts: readonly RunningVerdict[];
}

/** Everything is optional to act on; nothing here may throw. */
export interface Reporter {
  /** Words for a person about what is going on. */
  note(text: string): void;
  /** Words that nobody may miss, however quiet it was asked to be. */
  alarm(text: string): void;
  /** The bench is being made ready for a run: changes, cooling, checks. */
  preparing(title: RunTitle): void;
  runStarted(title: RunTitle): void;
  /** Which segment plays, of how many, and how long the run still takes. */
  segment(label: string, ordinal: number, of: number, left_s: number): void;
  /** There is something newer to show. `reading` makes it, and is only asked when it is shown. */
  live(reading: () => LiveReading): void;
  /** Where the whole campaign stands: runs, bench time left, when hands are next needed. */
  progress(progress: Progress): void;
  /** Which setting leads on each metric, and whether that is settled. */
  soFar(soFar: SoFar): void;
  event(event: BenchEvent): void;
  runEnded(news: RunNews): void;
}
