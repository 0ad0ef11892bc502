// Pulls steps out of a protocol just ahead of the board.
import type { Ask, ProtocolSteps } from '../model/segment';
import type { NumberedSegment } from './ports';

/** Segments beyond the one being played: at least this many, and at least this much time, but never more than MOST. */
const AHEAD = 4;
const AHEAD_S = 2;
const MOST = 256;
/** Rows carry the ordinal in 16 bits. */
const LAST_ORDINAL = 65_535;

interface OpenQuestion {
  readonly ask: Ask;
  /** The segment it is about. */
  readonly about: NumberedSegment;
}

/**
 * The next steps of a protocol, as numbered segments. A segment is handed out once the step after it is known, because only
 * then is it known whether it is the last; at a question everything before it is handed out.
 */
export class Feeder {
  private readonly marks: { readonly after: number; readonly label: string }[] = [];
  private ahead: { readonly ordinal: number; readonly duration_s: number }[] = [];
  private held: NumberedSegment | null = null;
  private latest: NumberedSegment | null = null;
  private question: OpenQuestion | null = null;
  private answer: number | undefined;
  private closed = false;

  constructor(private readonly steps: ProtocolSteps) {}

  /** The question that waits for an answer. */
  get open(): OpenQuestion | null {
    return this.question;
  }

  /** Segments to feed now, given the segment being played. Throws what the protocol's generator throws. */
  pull(playing: number): NumberedSegment[] {
    this.ahead = this.ahead.filter((a) => a.ordinal > playing);
    const out: NumberedSegment[] = [];
    while (!this.closed && this.question === null && this.hasRoom()) {
      const next = this.steps.next(this.answer);
      this.answer = undefined;
      if (next.done === true) {
        this.release(out, true);
        this.closed = true;
      } else if (next.value.kind === 'mark') {
        this.marks.push({ after: this.latest?.ordinal ?? 0, label: next.value.label });
      } else if (next.value.kind === 'ask') {
        this.release(out, false);
        if (this.latest !== null) this.question = { ask: next.value, about: this.latest };
      } else {
        this.release(out, false);
        this.hold({ ordinal: (this.latest?.ordinal ?? 0) + 1, segment: next.value, last: false });
      }
    }
    return out;
  }

  /** Answers the open question; `pull` then goes on. */
  reply(value: number | undefined): void {
    this.question = null;
    this.answer = value;
  }

  /** Marks that lie before this segment and were not taken yet. */
  marksBefore(ordinal: number): string[] {
    const due = this.marks.filter((m) => m.after < ordinal);
    this.marks.splice(0, due.length);
    return due.map((m) => m.label);
  }

  /** No further step is wanted. */
  close(): void {
    this.closed = true;
    this.question = null;
  }

  /** Lets the generator run its own `finally`; it may throw. For after the outcome. */
  tidyUp(): void {
    this.steps.return();
  }

  private hold(next: NumberedSegment): void {
    if (next.ordinal > LAST_ORDINAL) throw new RangeError(`the protocol has more than ${LAST_ORDINAL} segments; split it`);
    if (!(next.segment.duration_s > 0) || !Number.isFinite(next.segment.duration_s)) {
      throw new RangeError(`segment ${next.ordinal} "${next.segment.label}" has no bounded duration: ${next.segment.duration_s} s`);
    }
    this.held = next;
    this.latest = next;
  }

  private release(out: NumberedSegment[], last: boolean): void {
    if (this.held === null) return;
    out.push(Object.freeze({ ...this.held, last }));
    this.ahead.push({ ordinal: this.held.ordinal, duration_s: this.held.segment.duration_s });
    this.held = null;
  }

  private hasRoom(): boolean {
    if (this.ahead.length >= MOST) return false;
    return this.ahead.length < AHEAD || this.ahead.reduce((sum, a) => sum + a.duration_s, 0) < AHEAD_S;
  }
}
