// Feeds the board's queue from our own: as many segments ahead as the board can hold, one command at a time.
import type { NumberedSegment } from '../sequencer/ports';
import type { CommandResult } from '../link/command-channel';
import type { RawSegment } from '../link/commands';
import { refusal } from '../link/session';
import * as M from '../wire/messages';

export interface FeederPorts {
  readonly request: (segment: RawSegment, done: (result: CommandResult) => void) => void;
  readonly convert: (segment: NumberedSegment) => RawSegment;
  /** The board refused a segment or did not answer: the run cannot go on. */
  readonly fault: (detail: string) => void;
  /** A segment was taken in by the board. */
  readonly taken: () => void;
}

export class SegmentFeeder {
  /** Ordinal of the last segment that the board has taken in. */
  taken = 0;
  private readonly queue: NumberedSegment[] = [];
  private outstanding = false;
  /** The queue was found full while this segment played. */
  private fullAt = -1;
  /** Answers to commands of an earlier run are not ours. */
  private round = 0;

  constructor(private readonly ports: FeederPorts) {}

  /** Nothing waits here or is under way to the board. */
  get idle(): boolean {
    return this.queue.length === 0 && !this.outstanding;
  }

  add(segments: readonly NumberedSegment[]): void {
    this.queue.push(...segments);
  }

  /** Forgets everything that waits; a new run counts from 1 again. */
  clear(): void {
    this.queue.length = 0;
    this.outstanding = false;
    this.taken = 0;
    this.fullAt = -1;
    this.round++;
  }

  /** Drops what the board has not been told yet. */
  drop(): void {
    this.queue.length = 0;
  }

  /** Sends the next segment when the board has room for it. `playing`: ordinal being played, 0 before the start. */
  pump(playing: number): void {
    const next = this.queue[0];
    if (this.outstanding || next === undefined || this.fullAt === playing) return;
    // The segment being played does not count; before the start none is.
    if (next.ordinal - Math.max(playing, 0) > M.SEGMENT_QUEUE) return;
    this.outstanding = true;
    const round = this.round;
    this.ports.request(this.ports.convert(next), (result) => {
      if (round === this.round) this.answered(next, playing, result);
    });
  }

  private answered(segment: NumberedSegment, playing: number, result: CommandResult): void {
    this.outstanding = false;
    if (result.ok) {
      if (this.queue[0] === segment) this.queue.shift();
      this.taken = segment.ordinal;
      this.ports.taken();
    } else if (result.why === 'refused' && result.ack.result === M.RESULT_QUEUE_FULL) this.fullAt = playing;
    else if (result.why === 'refused' && this.queue[0] !== segment) return; // dropped meanwhile, refused in consequence
    else {
      const why = result.why === 'refused' ? refusal(result.ack) : `no answer to ${result.tries} tries`;
      this.ports.fault(`The board did not take segment ${segment.ordinal} "${segment.segment.label}": ${why}.`);
    }
  }
}
