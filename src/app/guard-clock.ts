// Real time as the sequencer sees it: device time, carried on from what the guard told last.
import { asyncScheduler, type SchedulerLike } from 'rxjs';
import type { GuardState } from '../host/guard/messages';
import type { Clock } from '../sequencer/ports';

/** A board's clock is a quartz or a ceramic resonator; a fit that says more than this is not settled yet. */
const RATE_MOST_OFF = 0.02;

/** Device time now: that of the latest row, and what has passed since on the host's clock at the rate of the clock fit. Never goes back. */
export class GuardClock implements Clock {
  readonly scheduler: SchedulerLike = asyncScheduler;
  private latest_us = 0;
  private device_us = 0;
  private host_us: number;
  private rate = 1;

  /** `host_now_us`: the clock that the guard's states are written by. */
  constructor(private readonly host_now_us: () => number) {
    this.host_us = host_now_us();
  }

  take(state: GuardState): void {
    if (state.device_us < 0) return;
    this.device_us = state.device_us;
    this.host_us = state.heard_us;
    this.rate = Math.abs(state.rate - 1) <= RATE_MOST_OFF ? state.rate : 1;
  }

  now_us(): number {
    const now = this.device_us + (this.host_now_us() - this.host_us) / this.rate;
    this.latest_us = Math.max(this.latest_us, now);
    return this.latest_us;
  }
}
