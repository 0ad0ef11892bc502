// What a rule is. Each is a small object with state of its own, stepped once a row (or once a fresh sample).
import type { ClosestApproach, TripCode } from '../model/trip';
import type { Row } from './row';

/** What a broken rule has to say: the measured number, the limit, and both in words. */
export interface Finding {
  readonly code: TripCode;
  readonly value: number | null;
  readonly limit: number | null;
  readonly unit: string;
  /** Column name of the channel, or null. */
  readonly channel: string | null;
  readonly detail: string;
}

export interface Rule {
  /** The cause that it trips with. */
  readonly code: TripCode;
  /** Bit of the channel on whose fresh samples the rule is stepped; left out: stepped every row. */
  readonly bit?: number;
  /** Takes the row in; true while the rule is broken. */
  step(row: Row): boolean;
  /** The latest result of step. */
  readonly broken: boolean;
  /** Called only while broken. */
  finding(row: Row): Finding;
  /** A run begins: forget what belongs to the run before. */
  begin(): void;
  /** How near the run came to this limit, null where there is no number or nothing came yet. */
  closest(): ClosestApproach | null;
}

/** Keeps the nearest approach of a run. For an upper bound the ratio is value / bound, for a lower one bound / value. */
export class Approach {
  private ratio = -Infinity;
  private value = 0;
  private tick_us = 0;
  /** A value up to this one cannot be nearer; known for upper bounds above zero. */
  quiet = -Infinity;

  constructor(
    private readonly limit: string,
    private readonly bound: number,
    private readonly unit: string,
    private readonly lower = false,
  ) {}

  note(value: number, tick_us: number): void {
    if (value <= this.quiet) return;
    const ratio = this.lower ? this.bound / Math.max(value, Number.MIN_VALUE) : value / this.bound;
    if (ratio <= this.ratio) return;
    this.ratio = ratio;
    this.value = value;
    this.tick_us = tick_us;
    if (!this.lower && this.bound > 0) this.quiet = value;
  }

  begin(): void {
    this.ratio = -Infinity;
    this.quiet = -Infinity;
  }

  get(): ClosestApproach | null {
    if (this.ratio === -Infinity) return null;
    return { limit: this.limit, value: this.value, bound: this.bound, unit: this.unit, ratio: this.ratio, tick_us: this.tick_us };
  }
}

/** Counts bad samples among the last `window`. Good samples on a clean window cost nothing. */
export class Window {
  hits = 0;
  private readonly marks: Uint8Array;
  private at = 0;

  constructor(window: number) {
    this.marks = new Uint8Array(window);
  }

  push(bad: boolean): void {
    if (!bad && this.hits === 0) return;
    const mark = bad ? 1 : 0;
    this.hits += mark - this.marks[this.at];
    this.marks[this.at] = mark;
    this.at = this.at + 1 === this.marks.length ? 0 : this.at + 1;
  }
}
