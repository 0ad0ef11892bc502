// Goal: noise that carries a coarse speed over its steps is believed only where the record shows it.
// Method: made-up ramps, rests and edges, quantised with noise of known size from a seed; the size of what is left by direct counting.
import { describe, expect, test } from 'vitest';
import { ditherLeft } from '../../src/analysis/metrics/dither';
import { resolutionOf } from '../../src/analysis/metrics/resolution';
import type { RunChannel } from '../../src/analysis/run-data';
import { normals, seeded } from './make-run';

const PERIOD_S = 0.001;
const STEP = 100;

/** Speed that is shown to the step. */
function coarse(speedAt: (t_s: number) => number, seconds: number, noise: () => number): RunChannel {
  const n = Math.round(seconds / PERIOD_S);
  const t_s = Float64Array.from({ length: n }, (_, i) => i * PERIOD_S);
  const value = t_s.map((t) => STEP * Math.round(speedAt(t) / STEP + noise()));
  return { kind: 'speed', column: 'speed_rpm', t_s, value, period_s: PERIOD_S, u_gain: 0, u_offset: 0, filter_Hz: null, averaged: 1, placement: null, impossible: 0 };
}
const ramp = (t: number): number => 15_000 + 10_000 * t;
const none = (): number => 0;
const uniform = (width: number, seed = 7): (() => number) => { const next = seeded(seed); return () => width * (next() - 0.5); };
const normal = (sigma: number): (() => number) => { const next = normals(11); return () => sigma * next(); };

