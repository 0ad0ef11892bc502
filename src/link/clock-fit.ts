// Host time against device time: a straight line through pairs of both, with its uncertainty.

/** The mapping at one instant of a {@link ClockFit}. Times in microseconds. */
export interface ClockEstimate {
  readonly host_us: number;
  /** Standard uncertainty of `host_us` from the scatter of the pairs, µs. It does not cover a delay common to all pairs. */
  readonly u_us: number;
}

/**
 * Least-squares line host = offset + rate · device over all pairs so far, kept as running sums about the first pair.
 * Every pair arrives late by its transport, so the line runs through the typical delay, not through zero delay.
 * Standard formulas of a straight-line fit; uncertainty of a fitted value as in JCGM 100:2008 H.3.
 */
export class ClockFit {
  private count = 0;
  private device0 = 0;
  private host0 = 0;
  private meanX = 0;
  private meanY = 0;
  private sxx = 0;
  private sxy = 0;
  private syy = 0;

  /** Pairs seen. */
  get pairs(): number {
    return this.count;
  }

  /** Host microseconds per device microsecond; 1 until two different device times were seen. */
  get rate(): number {
    return this.sxx > 0 ? this.sxy / this.sxx : 1;
  }

  /** Standard uncertainty of the rate; Infinity with fewer than three pairs. */
  get u_rate(): number {
    return this.count > 2 && this.sxx > 0 ? this.scatter() / Math.sqrt(this.sxx) : Infinity;
  }

  add(device_us: number, host_us: number): void {
    if (this.count === 0) {
      this.device0 = device_us;
      this.host0 = host_us;
    }
    const x = device_us - this.device0;
    const y = host_us - this.host0;
    this.count++;
    const dx = x - this.meanX;
    const dy = y - this.meanY;
    this.meanX += dx / this.count;
    this.meanY += dy / this.count;
    this.sxx += dx * (x - this.meanX);
    this.sxy += dx * (y - this.meanY);
    this.syy += dy * (y - this.meanY);
  }

  /** Host time of a device time, or null before the first pair. */
  at(device_us: number): ClockEstimate | null {
    if (this.count === 0) return null;
    const dx = device_us - this.device0 - this.meanX;
    const host_us = this.host0 + this.meanY + this.rate * dx;
    if (this.count < 3 || this.sxx === 0) return { host_us, u_us: Infinity };
    return { host_us, u_us: this.scatter() * Math.sqrt(1 / this.count + (dx * dx) / this.sxx) };
  }

  /** Residual standard deviation, µs. */
  private scatter(): number {
    const residual = Math.max(0, this.syy - (this.sxy * this.sxy) / this.sxx);
    return Math.sqrt(residual / (this.count - 2));
  }
}
