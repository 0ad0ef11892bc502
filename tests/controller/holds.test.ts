// Goal: the parts of a hold compute what their formulas say, never wind up, and never drive on a measurement they do not have.
// Method: the discrete PI against a computed reference, the ratios at their bounds, and holds on a board with a hand-made plant.
import { beforeEach, describe, expect, test } from 'vitest';
import { resetBoard, setGuards } from '../../src/controller/board';
import { clamp, div, gap, mul, older, AGE_MAX } from '../../src/controller/math';
import { powerOf, ratio } from '../../src/controller/measure';
import * as pi from '../../src/controller/pi';
import * as m from '../../src/wire/messages';
import type { SegmentSpec } from './kit';
import { Board, jsCore } from './kit';

describe('integer helpers', () => {
  test('products wrap like wasm, quotients cut towards zero and never trap', () => {
    expect(mul(65536, 65536)).toBe(0);
    expect(mul(-2147483648, -1)).toBe(-2147483648);
    expect([div(7, 2), div(-7, 2), div(7, 0), div(-2147483648, -1)]).toEqual([3, -3, 0, 0]);
  });
  test('a gap between any two i32 stays in i32', () => {
    expect([gap(5, 3), gap(3, 5)]).toEqual([2, -2]);
    expect([gap(2147483647, -2147483648), gap(-2147483648, 2147483647), gap(-2147483648, -2147483648)]).toEqual([2147483647, -2147483648, 0]);
  });
  test('timers saturate', () => {
    expect([older(5, 3), older(AGE_MAX - 1, 1), older(AGE_MAX - 1, 2), older(AGE_MAX, 1_000_000_000)]).toEqual([8, AGE_MAX, AGE_MAX, AGE_MAX]);
    expect([clamp(5, 0, 3), clamp(-5, 0, 3), clamp(2, 0, 3)]).toEqual([3, 0, 2]);
  });
});

describe('discrete PI', () => {
  const OUT = 2 ** pi.OUT_SHIFT * 10_000;
  // Kc 2, Ti 1 s, Ts 0.1 s, backward Euler, u = Kc (e + Ts/Ti Σe): computed by hand from the textbook definition of the
  // position form. Here a tenth of everything: Kc 0.2, Ti 0.1 s, Ts 10 ms.
  const ERRORS = [1, 1, 0.5, 0, -0.5];
  const REFERENCE = [2.2, 2.4, 1.5, 0.5, -0.6];
  const GAIN_P = 200, GAIN_I = 2000, TS_US = 10_000;

  test('gives the reference sequence (position form)', () => {
    pi.startPi(0);
    const got = ERRORS.map((e) => (pi.stepPi(e * pi.ONE, GAIN_P, GAIN_I, TS_US) / OUT) * 10);
    got.forEach((u, k) => { expect(u).toBeCloseTo(REFERENCE[k] ?? NaN, 5); });
  });
  test('and unsaturated it agrees with the velocity form', () => {
    pi.startPi(0);
    let u = 0, before = 0;
    for (const e of ERRORS) {
      u += 0.2 * (e - before) + 2 * 0.01 * e;
      before = e;
      expect(pi.stepPi(e * pi.ONE, GAIN_P, GAIN_I, TS_US) / OUT).toBeCloseTo(u, 6);
    }
  });
  test('errors beyond ±1 act like ±1', () => {
    for (const sign of [1, -1]) {
      pi.startPi(0);
      const one = pi.stepPi(sign * pi.ONE, GAIN_P, GAIN_I, TS_US);
      pi.startPi(0);
      expect(pi.stepPi(sign * 7 * pi.ONE, GAIN_P, GAIN_I, TS_US)).toBe(one);
    }
  });
  test('the largest gains, errors and ticks stay inside i32', () => {
    for (const sign of [1, -1]) {
      pi.startPi(sign * pi.FULL);
      const u = pi.stepPi(sign * pi.ONE, 65_535, 65_535, 20_000);
      expect(u).toBe(sign * 3 * pi.FULL); // the proportional part is held at twice full throttle
      expect(pi.integral).toBe(sign * pi.FULL);
    }
  });
  test('small errors still integrate at 125 µs', () => {
    pi.startPi(0);
    for (let k = 0; k < 8000; k++) pi.stepPi(33, 1, 1000, 125); // 0.1 % for 1 s at 1 /s
    expect(pi.integral / OUT).toBeCloseTo(0.001, 4);
  });
  test('anti-windup: a step into the bound is taken back, one away from it stays', () => {
    pi.startPi(1000);
    pi.stepPi(pi.ONE, 1, 1000, 1000);
    const up = pi.integral;
    expect(up).toBeGreaterThan(1000);
    pi.boundPi(5, 4);
    expect(pi.integral).toBe(1000);
    pi.stepPi(pi.ONE, 1, 1000, 1000);
    pi.boundPi(4, 5);
    expect(pi.integral).toBe(up);
    pi.stepPi(-pi.ONE, 1, 1000, 1000);
    pi.boundPi(-1, 0);
    expect(pi.integral).toBe(up);
    pi.stepPi(-pi.ONE, 1, 1000, 1000);
    pi.boundPi(9, 4);
    expect(pi.integral).toBe(1000);
    pi.stepPi(pi.ONE, 1, 1000, 1000);
    pi.boundPi(4, 4);
    pi.boundPi(5, 4); // told twice: nothing is left to take back
    expect(pi.integral).toBe(up);
  });
});

