// A quantity above or below its limit for most of a time: peak current, voltages, temperatures, speed, thrust, torque.
import type { ClosestApproach, TripCode } from '../../model/trip';
import { show, showTime, WORD_OF, type Channel, type Row } from '../row';
import { badOf, freshIn } from '../../model/limits';
import { Approach, Window, type Finding, type Rule } from '../rule';

export interface LevelLimit {
  readonly code: TripCode;
  /** Key in the rig file. */
  readonly name: string;
  readonly side: 'above' | 'below';
  readonly limit: number;
  readonly for_s: number;
}

/** The latest good samples of each channel, for rules that look back. */
export class History {
  /** Good samples of each channel so far; wraps, compare by difference. */
  readonly count: Int32Array;
  private values: Float64Array;
  private mask = 0;

  constructor(channels: number) {
    this.count = new Int32Array(channels);
    this.values = new Float64Array(channels);
  }

  /** Keeps at least so many samples of each channel; forgets what it has. */
  keep(samples: number): void {
    if (samples <= this.mask + 1) return;
    const room = 2 ** Math.ceil(Math.log2(samples));
    this.mask = room - 1;
    this.values = new Float64Array(this.count.length * room);
  }

  push(channel: number, value: number): void {
    const n = (this.count[channel] = this.count[channel] + 1);
    this.values[channel * (this.mask + 1) + (n & this.mask)] = value;
  }

  /** The sample that was the n-th, by {@link count}. */
  at(channel: number, n: number): number {
    return this.values[channel * (this.mask + 1) + (n & this.mask)];
  }
}

export class LevelRule implements Rule {
  readonly bit: number;
  readonly id: number;
  readonly sign: number;
  /** Fresh samples that must be bad for a trip. */
  readonly bad: number;
  broken = false;
  /** Highest value (times the sign) that was held for `bad` samples on end in this run. */
  best = -Infinity;
  /** Count of the sample with which a higher one could be complete. */
  due = 0;
  private begun = false;
  private readonly edge: number;
  private readonly window: Window;
  private readonly approach: Approach;

  constructor(
    private readonly of: Channel,
    private readonly rule: LevelLimit,
    private readonly history: History,
  ) {
    this.id = of.id;
    this.bit = 1 << of.id;
    this.sign = rule.side === 'above' ? 1 : -1;
    this.edge = this.sign * rule.limit;
    const window = freshIn(rule.for_s, of.period_us);
    this.bad = badOf(window);
    this.window = new Window(window);
    this.approach = new Approach(rule.name, rule.limit, of.unit, rule.side === 'below');
    history.keep(this.bad);
  }

  /** Nothing has to be done for values (times the sign) up to this one while no sample is due. */
  get quiet(): number {
    return this.window.hits > 0 ? -Infinity : this.edge;
  }

  /** Takes a sample that is not quiet, or due. Good samples on a clean window that are left out change nothing. */
  step(row: Row): boolean {
    this.window.push(this.sign * row.si[this.id] > this.edge);
    if (row.driving) this.follow(row);
    else this.begun = false;
    return (this.broken = this.window.hits >= this.bad);
  }

  /**
   * Closest is what was held for as many samples on end as a trip needs: one spike is not an approach. A run of them ends at
   * the latest sample that is not above the best so far, so that only one sample in `bad` needs a look.
   */
  private follow(row: Row): void {
    const { id, sign, bad, history } = this;
    const now = history.count[id];
    if (!this.begun) {
      this.begun = true;
      this.due = (now + bad - 1) | 0;
    }
    if (((now - this.due) | 0) < 0) return;
    const low = this.latestUpTo(this.best, now);
    if (low < bad) {
      this.due = (now - low + bad) | 0;
      return;
    }
    let best = Infinity;
    for (let k = 0; k < bad; k++) best = Math.min(best, sign * history.at(id, now - k));
    this.best = best;
    this.approach.note(sign * best, row.tick_us);
    this.due = (now - this.latestUpTo(best, now) + bad) | 0;
  }

  /** How many samples ago the latest one was that is not above `level`; `bad` when none of that many is. */
  private latestUpTo(level: number, now: number): number {
    const { id, sign, bad, history } = this;
    let k = 0;
    while (k < bad && sign * history.at(id, now - k) > level) k++;
    return k;
  }

  finding(row: Row): Finding {
    const { code, side, limit, for_s } = this.rule;
    const { unit, column, kind, period_us } = this.of;
    const value = row.si[this.id];
    const word = WORD_OF[kind];
    return {
      code, value, limit, unit, channel: column,
      detail: `${word[0].toUpperCase()}${word.slice(1)} ${show(value)} ${unit}, ${side} ${show(limit)} ${unit} for ${showTime(this.window.hits * period_us)} of the last ${showTime(for_s * 1e6)}.`,
    };
  }

  begin(): void {
    this.best = -Infinity;
    this.begun = false;
    this.due = this.history.count[this.id];
    this.approach.begin();
  }

  closest(): ClosestApproach | null {
    return this.approach.get();
  }
}

/** All level rules, with what decides whether a sample needs a closer look side by side: almost none does. */
export class LevelRules {
  private readonly quiet: Float64Array;
  private readonly best: Float64Array;
  private readonly due: Int32Array;
  private readonly sign: Float64Array;
  private readonly bad: Int32Array;
  private readonly channel: Uint8Array;

  constructor(
    private readonly rules: readonly LevelRule[],
    readonly history: History,
  ) {
    this.quiet = new Float64Array(rules.length);
    this.best = new Float64Array(rules.length);
    this.due = new Int32Array(rules.length);
    this.sign = Float64Array.from(rules, (r) => r.sign);
    this.bad = Int32Array.from(rules, (r) => r.bad);
    this.channel = Uint8Array.from(rules, (r) => r.id);
    this.begin();
  }

  /** Takes the good samples of a row, which are in the history already; true when a rule that looked at one is broken. */
  step(row: Row): boolean {
    const { quiet, best, due, sign, bad, channel } = this;
    const { good, si } = row;
    const { count } = this.history;
    let broken = false;
    for (let i = 0; i < channel.length; i++) {
      const c = channel[i];
      if ((good & (1 << c)) === 0) continue;
      const value = sign[i] * si[c];
      if (value <= quiet[i]) {
        if (((count[c] - due[i]) | 0) < 0) continue;
        if (value <= best[i]) {
          due[i] = count[c] + bad[i];
          continue;
        }
      }
      if (this.look(i, row)) broken = true;
    }
    return broken;
  }

  private look(i: number, row: Row): boolean {
    const rule = this.rules[i];
    rule.due = this.due[i];
    const broken = rule.step(row);
    this.learn(i);
    return broken;
  }

  /** After the rules have begun a run. */
  begin(): void {
    for (let i = 0; i < this.rules.length; i++) this.learn(i);
  }

  private learn(i: number): void {
    const rule = this.rules[i];
    this.quiet[i] = rule.quiet;
    this.best[i] = rule.best;
    this.due[i] = rule.due;
  }
}
