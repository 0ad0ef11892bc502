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
  /** Channel on whose fresh samples the rule is stepped; null: stepped every row. */
  readonly channel: number | null;
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

/**
 * Most of a time, in samples: a window of as many fresh samples as fit into it, of which more than half must be bad.
 * A window, not "n in a row": one good sample in between must not start the count afresh.
 */
export function windowOf(for_s: number, period_us: number): { readonly window: number; readonly bad: number } {
  const window = Math.max(1, Math.round((for_s * 1e6) / period_us));
  return { window, bad: Math.floor(window / 2) + 1 };
}

/** Counts bad samples among the last `window`. */
export class Window {
  hits = 0;
  private readonly marks: Uint8Array;
  private at = 0;

  constructor(window: number) {
    this.marks = new Uint8Array(window);
  }

  push(bad: boolean): void {
    const mark = bad ? 1 : 0;
    this.hits += mark - this.marks[this.at];
    this.marks[this.at] = mark;
    this.at = this.at + 1 === this.marks.length ? 0 : this.at + 1;
  }

  clear(): void {
    this.marks.fill(0);
    this.hits = 0;
  }
}

/** Least of the last `n` values, in constant time a value: blocks of n with running minima from both ends. */
export class SlidingMin {
  private readonly block: Float64Array;
  private readonly suffix: Float64Array;
  private at = 0;
  private prefix = Infinity;

  constructor(private readonly n: number) {
    this.block = new Float64Array(n);
    this.suffix = new Float64Array(n).fill(-Infinity);
  }

  /** Takes a value; returns the least of the last n, -Infinity until there are n. */
  push(value: number): number {
    const at = this.at;
    this.block[at] = value;
    if (value < this.prefix) this.prefix = value;
    if (at + 1 < this.n) {
      this.at = at + 1;
      return Math.min(this.prefix, this.suffix[at + 1]);
    }
    const least = this.prefix;
    let from = Infinity;
    for (let i = at; i >= 0; i--) this.suffix[i] = from = Math.min(from, this.block[i]);
    this.at = 0;
    this.prefix = Infinity;
    return least;
  }
}
