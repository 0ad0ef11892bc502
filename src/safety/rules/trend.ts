// A temperature that rises too fast: seen long before it is too hot.
import type { ClosestApproach } from '../../model/trip';
import { show, showTime, WORD_OF, type Channel, type Row } from '../row';
import { Approach, Window, type Finding, type Rule } from '../rule';

/** Of the last four slopes two must be too steep: one outlier makes two steep slopes only when it is real. */
const STEEP = { window: 4, bad: 2 };

export class TrendRule implements Rule {
  readonly code = 'TREND';
  readonly bit: number;
  private readonly id: number;
  broken = false;
  private readonly values: Float64Array;
  private readonly ticks: Float64Array;
  private readonly steep = new Window(STEEP.window);
  private readonly approach: Approach;
  private count = 0;
  private slope = 0;

  constructor(
    private readonly of: Channel,
    private readonly limit_K_per_s: number,
    private readonly over_s: number,
  ) {
    this.id = of.id;
    this.bit = 1 << of.id;
    const samples = Math.max(2, Math.ceil((over_s * 1e6) / of.period_us) + 1);
    this.values = new Float64Array(samples);
    this.ticks = new Float64Array(samples);
    this.approach = new Approach(`trend ${of.kind}`, limit_K_per_s, 'K/s');
  }

  step(row: Row): boolean {
    const place = this.count % this.values.length;
    const value = row.si[this.id];
    this.values[place] = value;
    this.ticks[place] = row.tick_us;
    this.count++;
    if (this.count < this.values.length) return false;
    const oldest = this.count % this.values.length;
    this.slope = ((value - this.values[oldest]) / (row.tick_us - this.ticks[oldest])) * 1e6;
    this.steep.push(this.slope > this.limit_K_per_s);
    if (row.driving) this.approach.note(this.slope, row.tick_us);
    return (this.broken = this.steep.hits >= STEEP.bad);
  }

  finding(row: Row): Finding {
    return {
      code: this.code, value: this.slope, limit: this.limit_K_per_s, unit: 'K/s', channel: this.of.column,
      detail: `The ${WORD_OF[this.of.kind]} rises by ${show(this.slope)} K/s over ${showTime(this.over_s * 1e6)}, faster than ${show(this.limit_K_per_s)} K/s; it is at ${show(row.si[this.id])} °C.`,
    };
  }

  begin(): void {
    this.approach.begin();
  }

  closest(): ClosestApproach | null {
    return this.approach.get();
  }
}