describe('measures', () => {
  beforeEach(() => {
    resetBoard(1000, 0, 0);
  });
  test('ratio is value over unit, within ±2, for units of any size', () => {
    for (const unit of [1, 3, 100, 32_767, 32_768, 65_535, 1_000_000, 2_147_483_647]) {
      expect(ratio(unit, unit) / pi.ONE).toBeCloseTo(1, 3);
      expect(ratio(Math.floor(unit / 2), unit) / pi.ONE).toBeCloseTo(Math.floor(unit / 2) / unit, 3);
      expect(ratio(2_147_483_647, unit)).toBeLessThanOrEqual(2 * pi.ONE);
      expect(ratio(-2_147_483_648, unit)).toBeGreaterThanOrEqual(-2 * pi.ONE);
      expect(ratio(0, unit)).toBe(0);
    }
    expect(ratio(500, 100)).toBe(2 * pi.ONE);
    expect(ratio(-500, 100)).toBe(-2 * pi.ONE);
  });
  test('power is the exact product above both zeros, shifted; nothing below zero, no overflow', () => {
    setGuards(1000, 1, 0, 4096, -10, 1);
    for (const [i, v] of [[5000, 3000], [4096 + 1, 63], [70_000, 65_000], [4096 + 262_143, 262_133]] as const) {
      expect(powerOf(i, v)).toBe(Number((BigInt(i - 4096) * BigInt(v + 10)) >> BigInt(m.POWER_SHIFT)));
    }
    expect(powerOf(4000, 3000)).toBe(0);
    expect(powerOf(2_147_483_647, 2_147_483_647)).toBe(Math.floor(262_143 ** 2 / 64));
  });
});

