// Goal: step figures follow their definitions, on clean, noisy, rising, falling and incomplete steps.
// Method: closed forms of first- and second-order responses, the Nise-type rise-time table, hand-made histograms.
import { describe, expect, test } from 'vitest';
import { lowPass, undelay, unlag } from '../../src/analysis/physics/filters';
import { firstCrossing, lastCrossing, stateLevels } from '../../src/analysis/physics/levels';
import { measureStep, twoPointLag } from '../../src/analysis/physics/step';

const grid = (from: number, to: number, dt: number): number[] => Array.from({ length: Math.round((to - from) / dt) + 1 }, (_, i) => from + i * dt);
const firstOrder = (tau: number, dead = 0) => (t: number): number => (t <= dead ? 0 : 1 - Math.exp(-(t - dead) / tau));
const secondOrder = (zeta: number, wn: number) => (t: number): number => {
  if (t <= 0) return 0;
  const wd = wn * Math.sqrt(1 - zeta * zeta);
  return 1 - Math.exp(-zeta * wn * t) * (Math.cos(wd * t) + (zeta * wn / wd) * Math.sin(wd * t));
};
const unit = { command_s: 0, levels: { initial: 0, final: 1 } };

describe('first-order response', () => {
  const t = grid(-0.2, 2, 0.001);
  const tau = 0.1;
  const dead = 0.03;
  const s = measureStep(t, t.map(firstOrder(tau, dead)), { ...unit, settleBand: 0.02, deadLevel: 0.1 });
  test('10–90 % is τ·ln 9, 20–80 % τ·ln 4, t50 and t80 include the dead time, 2 % settling is 3.912 τ after it', () => {
    expect(s.t10to90_s).toBeCloseTo(tau * Math.log(9), 4);
    expect(s.t20to80_s).toBeCloseTo(tau * Math.log(4), 4);
    expect(s.t50_s).toBeCloseTo(dead + tau * Math.LN2, 4);
    expect(s.t80_s).toBeCloseTo(dead + tau * Math.log(5), 4);
    expect(s.deadTime_s).toBeCloseTo(dead + tau * -Math.log(0.9), 4);
    expect(s.settling_s).toBeCloseTo(dead + 3.912023 * tau, 4);
    expect(s).toMatchObject({ direction: 'up', overshoot: 0, undershoot: 0, missing: [] });
  });
  test('the two-point estimate separates dead time and time constant', () => {
    const lag = twoPointLag(t, t.map(firstOrder(tau, dead)), 0, 0, 1);
    expect(lag?.timeConstant_s).toBeCloseTo(tau, 3);
    expect(lag?.deadTime_s).toBeCloseTo(dead, 3);
    expect(twoPointLag(t, t.map(() => 0), 0, 0, 1)).toBeNull();
  });
  test('a falling step mirrors the rising one, and units do not matter', () => {
    const down = measureStep(t, t.map((v) => 9000 - 4000 * firstOrder(tau, dead)(v)), { command_s: 0, levels: { initial: 9000, final: 5000 }, settleBand: 0.02 });
    expect(down.direction).toBe('down');
    expect(down.t10to90_s).toBeCloseTo(s.t10to90_s ?? NaN, 9);
    expect(down.rate_per_s).toBeCloseTo(0.6 / (tau * Math.log(4)), 2);
  });
  test('levels come from the step itself when none are given', () => {
    const own = measureStep(t, t.map((v) => 100 + 50 * firstOrder(tau, dead)(v)), { command_s: 0 });
    expect(own.initial).toBeCloseTo(100, 9);
    expect(own.final).toBeCloseTo(150, 4);
    expect(own.t10to90_s).toBeCloseTo(tau * Math.log(9), 4);
  });
});

describe('second-order response', () => {
  // ωn·tr of the 10–90 % rise: the table printed in control textbooks (Nise, Control Systems Engineering, chapter 4).
  test.each([[0.1, 1.104], [0.2, 1.203], [0.4, 1.463], [0.5, 1.638], [0.7, 2.126], [0.9, 2.883]])('ζ = %f: normalised rise %f, overshoot exp(−πζ/√(1−ζ²))', (zeta, rise) => {
    const t = grid(-0.5, 80, 0.002);
    const s = measureStep(t, t.map(secondOrder(zeta, 1)), unit);
    expect(Math.abs((s.t10to90_s ?? 0) - rise)).toBeLessThan(0.001);
    expect(s.overshoot).toBeCloseTo(Math.exp((-Math.PI * zeta) / Math.sqrt(1 - zeta * zeta)), 5);
  });
  test('2 % settling is the exact 8.07635/ωn at ζ = 0.5, not the rule of thumb 8', () => {
    const t = grid(-0.1, 3, 0.0002);
    const s = measureStep(t, t.map(secondOrder(0.5, 10)), { ...unit, settleBand: 0.02 });
    expect(s.settling_s).toBeCloseTo(0.807635, 4);
    expect(s.overshoot).toBeCloseTo(0.16303353, 5);
  });
});

