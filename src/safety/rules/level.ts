// A quantity above or below its limit for most of a time: peak current, voltages, temperatures, speed, thrust, torque.
import type { ClosestApproach, TripCode } from '../../model/trip';
import { show, showTime, WORD_OF, type Channel, type Row } from '../row';
import { badOf, freshIn } from '../../model/limits';
import { Approach, Window, type Finding, type Rule } from '../rule';
import { HeldApproach, WAITING_MOST, type History } from './held';

export interface LevelLimit {
  readonly code: TripCode;
  /** Key in the rig file. */
  readonly name: string;
  readonly side: 'above' | 'below';
  readonly limit: number;
  readonly for_s: number;
}

export class LevelRule implements Rule {
  readonly code: TripCode;
  readonly id: number;
  readonly sign: number;
  /** How near the run came. */
  readonly held: HeldApproach;
  broken = false;
  /** Fresh samples that must be bad for a trip. */
  private readonly bad: number;
  private readonly edge: number;
  private readonly window: Window;

  constructor(
    private readonly of: Channel,
    private readonly rule: LevelLimit,
    history: History,
  ) {
    this.code = rule.code;
    this.id = of.id;
    this.sign = rule.side === 'above' ? 1 : -1;
    this.edge = this.sign * rule.limit;
    const window = freshIn(rule.for_s, of.period_us);
    this.bad = badOf(window);
    this.window = new Window(window);
    this.held = new HeldApproach(history, of.id, this.sign, this.bad, new Approach(rule.name, rule.limit, of.unit, rule.side === 'below'));
  }

  /** A sample (times the sign) up to this one changes nothing: it is good, and so are all in the window. */
  get quiet(): number {
    return this.window.hits > 0 ? -Infinity : this.edge;
  }

  /** Takes the latest sample in. Those that change nothing may be left out. */
  step(row: Row): boolean {
    this.window.push(this.sign * row.si[this.id] > this.edge);
    return (this.broken = this.window.hits >= this.bad);
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
    this.held.begin();
  }

  closest(): ClosestApproach | null {
    return this.held.get();
  }
}

/**
 * All level rules, behind a gate for each channel: a sample from `low` to `high` changes nothing in any of the channel's
 * rules, and almost every sample is one. The gate is open (nothing passes unseen) while a window holds a bad sample.
 */
export class LevelRules {
  private readonly low: Float64Array;
  private readonly high: Float64Array;
  /** Channels whose latest sample must be looked at: bits by id. */
  private wanted = 0;
  /** The rules of each channel. */
  private readonly of: readonly (readonly LevelRule[])[];

  constructor(
    rules: readonly LevelRule[],
    readonly history: History,
  ) {
    const channels = history.count.length;
    this.low = new Float64Array(channels);
    this.high = new Float64Array(channels);
    this.of = Array.from({ length: channels }, (_, c) => rules.filter((r) => r.id === c));
    this.begin();
  }

  /** The motor is driven, or no longer is, from the samples of this row on. */
  enter(driving: boolean): void {
    for (let c = 0; c < this.of.length; c++) this.follow(c);
    this.history.driving = driving;
  }

  /** A good sample of a channel. */
  take(channel: number, value: number, tick_us: number): void {
    const { count, mask, values, ticks } = this.history;
    const n = (count[channel] + 1) | 0;
    const place = channel * (mask + 1) + (n & mask);
    count[channel] = n;
    values[place] = value;
    ticks[place] = tick_us;
    // Written so that whatever is not surely between is looked at.
    if (!(value >= this.low[channel] && value <= this.high[channel])) this.wanted |= 1 << channel;
    if ((n & (WAITING_MOST - 1)) === 0) this.follow(channel);
  }

  /** Once a row, after its samples; true when a rule that looked at one of them is broken. */
  step(row: Row): boolean {
    return this.wanted === 0 ? false : this.look(row);
  }

  private look(row: Row): boolean {
    let broken = false;
    for (let c = 0; c < this.of.length; c++) {
      if ((this.wanted & (1 << c)) === 0) continue;
      for (const rule of this.of[c]) if (rule.step(row)) broken = true;
      this.setGate(c);
    }
    this.wanted = 0;
    return broken;
  }

  /** After the rules have begun a run. */
  begin(): void {
    for (let c = 0; c < this.of.length; c++) this.setGate(c);
    this.wanted = 0;
  }

  private follow(c: number): void {
    for (const rule of this.of[c]) rule.held.follow();
  }

  /** The gate of a channel is as narrow as the narrowest of its rules. */
  private setGate(c: number): void {
    let low = -Infinity;
    let high = Infinity;
    for (const { sign, quiet } of this.of[c]) {
      if (sign > 0) high = Math.min(high, quiet);
      else low = Math.max(low, -quiet);
    }
    this.low[c] = low;
    this.high[c] = high;
  }
}