describe('on a board', () => {
  const hold = (kind: number, target: number, more: Partial<SegmentSpec> = {}): SegmentSpec => ({ kind, target, duration_us: 10_000_000, ...more });
  const CURRENT = 0, VOLTAGE = 1, PERIOD = 2;
  const driving = (segments: readonly SegmentSpec[]): Board => {
    const b = new Board(jsCore);
    b.samples[CURRENT] = { counts: 0, valid: true };
    b.samples[VOLTAGE] = { counts: 4000, valid: true };
    b.samples[PERIOD] = { counts: 65535, valid: false };
    b.drive(segments);
    return b;
  };
  /** A plant whose current follows the throttle at once: counts = throttle / 4. */
  const follow = (b: Board, n: number): number => {
    let u = b.core.getThrottle();
    for (let k = 0; k < n; k++) {
      b.samples[CURRENT] = { counts: u >> 2, valid: true };
      u = b.run();
    }
    return u;
  };

  test('a target out of reach does not wind up: after a second at the cap the throttle leaves it within 100 ms', () => {
    for (const [kind, target] of [[m.SEG_HOLD_CURRENT, 1000], [m.SEG_HOLD_POWER, (1000 * 4000) >> m.POWER_SHIFT]] as const) {
      const b = driving([hold(kind, target, { cap: 2000 })]);
      expect(follow(b, 1500)).toBe(2000); // 500 counts: half the target
      let ticks = 0;
      b.samples[CURRENT] = { counts: 1300, valid: true };
      while (b.run() === 2000) ticks++;
      expect(ticks).toBeLessThan(100);
    }
  });
  test('a slew limit does not wind up either: the overshoot stays below 5 %', () => {
    const b = driving([hold(m.SEG_HOLD_CURRENT, 1000, { slew: 5 })]);
    let most = 0;
    for (let k = 0; k < 3000; k++) most = Math.max(most, follow(b, 1));
    expect(most).toBeLessThan(4200);
    expect(Math.abs(follow(b, 1) - 4000)).toBeLessThan(60);
  });
  test('without a possible current the throttle stays; it goes on from there', () => {
    for (const spoil of [{ counts: 0, valid: false }, null]) {
      const b = driving([hold(m.SEG_HOLD_CURRENT, 1000)]);
      const u = follow(b, 800);
      b.samples[CURRENT] = spoil;
      b.run(20); // a sample may be 20 ms old
      const kept = b.core.getThrottle();
      expect(b.run(500)).toBe(kept);
      expect(Math.abs(kept - u)).toBeLessThan(60);
      expect(Math.abs(follow(b, 500) - 4000)).toBeLessThan(60);
    }
  });
  test('a hold that never measured drives nothing', () => {
    const b = driving([hold(m.SEG_HOLD_POWER, 1000)]);
    b.samples[VOLTAGE] = { counts: 0, valid: false };
    expect(b.run(500)).toBe(0);
  });
  test('a speed hold with a rotor that never turns asks for 15 % and no more', () => {
    const b = driving([hold(m.SEG_HOLD_SPEED, 500)]);
    let before = 0;
    for (let k = 0; k < 2000; k++) {
      const u = b.run();
      expect(u).toBeGreaterThanOrEqual(before);
      expect(u).toBeLessThanOrEqual(1500);
      before = u;
    }
    expect(before).toBe(1500);
  });
  test('a speed hold that loses the rotor keeps its throttle: nothing winds up in a desync', () => {
    const b = driving([hold(m.SEG_HOLD_SPEED, 500)]);
    b.samples[PERIOD] = { counts: 1000, valid: true };
    b.run(300);
    const u = b.core.getThrottle();
    for (const lost of [{ counts: 65535, valid: false }, { counts: 30_000, valid: true }]) {
      b.samples[PERIOD] = lost;
      expect(b.run(300)).toBe(u);
    }
  });
  test('a speed hold that follows a level starts at the level', () => {
    const b = driving([{ kind: m.SEG_LEVEL, target: 5000, duration_us: 50_000 }, hold(m.SEG_HOLD_SPEED, 500)]);
    expect(b.run(50)).toBe(5000);
    expect(b.run(3)).toBe(5000);
    b.samples[PERIOD] = { counts: 500, valid: true };
    expect(Math.abs(b.run(2) - 5000)).toBeLessThan(20);
  });
  test('own gains are used: ten times the integral gain moves faster', () => {
    const moved = (gainI: number, kind: number, target: number): number => {
      const b = driving([hold(kind, target, { gainI, gainP: 5 })]);
      b.samples[PERIOD] = { counts: 1000, valid: true };
      return b.run(100);
    };
    for (const [kind, target] of [[m.SEG_HOLD_CURRENT, 1000], [m.SEG_HOLD_POWER, 60_000], [m.SEG_HOLD_SPEED, 500]] as const) {
      expect(moved(20_000, kind, target)).toBeGreaterThan(2 * moved(2000, kind, target));
    }
  });
  test('an old sample is enough for a slow channel: four of its periods', () => {
    const b = new Board(jsCore, 1000, []);
    b.core.declareChannel(0, m.KIND_CURRENT, 1, -3, 0, 100_000);
    b.samples = [{ counts: 0, valid: true }];
    b.drive([hold(m.SEG_HOLD_CURRENT, 1000, { gainI: 2000 })]);
    b.run();
    b.samples = [null];
    const early = b.run(390);
    const late = b.run(9);
    expect(late).toBeGreaterThan(early);
    const kept = b.run(2);
    expect(b.run(300)).toBe(kept);
  });
});