describe('steps that cannot be measured', () => {
  const t = grid(-0.1, 1, 0.01);
  test('a record that ends early, never moves or is too small yields nulls with reasons', () => {
    const early = measureStep(t.slice(0, 16), t.slice(0, 16).map(firstOrder(0.05)), unit);
    expect(early.t50_s).not.toBeNull();
    expect(early.t10to90_s).toBeNull();
    expect(early.settling_s).toBeNull();
    expect(early.missing).toHaveLength(2);
    const still = measureStep(t, t.map(() => 0), unit);
    expect(still).toMatchObject({ t50_s: null, t10to90_s: null, deadTime_s: null, rate_per_s: null });
    expect(still.missing[0]).toMatch(/does not cross 50 %/);
    expect(measureStep(t, t.map(() => 0), { command_s: 0 }).missing[0]).toMatch(/too small/);
    expect(measureStep(t, t.map(firstOrder(0.05)), { ...unit, leastStep: 1.01 }).direction).toBeNull();
    expect(measureStep(t, t.map(firstOrder(0.05)), { ...unit, leastStep: 0.99 }).direction).toBe('up');
    expect(measureStep([], [], { command_s: 0 }).missing).toHaveLength(1);
  });
  test('noise at the foot does not stretch the rise: the crossings nearest to the 50 % instant count', () => {
    const y = t.map(firstOrder(0.05));
    const spiky = [...y];
    spiky[3] = 0.15; // before the command
    expect(measureStep(t, spiky, unit).t10to90_s).toBe(measureStep(t, y, unit).t10to90_s);
  });
});

describe('state levels and crossings', () => {
  test('the histogram finds both levels of a noisy square wave and is not moved by overshoot', () => {
    let s = 3;
    const noise = (): number => { s = (s * 48271) % 2147483647; return 0.02 * (s / 2147483647 - 0.5); };
    const y = Array.from({ length: 2000 }, (_, i) => (i % 200 < 100 ? 1 : 5) + (i % 200 >= 100 && i % 200 < 105 ? 0.8 : 0) + noise());
    const levels = stateLevels(y);
    if (!levels.ok) throw new Error(levels.reason);
    expect(levels.low).toBeCloseTo(1, 1);
    expect(levels.high).toBeCloseTo(5, 1);
    const byMean = stateLevels(y, 100, 'mean');
    expect(byMean.ok && byMean.high).toBeGreaterThan(5.02); // the mean is moved by it, as the standard warns
  });
  test('one level, too few samples and bad bins', () => {
    expect(stateLevels([1, 1, 1, 1])).toMatchObject({ ok: false });
    expect(stateLevels([1, 2])).toMatchObject({ ok: false });
    expect(() => stateLevels([1, 2, 3, 4], 1)).toThrow(/2 or more bins/);
  });
  test('crossings interpolate, count a sample on the level once, and keep their direction', () => {
    const t = [0, 1, 2, 3, 4];
    const y = [0, 2, 0, 2, 0];
    expect(firstCrossing(t, y, 0.5, true)?.time).toBe(0.25);
    expect(firstCrossing(t, y, 0.5, false)?.time).toBe(1.75);
    expect(lastCrossing(t, y, 0.5, true, 4)?.time).toBe(2.25);
    expect(firstCrossing(t, y, 2, true)).toEqual({ time: 1, index: 1 });
    expect(firstCrossing(t, y, 2, true, 2)).toEqual({ time: 3, index: 3 });
    expect(firstCrossing(t, y, 3, true)).toBeNull();
    expect(lastCrossing(t, y, 3, true, 4)).toBeNull();
  });
});

describe('lag', () => {
  const t = grid(0, 2, 0.001);
  test('a low-passed ramp trails by τ, and unlag brings it back', () => {
    const x = t.map((v) => 3 * v);
    const y = lowPass(t, x, 0.05);
    expect(y[1500]).toBeCloseTo(3 * (t[1500] - 0.05), 9);
    expect(unlag(t, y, 0.05)[1500]).toBeCloseTo(x[1500], 9);
    expect(Array.from(lowPass(t, x, 0))).toEqual(x);
  });
  test('unlag of a smooth swing leaves less than 1 % of the swing', () => {
    const x = t.map((v) => Math.sin(6 * v));
    const back = unlag(t, lowPass(t, x, 0.05), 0.05);
    for (let i = 600; i < 1900; i++) expect(Math.abs(back[i] - x[i])).toBeLessThan(0.01);
  });
  test('undelay shifts by the delay and drops what the record does not hold', () => {
    const y = t.map((v) => Math.max(0, v - 0.1234));
    const back = undelay(t, y, 0.1234);
    expect(back.length).toBe(t.filter((v) => v + 0.1234 <= t[t.length - 1]).length);
    expect(back[1000]).toBeCloseTo(t[1000], 9);
    expect(() => undelay(t, y, -1)).toThrow(/0 or more/);
  });
});
