// Goal: instants and peaks of a step survive a coarse channel, a creeping level and an unknown phase of the samples.
// Method: polynomials and closed-form lags with known answers, quantised, sampled at shifted instants and averaged as instruments do.
import { describe, expect, test } from 'vitest';
import { peakCurrent } from '../../src/analysis/metrics/peak-current';
import { localFit, localWeights, refineCrossing } from '../../src/analysis/physics/local-fit';
import { measureStep } from '../../src/analysis/physics/step';
import type { PlayedSegment, RunChannel, RunData } from '../../src/analysis/run-data';
import { seeded } from './make-run';

const grid = (from: number, to: number, dt: number): number[] => Array.from({ length: Math.round((to - from) / dt) + 1 }, (_, i) => from + i * dt);

describe('the parabola around an instant', () => {
  // A least-squares polynomial of degree 2 gives back any parabola (Savitzky & Golay, Analytical Chemistry 36 (1964) 1627).
  const t = grid(0, 100, 1).map((v) => v + 0.2 * Math.sin(7 * v));
  const y = t.map((v) => 1e6 + 2 * v - 0.01 * v * v);
  test('gives back a parabola, its slope and its bend, on uneven samples and on a large level', () => {
    const fit = localFit(t, y, 40, 5);
    expect(fit?.value).toBeCloseTo(1e6 + 64, 6);
    expect(fit?.slope).toBeCloseTo(1.2, 8);
    expect(fit?.bend).toBeCloseTo(-0.01, 8);
  });
  test('the value in the middle of five samples has the weights −3, 12, 17, 12, −3 over 35', () => {
    const weights = [-3, 12, 17, 12, -3];
    weights.forEach((w, k) => { expect(localFit([0, 1, 2, 3, 4], [0, 1, 2, 3, 4].map((i) => (i === k ? 1 : 0)), 2, 2.5)?.value).toBeCloseTo(w / 35, 12); });
  });
  test('those weights told as such, on uneven samples too', () => {
    expect(Array.from(localWeights([0, 1, 2, 3, 4], 2, 2.5)?.weights ?? [], (w) => 35 * w)).toEqual([-3, 12, 17, 12, -3].map((w) => expect.closeTo(w, 9) as unknown));
    const window = localWeights(t, 40, 5) ?? { first: 0, weights: new Float64Array(0) };
    expect(window.weights.reduce((sum, w, i) => sum + w * y[window.first + i], 0)).toBeCloseTo(localFit(t, y, 40, 5)?.value ?? 0, 6);
    expect(localWeights(t.slice(0, 4), 2, 5)).toBeNull();
  });
  test('four samples carry none, five do, and nothing before the corner is used', () => {
    expect(localFit(t.slice(0, 4), y.slice(0, 4), 2, 5)).toBeNull();
    expect(localFit(t.slice(0, 5), y.slice(0, 5), 2, 5)?.n).toBe(5);
    const corner = t.map((v) => (v < 50 ? 0 : v - 50));
    expect(localFit(t, corner, 53, 10, 50)?.value).toBeCloseTo(3, 9);
    expect(Math.abs((localFit(t, corner, 53, 10)?.value ?? 0) - 3)).toBeGreaterThan(0.05);
  });
  test('a crossing is found from a rough one; one in the wrong direction stays as it was', () => {
    expect(refineCrossing(t, y, 1e6 + 64, true, 37, 5)).toBeCloseTo(40, 6);
    expect(refineCrossing(t, y, 1e6 + 64, false, 37, 5)).toBe(37);
  });
});

describe('a step on a coarse, noisy channel (IEEE Std 181 reference levels)', () => {
  const tau = 0.04;
  const t = grid(-0.04, 0.3, 0.001);
  const rng = seeded(7);
  // Steps of half a per cent, a sample scattered by half of one: 30 steps.
  const coarse = (): number[] => t.map((v) => Math.round((v <= 0 ? 0 : 1 - Math.exp(-v / tau)) / 0.005 + (rng() - 0.5)) * 0.005);
  const all = Array.from({ length: 30 }, coarse);
  const meanTime = (window: number): number => all.reduce((s, y) => s + (measureStep(t, y, { command_s: 0, levels: { initial: 0, final: 1 }, window }).t10to90_s ?? NaN), 0) / all.length;
  test('10 to 90 % is τ·ln 9 within 0.3 % with a window; the first sample past 90 % comes more than 0.3 % early without', () => {
    expect(Math.abs(meanTime(0.2) / (tau * Math.log(9)) - 1)).toBeLessThan(0.003);
    expect(meanTime(0) / (tau * Math.log(9)) - 1).toBeLessThan(-0.003);
  });
  test('a lag without overshoot shows less than a quarter of a step of the channel', () => {
    const mean = t.map((_, i) => all.reduce((s, y) => s + y[i], 0) / all.length);
    const seen = measureStep(t, mean, { command_s: 0, levels: { initial: 0, final: 1 }, window: 0.2, levelFrom_s: 0.225 });
    expect(seen.overshoot ?? NaN).toBeLessThan(0.00125);
  });
  test('an overshoot of exp(−πζ/√(1−ζ²)) is kept by the window, and one in the part of the level does not count', () => {
    const wn = 60;
    const second = (z: number) => (v: number): number => { const wd = wn * Math.sqrt(1 - z * z); return v <= 0 ? 0 : 1 - Math.exp(-z * wn * v) * (Math.cos(wd * v) + (z * wn / wd) * Math.sin(wd * v)); };
    const y = t.map(second(0.5));
    const context = { command_s: 0, levels: { initial: 0, final: 1 }, window: 0.2 };
    expect(measureStep(t, y, context).overshoot).toBeCloseTo(Math.exp((-Math.PI * 0.5) / Math.sqrt(0.75)), 3);
    const late = t.map((v) => (v <= 0 ? 0 : 1 - Math.exp(-v / 0.02)) + (v > 0.26 ? 0.05 : 0));
    expect(measureStep(t, late, context).overshoot ?? 0).toBeGreaterThan(0.04);
    expect(measureStep(t, late, { ...context, levelFrom_s: 0.225 }).overshoot ?? 1).toBeLessThan(0.001);
  });
});

