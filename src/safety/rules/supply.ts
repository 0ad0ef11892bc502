// The supply: not stiff, or at its current limit. Both spoil a measurement before they hurt anything.
import type { ClosestApproach } from '../../model/trip';
import { show, showTime, type Channel, type Row } from '../row';
import { badOf, freshIn } from '../../model/limits';
import { showsLimiting } from '../../model/supply-limiting';
import { Window, type Finding, type Rule } from '../rule';

export class SupplyLimitingRule implements Rule {
  readonly code = 'SUPPLY_LIMITING';
  readonly bit: number;
  broken = false;
  private readonly window: Window;
  private readonly bad: number;

  constructor(
    private readonly current: Channel,
    private readonly voltage: Channel,
    private readonly limit_A: number,
    private readonly set_V: number,
    private readonly for_s: number,
  ) {
    this.bit = 1 << current.id;
    const window = freshIn(for_s, current.period_us);
    this.window = new Window(window);
    this.bad = badOf(window);
  }

  step(row: Row): boolean {
    this.window.push(showsLimiting(row.si[this.current.id], row.si[this.voltage.id], this.limit_A, this.set_V));
    return (this.broken = this.window.hits >= this.bad);
  }

  finding(row: Row): Finding {
    const value = row.si[this.current.id];
    return {
      code: this.code, value, limit: this.limit_A, unit: 'A', channel: this.current.column,
      detail: `${show(value)} A at ${show(row.si[this.voltage.id])} V: the supply is at its limit of ${show(this.limit_A)} A and cannot hold ${show(this.set_V)} V (most of ${showTime(this.for_s * 1e6)}).`,
    };
  }

  begin(): void {
    // The window runs on through the start of a run.
  }

  closest(): ClosestApproach | null {
    return null;
  }
}
