// Mean current over about half a second: what heats the windings, where the peak limit lets milliseconds pass.
import type { ClosestApproach } from '../../model/trip';
import { show, showTime, type Channel, type Row } from '../row';
import { Approach, type Finding, type Rule } from '../rule';

/**
 * Charge over time: each sample stands for the time since the one before, so rows that were lost or come slowly do not
 * bend the mean. Until the span is filled, the missing part counts as zero: the motor stood still before.
 */
export class MeanRule implements Rule {
  readonly code = 'CURRENT_MEAN';
  readonly bit: number;
  private readonly id: number;
  broken = false;
  /** The latest mean that was looked at. */
  private mean = 0;
  /** A mean below this neither breaks the limit nor comes nearer to it than before. */
  private calm = 0;
  private readonly span_us: number;
  private readonly charge: Float64Array;
  private readonly time: Float64Array;
  private at = 0;
  private count = 0;
  private sumCharge = 0;
  private sumTime = 0;
  private last_us = -1;
  private readonly approach: Approach;

  constructor(
    private readonly of: Channel,
    private readonly limit: number,
    over_s: number,
  ) {
    this.id = of.id;
    this.bit = 1 << of.id;
    this.span_us = over_s * 1e6;
    // Rows may come a little early: room for twice the samples.
    const room = Math.max(4, Math.ceil((2 * this.span_us) / of.period_us));
    this.charge = new Float64Array(room);
    this.time = new Float64Array(room);
    this.approach = new Approach('current_mean', limit, of.unit);
  }

  step(row: Row): boolean {
    const dt = this.last_us < 0 ? this.of.period_us : row.tick_us - this.last_us;
    this.last_us = row.tick_us;
    if (this.count === this.time.length) this.drop();
    let place = this.at + this.count;
    if (place >= this.time.length) place -= this.time.length;
    const charge = row.si[this.id] * dt;
    this.charge[place] = charge;
    this.time[place] = dt;
    this.count++;
    this.sumCharge += charge;
    this.sumTime += dt;
    while (this.sumTime - this.time[this.at] >= this.span_us) this.drop();
    const over_us = this.sumTime > this.span_us ? this.sumTime : this.span_us;
    // Far below the limit, and below the nearest so far: nothing to tell, and nothing to divide.
    return this.sumCharge < this.calm * over_us ? (this.broken = false) : this.look(row, this.sumCharge / over_us);
  }

  private look(row: Row, mean: number): boolean {
    this.mean = mean;
    if (row.driving) this.approach.note(mean, row.tick_us);
    // A hair less, so that rounding never hides what the division would show.
    this.calm = (1 - 1e-9) * Math.min(this.limit, Math.max(0, this.approach.quiet));
    return (this.broken = mean > this.limit);
  }

  finding(): Finding {
    return {
      code: this.code, value: this.mean, limit: this.limit, unit: this.of.unit, channel: this.of.column,
      detail: `Mean current ${show(this.mean)} A over ${showTime(this.span_us)}, above ${show(this.limit)} A.`,
    };
  }

  begin(): void {
    this.approach.begin();
    this.calm = 0;
  }

  closest(): ClosestApproach | null {
    return this.approach.get();
  }

  /** Takes the oldest sample out. Once a round the sums are made anew, so that rounding cannot pile up. */
  private drop(): void {
    this.sumCharge -= this.charge[this.at];
    this.sumTime -= this.time[this.at];
    this.count--;
    this.at++;
    if (this.at < this.time.length) return;
    this.at = 0;
    this.sumCharge = 0;
    this.sumTime = 0;
    for (let i = 0; i < this.count; i++) {
      this.sumCharge += this.charge[i];
      this.sumTime += this.time[i];
    }
  }
}
