// How near the samples of a channel came to a limit, told after a run. It decides nothing, so it may come later than they do.
import type { ClosestApproach } from '../../model/trip';
import type { Approach } from '../rule';

/** Samples of a channel that may wait before they are followed: a power of two. */
export const WAITING_MOST = 128;

/** The latest good samples of each channel and their device times, for what looks back. */
export class History {
  /** Good samples of each channel so far; wraps, compare by difference. */
  readonly count: Int32Array;
  /** The motor is driven while the samples come that wait to be followed. */
  driving = false;
  /** By channel, then by the count of the sample under the mask. */
  values: Float64Array;
  ticks: Float64Array;
  mask = 0;

  constructor(channels: number) {
    this.count = new Int32Array(channels);
    this.values = new Float64Array(channels);
    this.ticks = new Float64Array(channels);
  }

  /** Keeps at least so many samples of each channel besides those that wait; forgets what it has. */
  keep(samples: number): void {
    if (samples + WAITING_MOST <= this.mask + 1) return;
    const room = 2 ** Math.ceil(Math.log2(samples + WAITING_MOST));
    this.mask = room - 1;
    this.values = new Float64Array(this.count.length * room);
    this.ticks = new Float64Array(this.count.length * room);
  }

  /** The sample that was the n-th, by {@link count}. */
  at(channel: number, n: number): number {
    return this.values[channel * (this.mask + 1) + (n & this.mask)];
  }

  /** Its device time. */
  tick_us(channel: number, n: number): number {
    return this.ticks[channel * (this.mask + 1) + (n & this.mask)];
  }
}

/**
 * Closest is what was held for as many samples on end as a trip needs, while the motor was driven: one spike is no approach.
 * Values are taken times a sign, so that a lower bound is an upper one.
 */
export class HeldApproach {
  /** Latest sample that was followed. */
  private done: number;
  /** Latest samples on end that are above the best, fewer than `bad`. */
  private run = 0;
  private best = -Infinity;

  constructor(
    private readonly history: History,
    private readonly channel: number,
    private readonly sign: number,
    private readonly bad: number,
    private readonly approach: Approach,
  ) {
    this.done = history.count[channel];
    history.keep(bad);
  }

  /** Takes in the samples that wait. At most {@link WAITING_MOST} of them may. */
  follow(): void {
    const { history, channel, sign, bad } = this;
    const now = history.count[channel];
    if (history.driving) {
      // Nearly every sample is compared and no more, so what does not change stands outside of the loop.
      const { values, mask } = history;
      const first = channel * (mask + 1);
      let { run, best } = this;
      for (let n = (this.done + 1) | 0; ((now - n) | 0) >= 0; n = (n + 1) | 0) {
        if (!(sign * values[first + (n & mask)] > best)) run = 0;
        else if (++run >= bad) {
          this.improve(n);
          ({ run, best } = this);
        }
      }
      this.run = run;
    } else this.run = 0;
    this.done = now;
  }

  /** The n-th sample completes a run above the best so far: its least value is the best from now on. */
  private improve(n: number): void {
    const { history, channel, sign, bad } = this;
    let best = Infinity;
    for (let k = 0; k < bad; k++) best = Math.min(best, sign * history.at(channel, n - k));
    this.best = best;
    this.approach.note(sign * best, history.tick_us(channel, n));
    this.run = 0;
    while (sign * history.at(channel, n - this.run) > best) this.run++;
  }

  /** A run begins. */
  begin(): void {
    this.done = this.history.count[this.channel];
    this.run = 0;
    this.best = -Infinity;
    this.approach.begin();
  }

  get(): ClosestApproach | null {
    this.follow();
    return this.approach.get();
  }
}
