// Thrust against speed. The same propeller at the same speed gives the same thrust (thrust ∝ speed²), so the ratio of the
// two, learnt in this run, tells when a reading or the propeller has gone.
import type { ClosestApproach } from '../../model/trip';
import { show, showTime, WORD_OF, type Channel, type Row } from '../row';
import { Approach, type Finding, type Rule } from '../rule';

/**
 * Least static thrust coefficient CT = T/(ρ n² D⁴) that any mounted propeller is taken to have, at the density of 2000 m.
 * A quarter of the smallest published static value for a 10x4.7 propeller, 0.1059 (UIUC Propeller Data Site vol. 1).
 */
const CT_LEAST = 0.026;
const AIR_THIN = 1.0;
/** Less than this share of the expected thrust, averaged over so many samples, is a propeller that has gone ... */
const LOST_SHARE = 0.25;
const LOST_SAMPLES = 8;
/** ... when the electrical power at this speed went with it. With the power still there, it is the reading that has gone. */
const POWER_SHARE = 0.6;
/** Thrust must be this many times the floor before a ratio is learnt from it: what is left of a zero error must not matter. */
const LEARN_FLOORS = 2;
/** The zero of the load cell is its mean while nothing has turned for this long, followed with this weight a sample ... */
const REST_US = 1e6;
const ZERO_WEIGHT = 1 / 16;
/** ... and no farther than this many floors: more is a fault of the sensor, not a drift, and must show as one. */
const ZERO_FLOORS = 3;
/** The learnt ratios follow slow, honest change (density, Reynolds number) with this time constant. */
const FOLLOW_US = 2e6;

/** Running sums over the last n samples of thrust, speed², power and speed³; made anew once a round against rounding. */
class Ring {
  thrust = 0;
  square = 0;
  power = 0;
  cube = 0;
  private readonly rows: Float64Array;
  private count = 0;

  constructor(readonly n: number) {
    this.rows = new Float64Array(4 * n);
  }

  get full(): boolean {
    return this.count >= this.n;
  }

  push(thrust: number, rpm: number, power: number): void {
    const { rows } = this;
    const at = 4 * (this.count % this.n);
    if (at === 0) this.clear(this.count);
    const square = rpm * rpm;
    this.thrust += thrust - rows[at];
    this.square += square - rows[at + 1];
    this.power += power - rows[at + 2];
    this.cube += square * rpm - rows[at + 3];
    rows[at] = thrust;
    rows[at + 1] = square;
    rows[at + 2] = power;
    rows[at + 3] = square * rpm;
    this.count++;
  }

  /** Empties the ring (keep = 0), or only makes the sums anew. */
  clear(keep = 0): void {
    if (this.count === 0) return;
    this.count = keep;
    if (keep === 0) this.rows.fill(0);
    this.thrust = this.square = this.power = this.cube = 0;
    for (let i = 0; i < this.rows.length; i += 4) {
      this.thrust += this.rows[i];
      this.square += this.rows[i + 1];
      this.power += this.rows[i + 2];
      this.cube += this.rows[i + 3];
    }
  }
}

export interface PropellerSetup {
  readonly thrust: Channel;
  readonly speed: Channel;
  readonly current: Channel;
  readonly voltage: Channel;
  readonly diameter_m: number;
  /** Slower than this is no rotation. */
  readonly still_rpm: number;
  /** Expected thrust below this proves nothing, N. */
  readonly floor_N: number;
  /** How far the mean thrust may lie from the expectation, relative, and the time of the mean; null: not judged. */
  readonly mismatch: { readonly thrust: number; readonly for_s: number } | null;
}

/** Gathers thrust and speed while powered; stepped every row before the two rules that read it. */
export class ThrustWatch {
  /** Learnt thrust per speed², N/rpm², and power per speed³, W/rpm³; 0 while unknown. */
  k = 0;
  kPower = 0;
  /** Reading of the load cell without thrust, N. */
  zero_N = 0;
  private zeroed = false;
  private still_us = -1;
  readonly long: Ring;
  readonly short = new Ring(LOST_SAMPLES);
  private readonly least: number;
  private readonly bit: number;

  constructor(readonly setup: PropellerSetup) {
    const { mismatch, thrust, diameter_m } = setup;
    this.long = new Ring(Math.max(LOST_SAMPLES, Math.round(((mismatch?.for_s ?? 0.5) * 1e6) / thrust.period_us)));
    this.bit = 1 << thrust.id;
    this.least = (CT_LEAST * AIR_THIN * diameter_m ** 4) / 3600;
  }

  step(row: Row): void {
    if (!row.powered) {
      this.long.clear();
      this.short.clear();
      this.takeZero(row);
      return;
    }
    this.still_us = -1;
    if ((row.good & this.bit) === 0) return;
    const { thrust, speed, current, voltage } = this.setup;
    const rpm = row.si[speed.id];
    // Speed that is older than two of its samples says nothing about this thrust.
    if (rpm <= this.setup.still_rpm || row.tick_us - row.at_us[speed.id] > 2 * speed.period_us) return;
    const power = row.si[current.id] * row.si[voltage.id];
    const thrust_N = row.si[thrust.id] - this.zero_N;
    this.long.push(thrust_N, rpm, power);
    this.short.push(thrust_N, rpm, power);
    if (this.long.full) this.learn();
  }

