// Which segment plays, from the board's events and, where an event frame got lost, from its rows.
import type { BenchEvent } from '../model/events';
import type { NumberedSegment } from '../sequencer/ports';
import * as M from '../wire/messages';

type Emit = (event: BenchEvent) => void;

export class Progress {
  /** Ordinal being played, 0 before the first. */
  playing = 0;
  /** Segments were started and the end has not come. */
  active = false;
  /** Later segments were dropped on purpose; the run is being stopped. Decide how an end is told. */
  finishing = false;
  stopping = false;
  private readonly segments = new Map<number, NumberedSegment>();
  private asked = 0;

  constructor(
    private readonly emit: Emit,
    /** Called when a segment has started, after its event. */
    private readonly onStart: (segment: NumberedSegment, tick_us: number) => void,
  ) {}

  get segment(): NumberedSegment | undefined {
    return this.segments.get(this.playing);
  }

  know(segments: readonly NumberedSegment[]): void {
    for (const s of segments) this.segments.set(s.ordinal, s);
  }

  /** A new run. */
  begin(): void {
    this.playing = 0;
    this.active = false;
    this.finishing = false;
    this.stopping = false;
    this.asked = 0;
    this.segments.clear();
  }

  /** The segment's early end was asked for. */
  ask(ordinal: number): void {
    this.asked = ordinal;
  }

  /** The board says (or a row shows) that a segment plays. Segments in between, whose events were lost, are told too. */
  started(ordinal: number, tick_us: number, throttle: number, why: number): void {
    for (let next = this.playing + 1; next <= ordinal; next++) {
      if (this.playing > 0) this.emit({ type: 'segment-ended', tick_us, ordinal: this.playing, why: why === M.END_ASKED || this.asked === this.playing ? 'asked' : 'time' });
      this.playing = next;
      this.active = true;
      const known = this.segments.get(next);
      if (known === undefined) continue;
      this.emit({ type: 'segment-started', tick_us, ordinal: next, segment: known.segment, throttle });
      this.onStart(known, tick_us);
      this.segments.delete(next - 1);
    }
  }

  /** What a row shows; tells what no event told. */
  row(tick_us: number, ordinal: number, throttle: number, state: number): void {
    if (state === M.STATE_DRIVING) {
      if (ordinal > this.playing) this.started(ordinal, tick_us, throttle, M.END_TIME);
    } else if (this.active) this.ended(tick_us, state === M.STATE_TRIPPED ? M.END_TRIPPED : this.likelyEnd());
  }

  /** The run is over on the board. */
  ended(tick_us: number, how: number): void {
    if (!this.active) return;
    this.active = false;
    const asked = this.asked === this.playing;
    const why = how === M.END_TRIPPED ? 'tripped' : how === M.END_STOPPED ? 'stopped' : asked ? 'asked' : 'time';
    if (this.playing > 0) this.emit({ type: 'segment-ended', tick_us, ordinal: this.playing, why });
    if (how === M.END_TRIPPED) return;
    const words = how === M.END_STOPPED ? 'stopped' : how === M.END_STARVED ? 'starved' : this.finishing ? 'cleared' : 'complete';
    this.emit({ type: 'ended', tick_us, ordinal: this.playing, how: words });
  }

  /** How a run ended whose end frame was lost. */
  private likelyEnd(): number {
    if (this.stopping) return M.END_STOPPED;
    return this.finishing || this.segment?.last === true ? M.END_COMPLETE : M.END_STARVED;
  }
}
