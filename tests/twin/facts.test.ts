// Goal: the tiny one-cell class shows what the trade commonly sees (facts a to i). About a dozen of its values were tuned to
// these, so this is a fit, not a validation. Method: noise-free equilibria and steps at 4 V; common practice, no published source.
import { describe, expect, test } from 'vitest';
import { tinyClass, Truth, withSettings } from '../../src/twin/physics';
import type { RigParameters } from '../../src/twin/physics';
import { maps, stepTimes } from './helpers';

const VOLTS = 4;
const ADVANCES = [0, 7.5, 15, 22.5, 30] as const;
const FREQUENCIES = [24_000, 48_000, 96_000] as const;
const advanced = (timingAdvance_deg: number): RigParameters => withSettings(tinyClass, { timingAdvance_deg });
const switched = (switchingFrequency_Hz: number): RigParameters => withSettings(tinyClass, { switchingFrequency_Hz });
const truth = (rig: RigParameters): Truth => new Truth(rig, maps);
const against15 = (values: readonly number[]): number[] => values.map((value) => (value / values[2] - 1) * 100);

describe('timing advance (common practice, no published source)', () => {
  test('a: KV rises with timing advance to about 15 degrees, then stays flat', () => {
    const kv = ADVANCES.map((a) => new Truth(advanced(a), maps, { propeller: false }).kv_rpmPerV(VOLTS));
    const change = against15(kv);
    expect(change[0]).toBeGreaterThan(-4.2);
    expect(change[0]).toBeLessThan(-2.2);
    expect(change[1]).toBeGreaterThan(-2.6);
    expect(change[1]).toBeLessThan(-1);
    expect(Math.abs(change[3])).toBeLessThan(0.2);
    expect(Math.abs(change[4])).toBeLessThan(0.2);
  });

  test('b: full-throttle speed with the propeller ranks the same way, flat to 0.6 % above 15 degrees', () => {
    const change = against15(ADVANCES.map((a) => truth(advanced(a)).atDuty(VOLTS, 1).speed_rpm));
    expect(change[0]).toBeLessThan(change[1]);
    expect(change[1]).toBeLessThan(-0.4);
    expect(change[0]).toBeGreaterThan(-2.5);
    expect(Math.abs(change[3])).toBeLessThan(0.6);
    expect(Math.abs(change[4])).toBeLessThan(0.6);
  });

  test('c: speed at 1 A peaks at 15 degrees', () => {
    const change = against15(ADVANCES.map((a) => truth(advanced(a)).atCurrent(VOLTS, 1).speed_rpm));
    for (const k of [0, 1, 3, 4]) {
      expect(change[k]).toBeLessThan(-0.1);
      expect(change[k]).toBeGreaterThan(-1.5);
    }
    expect(change[0]).toBeLessThan(change[1]);
  });

  test('d: timing changes neither acceleration (to 2 %) nor braking (to 4 %)', () => {
    const accelerate = ADVANCES.map((a) => stepTimes(advanced(a), 0.2, 0.7, [0.8])[0]);
    const brake = ADVANCES.map((a) => stepTimes(advanced(a), 0.5, 0.1, [0.8])[0]);
    expect(Math.max(...accelerate) / Math.min(...accelerate)).toBeLessThan(1.02);
    expect(Math.max(...brake) / Math.min(...brake)).toBeLessThan(1.04);
    expect(accelerate[2]).toBeGreaterThan(0.034);
    expect(accelerate[2]).toBeLessThan(0.042);
  });
});