  /** Follows the zero while no throttle is commanded and no rotation was seen for a while. */
  private takeZero(row: Row): void {
    const { thrust, speed, still_rpm, floor_N } = this.setup;
    const turns = (row.good & (1 << speed.id)) !== 0 && row.si[speed.id] > still_rpm;
    if (this.still_us < 0 || turns) this.still_us = row.tick_us;
    if (row.tick_us - this.still_us < REST_US || (row.good & (1 << thrust.id)) === 0) return;
    const reading = row.si[thrust.id];
    if (Math.abs(reading) > ZERO_FLOORS * floor_N) return;
    this.zero_N = this.zeroed ? this.zero_N + ZERO_WEIGHT * (reading - this.zero_N) : reading;
    this.zeroed = true;
  }

  /** Mean of the speed² in a ring as thrust by the learnt ratio, or by the least coefficient while none is learnt. */
  expected_N(ring: Ring): number {
    return ((this.k > 0 ? this.k : this.least) * ring.square) / ring.n;
  }

  /** Thrust as a share of what is expected over the long ring. */
  get share(): number {
    return this.long.thrust / (this.k * this.long.square);
  }

  /** Forgets what was learnt: another run may have another propeller. */
  begin(): void {
    this.k = 0;
    this.kPower = 0;
    this.long.clear();
    this.short.clear();
  }

  private learn(): void {
    const { thrust, square, power, cube, n } = this.long;
    const k = thrust / square;
    if (this.k === 0) {
      if (thrust / n < LEARN_FLOORS * this.setup.floor_N || k < this.least) return;
      this.k = k;
      this.kPower = power / cube;
      return;
    }
    const allowed = this.setup.mismatch?.thrust ?? 0.4;
    // Followed only well within the tolerance: a sudden change must not drag its own reference along.
    if (Math.abs(k / this.k - 1) > allowed / 2) return;
    const step = this.setup.thrust.period_us / FOLLOW_US;
    this.k += step * (k - this.k);
    this.kPower += step * (power / cube - this.kPower);
  }
}

/** Mean thrust too far from what the speed leads to expect, either way. */
export class MismatchRule implements Rule {
  readonly code = 'MISMATCH';
  readonly bit: number;
  broken = false;
  private readonly allowed: number;
  private readonly approach: Approach;

  constructor(
    private readonly watch: ThrustWatch,
    allowed: number,
  ) {
    this.bit = 1 << watch.setup.thrust.id;
    this.allowed = allowed;
    this.approach = new Approach('mismatch', 100 * allowed, '%');
  }

  step(row: Row): boolean {
    const { watch } = this;
    if (watch.k === 0 || !watch.long.full || watch.expected_N(watch.long) < watch.setup.floor_N) return (this.broken = false);
    const off = Math.abs(watch.share - 1);
    this.approach.note(100 * off, row.tick_us);
    return (this.broken = off > this.allowed);
  }

  finding(row: Row): Finding {
    const { watch } = this;
    const { thrust, speed, mismatch } = watch.setup;
    const expected = watch.expected_N(watch.long);
    const value = watch.share * expected;
    return {
      code: this.code, value, limit: expected, unit: 'N', channel: thrust.column,
      detail: `Mean ${WORD_OF.thrust} ${show(value)} N over ${showTime((mismatch?.for_s ?? 0) * 1e6)}, where the speed (${show(row.si[speed.id])} rpm now) leads to expect ${show(expected)} N within ${show(100 * this.allowed)} %. Check load cell and propeller.`,
    };
  }

  begin(): void {
    this.broken = false;
    this.approach.begin();
  }

  closest(): ClosestApproach | null {
    return this.approach.get();
  }
}

/**
 * Speed without thrust while a propeller is mounted. With a learnt ratio the power must have gone too; without one (it was
 * never there) thrust below what any propeller of this diameter gives is enough.
 */
export class PropellerLostRule implements Rule {
  readonly code = 'PROPELLER_LOST';
  readonly bit: number;
  broken = false;

  constructor(private readonly watch: ThrustWatch) {
    this.bit = 1 << watch.setup.thrust.id;
  }

  step(): boolean {
    const { watch } = this;
    const { short, k, kPower, setup } = watch;
    if (!short.full) return (this.broken = false);
    const expected = watch.expected_N(short);
    if (expected < setup.floor_N) return (this.broken = false);
    const thrust = short.thrust / LOST_SAMPLES;
    if (k === 0) return (this.broken = thrust < expected);
    return (this.broken = thrust < LOST_SHARE * expected && short.power < POWER_SHARE * kPower * short.cube);
  }

  finding(row: Row): Finding {
    const { watch } = this;
    const { thrust, speed, current } = watch.setup;
    const value = watch.short.thrust / LOST_SAMPLES;
    const expected = watch.expected_N(watch.short);
    const why = watch.k > 0 ? 'by this run so far' : `from any propeller of ${show(1000 * watch.setup.diameter_m)} mm`;
    return {
      code: this.code, value, limit: expected, unit: 'N', channel: thrust.column,
      detail: `Thrust ${show(value)} N at ${show(row.si[speed.id])} rpm and ${show(row.si[current.id])} A; expected ${show(expected)} N ${why}. Keep clear, cut the power, look for the propeller.`,
    };
  }

  begin(): void {
    this.broken = false;
  }

  closest(): ClosestApproach | null {
    return null;
  }
}
