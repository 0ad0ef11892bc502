// Device time: the board counts microseconds in 32 bits and wraps every 71.6 minutes.

/**
 * Unwraps u32 microsecond ticks to numbers that keep rising (exact up to 2^53 µs, 285 years). Compares by difference: a
 * tick up to 2^31 µs (35.8 min) ahead of the last is later; any other tick is not.
 */
export class TickUnwrapper {
  private last = -1;
  /** Its low 32 bits, as a signed number. */
  private low = 0;

  /** Unwrapped tick of the last one accepted, -1 before the first. */
  get latest_us(): number {
    return this.last;
  }

  /** The unwrapped time of `tick` seen from the last accepted one, without accepting it. May lie before it. */
  peek(tick: number): number {
    if (this.last < 0) return tick;
    return this.last + (((tick | 0) - this.low) | 0);
  }

  /** Accepts a tick that is later than the last one and returns it unwrapped; returns -1 and changes nothing when it is not. */
  advance(tick: number): number {
    const at = this.peek(tick);
    if (at <= this.last) return -1;
    this.last = at;
    this.low = tick | 0;
    return at;
  }

  /** Forgets everything: the board restarted and counts from zero. */
  restart(): void {
    this.last = -1;
  }
}
