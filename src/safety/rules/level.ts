// A quantity above or below its limit for most of a time: peak current, voltages, temperatures, speed, thrust, torque.
import type { ClosestApproach, TripCode } from '../../model/trip';
import { show, showTime, WORD_OF, type Channel, type Row } from '../row';
import { badOf, freshIn } from '../../model/limits';
import { Approach, Sustained, Window, type Finding, type Rule } from '../rule';

export interface LevelLimit {
  readonly code: TripCode;
  /** Key in the rig file. */
  readonly name: string;
  readonly side: 'above' | 'below';
  readonly limit: number;
  readonly for_s: number;
}

export class LevelRule implements Rule {
  readonly bit: number;
  private readonly id: number;
  broken = false;
  private readonly sign: number;
  private readonly edge: number;
  /** Nothing has to be done for a value up to this one. */
  private quiet = -Infinity;
  private readonly bad: number;
  private readonly window: Window;
  private readonly sustained: Sustained;
  private readonly approach: Approach;

  constructor(
    private readonly of: Channel,
    private readonly rule: LevelLimit,
  ) {
    this.id = of.id;
    this.bit = 1 << of.id;
    this.sign = rule.side === 'above' ? 1 : -1;
    this.edge = this.sign * rule.limit;
    const window = freshIn(rule.for_s, of.period_us);
    this.bad = badOf(window);
    this.window = new Window(window);
    // Closest is what was held for as many samples on end as a trip needs: one spike is not an approach.
    this.sustained = new Sustained(this.bad);
    this.approach = new Approach(rule.name, rule.limit, of.unit, rule.side === 'below');
  }

  step(row: Row): boolean {
    const value = this.sign * row.si[this.id];
    // Most samples: neither bad, nor near enough to be the closest approach, and the window is clean.
    if (value <= this.quiet) {
      this.sustained.run = 0;
      return false;
    }
    return this.take(value, row);
  }

  private take(value: number, row: Row): boolean {
    this.window.push(value > this.edge);
    if (row.driving && this.sustained.push(value)) this.approach.note(this.sign * this.sustained.best, row.tick_us);
    this.quiet = this.window.hits > 0 ? -Infinity : Math.min(this.edge, this.sustained.best);
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
    this.sustained.begin();
    this.quiet = -Infinity;
    this.approach.begin();
  }

  closest(): ClosestApproach | null {
    return this.approach.get();
  }
}
