// When gathered rows are handed on: never one by one, never late.
import type { RowBuffer } from '../link/rows';
import type { SampleBlock } from '../model/sample';

/** A block goes out with this many rows, or when its rows span this much device time. */
const ROWS = 200;
const SPAN_US = 50_000;

export class Batcher {
  private out_us = -Infinity;

  constructor(
    private readonly rows: RowBuffer,
    private readonly deliver: (block: SampleBlock) => void,
  ) {}

  /** Called after each row. */
  offer(tick_us: number): void {
    if (this.rows.rows >= ROWS || tick_us - this.out_us >= SPAN_US) this.flush(tick_us);
  }

  flush(tick_us: number): void {
    if (this.rows.rows === 0) return;
    this.out_us = tick_us;
    this.deliver(this.rows.take());
  }
}