describe('switching frequency (common practice, no published source)', () => {
  test('e: full-throttle speed does not depend on the switching frequency', () => {
    const speeds = FREQUENCIES.map((f) => truth(switched(f)).atDuty(VOLTS, 1).speed_rpm);
    expect(speeds[1]).toBeCloseTo(speeds[0], 3);
    expect(speeds[2]).toBeCloseTo(speeds[0], 3);
  });

  test('f: at 1 A speed rises about 25 % from 24 to 48 kHz and about 8 % more to 96 kHz', () => {
    const points = FREQUENCIES.map((f) => truth(switched(f)).atCurrent(VOLTS, 1));
    const gain = (k: number): number => (points[k].speed_rpm / points[k - 1].speed_rpm - 1) * 100;
    const thrust = (k: number): number => (points[k].thrust_N / points[k - 1].thrust_N - 1) * 100;
    expect(Math.abs(gain(1) - 25)).toBeLessThan(3);
    expect(Math.abs(gain(2) - 8)).toBeLessThan(2);
    expect(Math.abs(thrust(1) - 55)).toBeLessThan(8);
    expect(Math.abs(thrust(2) - 17)).toBeLessThan(4);
    expect(points[0].efficiency).toBeLessThan(points[1].efficiency);
    expect(points[1].efficiency).toBeLessThan(points[2].efficiency);
  });

  test('f: at half throttle a higher switching frequency gives less thrust', () => {
    const thrusts = FREQUENCIES.map((f) => truth(switched(f)).atThrottle(VOLTS, 0.5).thrust_N);
    expect(thrusts[1]).toBeLessThan(thrusts[0]);
    expect(thrusts[2]).toBeLessThan(0.9 * thrusts[1]);
  });

  test('g: acceleration stays about the same, braking 50 to 10 % is 10 to 20 ms slower at 96 kHz (to 80 % of the way)', () => {
    const accelerate = FREQUENCIES.map((f) => stepTimes(switched(f), 0.1, 0.5, [0.5])[0]);
    const brake = FREQUENCIES.map((f) => stepTimes(switched(f), 0.5, 0.1, [0.8])[0]);
    expect(Math.max(...accelerate) / Math.min(...accelerate)).toBeLessThan(1.1);
    expect(brake[2] - brake[0]).toBeGreaterThan(0.01);
    expect(brake[2] - brake[0]).toBeLessThan(0.02);
    expect(brake[1] - brake[0]).toBeLessThan(0.005);
  });

  test('i: a cubic expo of about 0.25 relates the throttle curves at 96 kHz and at 24 or 48 kHz', () => {
    const curves = FREQUENCIES.map((f) => GRID.map((x) => (x === 0 ? 0 : truth(switched(f)).atThrottle(VOLTS, x).thrust_N)));
    const to24 = fitExpo(curves[0], curves[2]);
    const to48 = fitExpo(curves[1], curves[2]);
    expect(Math.abs(to24.expo - 0.25)).toBeLessThan(0.05);
    expect(Math.abs(to48.expo - 0.25)).toBeLessThan(0.1);
    expect(to24.residual).toBeLessThan(0.02);
    expect(to48.residual).toBeLessThan(0.02);
  });
});

describe('spool-up headroom (common practice, no published source)', () => {
  test('h: only its lowest step slows a 10 to 100 % acceleration', () => {
    const times = [0.35, 0.7, 1.05, 2].map((spoolUpHeadroom) => stepTimes(withSettings(tinyClass, { spoolUpHeadroom }), 0.1, 1, [0.8])[0]);
    expect(times[0]).toBeGreaterThan(1.8 * times[3]);
    expect(times[1] / times[3]).toBeLessThan(1.04);
    expect(times[2]).toBe(times[3]);
  });
});

describe('each fact hangs on the term that the model blames for it', () => {
  const without = (esc: Partial<RigParameters['esc']>): RigParameters => ({ ...tinyClass, esc: { ...tinyClass.esc, ...esc } });

  test('without detection latency KV keeps rising above 15 degrees', () => {
    const rig = without({ minCommutationDelay_s: 0 });
    const kv = [15, 22.5, 30].map((a) => new Truth(withSettings(rig, { timingAdvance_deg: a }), maps, { propeller: false }).kv_rpmPerV(VOLTS));
    expect(kv[1] / kv[0]).toBeGreaterThan(1.03);
    expect(kv[2] / kv[1]).toBeGreaterThan(1.03);
  });

  test('without dead time the switching frequency bends no throttle curve and slows no braking', () => {
    const rig = without({ deadTime_s: 0 });
    const at = (switchingFrequency_Hz: number): RigParameters => withSettings(rig, { switchingFrequency_Hz });
    const half = FREQUENCIES.map((f) => truth(at(f)).atThrottle(VOLTS, 0.5).thrust_N);
    expect(Math.max(...half) / Math.min(...half)).toBeLessThan(1.02);
    const brake = [24_000, 96_000].map((f) => stepTimes(at(f), 0.5, 0.1, [0.8])[0]);
    expect(Math.abs(brake[1] - brake[0])).toBeLessThan(0.002);
  });

  test('without ripple loss a higher switching frequency saves about half as much', () => {
    const rig = { ...tinyClass, motor: { ...tinyClass.motor, rippleLossTangent: 0 } };
    const speeds = FREQUENCIES.map((f) => truth(withSettings(rig, { switchingFrequency_Hz: f })).atCurrent(VOLTS, 1).speed_rpm);
    expect(speeds[1] / speeds[0]).toBeLessThan(1.18);
    expect(speeds[2] / speeds[1]).toBeLessThan(1.04);
  });
});

const GRID = [0, 0.1, 0.2, 0.3, 0.4, 0.5, 0.6, 0.7, 0.8, 0.9, 1] as const;

/** Least-squares e of y(x) = (1−e)·x + e·x³ with high(x) = low(y(x)); residual relative to full thrust. */
function fitExpo(low: readonly number[], high: readonly number[]): { expo: number; residual: number } {
  const at = (y: number): number => {
    const cell = Math.min(9, Math.floor(y * 10));
    return low[cell] + (y * 10 - cell) * (low[cell + 1] - low[cell]);
  };
  let best = { expo: NaN, residual: Infinity };
  for (let expo = -0.2; expo < 0.7; expo += 0.005) {
    const squares = GRID.reduce<number>((sum, x, k) => sum + (at((1 - expo) * x + expo * x ** 3) - high[k]) ** 2, 0);
    const residual = Math.sqrt(squares / GRID.length) / low[10];
    if (residual < best.residual) best = { expo, residual };
  }
  return best;
}
