// What happens on a bench, as data: the stream that the sequencer reacts to and the record keeps.
import type { BoardState } from './sample';
import type { Segment } from './segment';
import type { ClosestApproach, Trip } from './trip';

export type BenchEvent =
  | { readonly type: 'segment-started'; readonly tick_us: number; readonly ordinal: number; readonly segment: Segment; readonly throttle: number }
  | { readonly type: 'segment-ended'; readonly tick_us: number; readonly ordinal: number; readonly why: 'time' | 'asked' | 'stopped' | 'tripped' }
  | { readonly type: 'ended'; readonly tick_us: number; readonly ordinal: number; readonly how: 'complete' | 'starved' | 'stopped' | 'cleared' }
  | { readonly type: 'tripped'; readonly tick_us: number; readonly trip: Trip }
  | { readonly type: 'state'; readonly tick_us: number; readonly state: BoardState }
  | { readonly type: 'desync'; readonly tick_us: number; readonly duration_us: number; readonly ordinal: number }
  | { readonly type: 'stopped'; readonly tick_us: number; readonly confirmed: boolean; readonly took_us: number; readonly detail: string }
  | { readonly type: 'mark'; readonly tick_us: number; readonly label: string }
  | { readonly type: 'operator'; readonly tick_us: number; readonly what: 'finish-segment' | 'stop-now' }
  | { readonly type: 'link'; readonly tick_us: number; readonly health: LinkHealth };

export interface LinkHealth {
  readonly frames: number;
  readonly bad_frames: number;
  readonly missing_frames: number;
  /** Frames that came twice and were dropped; absent in records from before they were counted. */
  readonly doubled_frames?: number;
  readonly resent_commands: number;
}

/** How a run ended. Only `done` counts as a good outcome. */
export const OUTCOMES = ['done', 'finished-early', 'stopped', 'tripped', 'starved', 'stop-unconfirmed', 'refused', 'failed'] as const;
export type Outcome = (typeof OUTCOMES)[number];

export interface RunOutcome {
  readonly outcome: Outcome;
  /** The motor was measured to stand still. */
  readonly stop_confirmed: boolean;
  /** First cause, when tripped. */
  readonly trip: Trip | null;
  /** Later causes, in order. */
  readonly also: readonly Trip[];
  readonly segments_played: number;
  readonly desyncs: number;
  readonly closest: readonly ClosestApproach[];
  /** One sentence for a person. */
  readonly detail: string;
}
