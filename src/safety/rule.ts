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

  constructor(
    private readonly limit: string,
    private readonly bound: number,
    private readonly unit: string,
    private readonly lower = false,
  ) {}

  note(value: number, tick_us: number): void {
    const ratio = this.lower ? this.bound / Math.max(value, Number.MIN_VALUE) : value / this.bound;
    if (ratio <= this.ratio) return;
    this.ratio = ratio;
    this.value = value;
    this.tick_us = tick_us;
  }

  begin(): void {
    this.ratio = -Infinity;
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

/**
 * The highest value that was held for `n` samples on end. Almost every sample is not above the best so far, and then
 * nothing has to be remembered; only n in a row above it make a better one.
 */
export class Sustained {
  best = -Infinity;
  /** Values above the best, in a row. */
  run = 0;
  private at = 0;
  private readonly last: Float64Array;

  constructor(n: number) {
    this.last = new Float64Array(n);
  }

  /** Takes a value; true when the best rose. */
  push(value: number): boolean {
    if (!(value > this.best)) {
      this.run = 0;
      return false;
    }
    const { last } = this;
    last[this.at] = value;
    this.at = this.at + 1 === last.length ? 0 : this.at + 1;
    this.run++;
    if (this.run < last.length) return false;
    let least = Infinity;
    for (let i = 0; i < last.length; i++) least = Math.min(least, last[i]);
    this.best = least;
    return true;
  }

  begin(): void {
    this.best = -Infinity;
    this.run = 0;
  }
}
