// What main process and guard process tell each other. Typed arrays travel as such (advanced serialization of child_process).
import type { BenchEvent, LinkHealth } from '../../model/events';
import type { RigLink } from '../../model/files/rig';
import type { SampleBlock } from '../../model/sample';
import type { ClosestApproach, Permit } from '../../model/trip';
import type { ClearAct } from '../../safety/latch';
import type { NumberedSegment } from '../../sequencer/ports';
import type { StationConfig } from '../../station/config';

/** A main process that was not heard for half a second gets no permits (see safety/permit); it shows itself so often, ms. */
export const BEAT_EVERY_MS = 100;
/** The guard tells its state so often, ms. */
export const STATE_EVERY_MS = 50;
/** A guard that was not heard for so long is given up, ms. */
export const GUARD_SILENT_MS = 1000;

/** Everything that a station is set up with. */
export type StationSetup = Omit<StationConfig, 'send' | 'onBlock' | 'onEvent'>;

export type ToGuard =
  /** Opens the board where it is not open (or was lost), sets up a station and greets the board. Answered by `connected`. */
  | { readonly type: 'connect'; readonly id: number; readonly link: RigLink; readonly setup: StationSetup }
  | { readonly type: 'beat' }
  /** Answered by `answer`. */
  | { readonly type: 'arm'; readonly id: number }
  | { readonly type: 'clear-trip'; readonly id: number; readonly act: ClearAct }
  | { readonly type: 'feed'; readonly segments: readonly NumberedSegment[] }
  | { readonly type: 'start'; readonly bound_s: number }
  | { readonly type: 'end-segment'; readonly ordinal: number }
  | { readonly type: 'finish-segment' }
  | { readonly type: 'stop-now' }
  /** For the proof test: nothing is sent to the board any more, or again. */
  | { readonly type: 'mute'; readonly on: boolean }
  | { readonly type: 'full-rows'; readonly on: boolean }
  | { readonly type: 'supply-limiting'; readonly detail: string | null }
  /** Stops the motor, waits until it is measured to stand still, lets go of the port, ends. */
  | { readonly type: 'leave' };

/** Who the board says it is. */
export interface BoardNote {
  readonly port: string;
  readonly uid: number;
  readonly firmware: number;
  /** Why it last started, in words. */
  readonly reset: string;
}

/** What the bench is like just now. Answers `permit()`, `closest()` and the clock in the main process. */
export interface GuardState {
  /** When this was written, and when the latest bytes came: µs of the clock that both processes share. */
  readonly host_us: number;
  readonly heard_us: number;
  /** Device time of the latest row, µs; -1 before the first. */
  readonly device_us: number;
  /** Host microseconds per device microsecond, from the clock fit. */
  readonly rate: number;
  readonly permit: Permit;
  readonly closest: readonly ClosestApproach[];
  /** Latest possible value of each channel, SI, by id; NaN before the first. */
  readonly latest: readonly number[];
  readonly health: LinkHealth;
  /** Why the port is gone; null while it is not. */
  readonly lost: string | null;
}

export type FromGuard =
  | { readonly type: 'ready' }
  | { readonly type: 'connected'; readonly id: number; readonly problem: string | null; readonly code: string | null; readonly board: BoardNote | null }
  | { readonly type: 'answer'; readonly id: number; readonly permit: Permit }
  | { readonly type: 'state'; readonly state: GuardState }
  | { readonly type: 'block'; readonly block: SampleBlock }
  | { readonly type: 'event'; readonly event: BenchEvent }
  | { readonly type: 'lost'; readonly reason: string }
  /** An order could not be carried out; the motor has been stopped. */
  | { readonly type: 'fault'; readonly detail: string }
  /** The last word, with what the guard leaves behind. */
  | { readonly type: 'leaving'; readonly why: string };
