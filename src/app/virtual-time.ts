// A scheduler whose time is device time. Nothing sleeps: the bench loop moves it along as ticks arrive.
import { VirtualTimeScheduler } from 'rxjs';
import type { SchedulerLike } from 'rxjs';
import type { Clock } from '../sequencer/ports';

/** Clock driven from outside; rxjs timers on its scheduler fire in device time. */
export class DeviceClock implements Clock {
  private readonly virtual = new VirtualTimeScheduler(undefined, 0);
  private latest_us = 0;

  get scheduler(): SchedulerLike {
    return this.virtual;
  }

  now_us(): number {
    return this.latest_us;
  }

  /** Moves time to `us` and runs every timer that falls due on the way. Time never goes back. */
  advanceTo(us: number): void {
    if (us <= this.latest_us) return;
    this.latest_us = us;
    const ms = us / 1000;
    this.virtual.maxFrames = ms;
    this.virtual.flush();
    this.virtual.frame = ms;
  }
}