describe('peak current: the highest mean over two milliseconds', () => {
  const [base, top, tau, lag] = [0.1, 6, 0.03, 1 / (2 * Math.PI * 1600)];
  // i(t) = base + top·exp(−t/τ) from the command on: the mean over the first 2 ms in closed form.
  const truth = base + (top * tau * (1 - Math.exp(-0.002 / tau))) / 0.002;
  /** What the channel shows: means over a millisecond, behind a first-order filter, the samples `phase` of a period late. */
  function made(phase: number, course: (t: number) => number, averaged = 8): { data: RunData; steps: PlayedSegment[] } {
    const dt = 1e-5;
    const t_s: number[] = [];
    const value: number[] = [];
    let filtered = base;
    let sum = 0;
    for (let k = 0; k < 14_000; k++) {
      const t = k * dt - 0.04;
      filtered += (course(t) - filtered) * (1 - Math.exp(-dt / lag));
      sum += filtered / 100;
      if ((k + 1 + Math.round(phase * 100)) % 100 === 0) { t_s.push(t + dt); value.push(sum); sum = 0; }
    }
    const channel: RunChannel = { kind: 'current', column: 'current_A', t_s: Float64Array.from(t_s), value: Float64Array.from(value), period_s: 1e-3, u_gain: 0, u_offset: 0, filter_Hz: 1600, averaged, placement: null, impossible: 0 };
    const segment = { ordinal: 1, segment: {}, start_s: 0, end_s: 0.1, ended: 'time' } as unknown as PlayedSegment;
    return { data: { channels: [channel] } as unknown as RunData, steps: [segment] };
  }
  const falling = (t: number): number => base + (t < 0 ? 0 : top * Math.exp(-t / tau));
  test.each([0, 0.13, 0.37, 0.5, 0.71, 0.93])('is told within three per mille when the samples lie %f of a period late', (phase) => {
    const { data, steps } = made(phase, falling);
    const m = peakCurrent(data, steps, []);
    expect(Math.abs((m.value ?? NaN) / truth - 1)).toBeLessThan(0.003);
    expect(m.effects.current_resolution_in_time).toBeDefined();
    expect(m.effects.current_timing).toBeUndefined();
  });
  test('samples of single instants show the onset to a period only, and the uncertainty says so', () => {
    const { data, steps } = made(0, falling, 1);
    expect(peakCurrent(data, steps, []).effects.current_timing).toBeGreaterThan(0.03);
  });
  test('a current that peaks on its way is told where it peaks, not at the command', () => {
    const { data, steps } = made(0.4, (t) => base + (t < 0 ? 0 : 3 + 2 * Math.sin((Math.PI * t) / 0.08) ** 2));
    const m = peakCurrent(data, steps, []);
    expect(Math.abs((m.value ?? NaN) - (base + 5))).toBeLessThan(0.03);
    expect(m.method).toContain('on the way');
  });
  test('a missing sample near the onset, or no rise, gives no value and the reason', () => {
    const { data, steps } = made(0, falling);
    const [c] = data.channels;
    const holed = { ...data, channels: [{ ...c, t_s: c.t_s.filter((_, i) => i !== 43), value: c.value.filter((_, i) => i !== 43) }] };
    expect(peakCurrent(holed, steps, [])).toMatchObject({ value: null, reason: expect.stringContaining('missing') as string });
    const flat = made(0, () => base);
    expect(peakCurrent({ ...flat.data, channels: [{ ...flat.data.channels[0], value: flat.data.channels[0].value.map(() => base) }] }, flat.steps, []).value).toBeNull();
  });
});