describe('what noise leaves of steps', () => {
  // Widrow and Kollár, Quantization Noise (2008), chapter 19: the mean error over Gaussian noise is (step/π)·exp(−2π²σ²/step²) at most, from memory.
  test('the formula is what averaging over normal noise gives, by direct summation', () => {
    for (const sigma of [0.2, 0.3, 0.4]) {
      let most = 0;
      for (let place = 0; place < 1; place += 0.01) {
        let [sum, weight] = [0, 0];
        for (let z = -6; z <= 6; z += 0.001) {
          const w = Math.exp((-z * z) / 2);
          sum += w * Math.round(place + sigma * z);
          weight += w;
        }
        most = Math.max(most, Math.abs(sum / weight - place));
      }
      expect(most / (Math.exp(-2 * Math.PI ** 2 * sigma ** 2) / Math.PI)).toBeGreaterThan(0.97);
      expect(most / (Math.exp(-2 * Math.PI ** 2 * sigma ** 2) / Math.PI)).toBeLessThan(1.03);
    }
  });

  test('a ramp shows what noise leaves: hardly ever put too low, and not much too high', () => {
    for (const sigma of [0.15, 0.25, 0.3]) {
      const left = ditherLeft(coarse(ramp, 1.2, normal(sigma)), 20_000) ?? NaN;
      const truth = Math.exp(-2 * Math.PI ** 2 * sigma ** 2) / Math.PI / Math.SQRT2;
      expect(left, `${sigma}`).toBeGreaterThan(truth);
      expect(left, `${sigma}`).toBeLessThan(1.3 * truth + 0.02);
    }
  });

  // Wannamaker, Lipshitz, Vanderkooy and Wright, IEEE Trans. Signal Processing 48 (2000) 499 (from memory): rectangular noise of a whole
  // step makes the mean free of the steps; half as much leaves (1/π)·sin(π/2)/(π/2).
  test('uniform noise of a whole step leaves nothing, of half a step two thirds of all', () => {
    const twice = (width: number): number => ditherLeft(coarse(ramp, 1.2, uniform(width)), 20_000) ?? NaN;
    expect(twice(1)).toBeLessThan(0.07);
    const half = Math.sin(Math.PI / 2) / (Math.PI / 2) / Math.PI / Math.SQRT2;
    expect(twice(0.5)).toBeGreaterThan(half);
    expect(twice(0.5)).toBeLessThan(1.3 * half + 0.02);
  });

  test('in ninety of a hundred records and more, the bound is above what is left', () => {
    const truth = Math.exp(-2 * Math.PI ** 2 * 0.25 ** 2) / Math.PI / Math.SQRT2;
    let above = 0;
    for (let seed = 1; seed <= 200; seed++) {
      const next = normals(seed);
      if ((ditherLeft(coarse(ramp, 1.2, () => 0.25 * next()), 20_000) ?? 1) >= truth) above++;
    }
    expect(above).toBeGreaterThan(180);
  });

  test.each([
    ['slowly', (t: number) => 15_000 + 10_000 * t, 1.2],
    ['half a step a sample', (t: number) => 15_000 + 50_000 * t, 0.2],
    ['one and a half steps a sample', (t: number) => 10_000 + 150_000 * t, 0.13],
    ['along the course of a first-order lag', (t: number) => 25_000 - 15_000 * Math.exp(-t / 0.04), 0.3],
  ] as const)('a signal without noise that moves %s shows none', (_, course, seconds) => {
    expect(ditherLeft(coarse(course, seconds, none), 20_000)).toBeNull();
  });

  test('no verdict where the signal rests, toggles, or moves too far away', () => {
    expect(ditherLeft(coarse(() => 20_000, 2, uniform(1)), 20_000)).toBeNull();
    expect(ditherLeft(coarse(() => 20_050, 2, uniform(0.1)), 20_000)).toBeNull();
    expect(ditherLeft(coarse(ramp, 1.2, uniform(1)), 40_000)).toBeNull();
  });

  test('a bend between rest and ramp does not pass for noise', () => {
    expect(ditherLeft(coarse((t) => (t % 0.6 < 0.4 ? 20_000 : 20_000 + 9_000 * ((t % 0.6) - 0.4)), 6, none), 20_500)).toBeNull();
  });

  test('steps that double half way do not pass for noise', () => {
    // 9 significant bits of a period in microseconds: above 512 counts it comes in twos.
    const speedOf = (period: number): number => 1e7 / (period < 512 ? Math.round(period) : 2 * Math.round(period / 2));
    const channel = coarse(none, 1, none);
    const value = channel.t_s.map((t) => speedOf(1e7 / (17_000 + 5_000 * t)));
    expect(ditherLeft({ ...channel, value }, 1e7 / 512)).toBeNull();
  });

  test('lost samples break a stretch, single ones do not', () => {
    const whole = coarse(ramp, 1.2, uniform(1));
    const thinned = (keep: (i: number) => boolean): RunChannel => ({ ...whole, t_s: whole.t_s.filter((_, i) => keep(i)), value: whole.value.filter((_, i) => keep(i)) });
    expect(ditherLeft(thinned((i) => i % 5 !== 0), 20_000)).not.toBeNull();
    // Six samples of every thirty: no stretch of six steps is left, as one takes sixty.
    expect(ditherLeft(thinned((i) => i % 30 < 24), 20_000)).toBeNull();
  });
});

describe('coarseness of a mean', () => {
  const level = (noise: () => number): { readonly u: number; readonly error: number } => {
    const channel = coarse((t) => (t < 1.2 ? ramp(t) : 20_030), 2.2, noise);
    const part = channel.value.subarray(1300);
    const mean = part.reduce((a, b) => a + b, 0) / part.length;
    return { u: resolutionOf(channel, part, mean), error: Math.abs(mean - 20_030) };
  };

  test('with noise shown on the way, less than a fourteenth of a step; without, half a step as a rectangle', () => {
    const shown = level(uniform(1));
    expect(shown.u).toBeLessThan(0.07 * STEP);
    expect(shown.error).toBeLessThan(2 * shown.u + 6);
    const silent = level(none);
    expect(silent.u).toBeCloseTo((0.5 * STEP) / Math.sqrt(3), 6);
    expect(silent.error).toBe(30);
  });

  test('noise of a quarter step narrows nothing below what it can leave', () => {
    const { u, error } = level(uniform(0.25));
    // Uniform noise of the width w leaves (1/π)·sin(πw)/(πw): 0.287 of a step.
    expect(u).toBeGreaterThan((0.287 / Math.SQRT2) * STEP * 0.9);
    expect(error).toBeLessThanOrEqual(30);
  });
});
