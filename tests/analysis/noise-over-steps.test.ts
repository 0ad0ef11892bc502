// Goal: noise that carries a coarse speed over its steps is believed only where the record shows it.
// Method: made-up triangles, rests and edges, quantised with noise of known shape and size from seeds; what is left of the steps from the
// characteristic function of the noise, and that again by direct summation.
import { describe, expect, test } from 'vitest';
import { placesAmong } from '../../src/analysis/metrics/coarse';
import { leftOfSteps, leftWithoutNoise } from '../../src/analysis/metrics/noise-over-steps';
import { resolutionEffects, resolutionOf } from '../../src/analysis/metrics/resolution';
import { overDwells } from '../../src/analysis/metrics/train-levels';
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
/** Up and down between 17 and 23 thousand rpm, so many steps a sample. */
const triangle = (perSample: number) => (t: number): number => {
  const way = (1e3 * t * perSample * STEP) % 12_000;
  return 17_000 + (way < 6000 ? way : 12_000 - way);
};
type Noise = { readonly name: string; readonly draw: (seed: number) => () => number; /** Characteristic function at 2πk a step. */ readonly phi: (k: number) => number };
const none = (): number => 0;
const normal = (sigma: number): Noise => ({ name: `normal of ${sigma}`, draw: (seed) => { const next = normals(seed); return () => sigma * next(); }, phi: (k) => Math.exp(-2 * (Math.PI * k * sigma) ** 2) });
const uniform = (width: number): Noise => ({ name: `uniform over ${width}`, draw: (seed) => { const next = seeded(seed); return () => width * (next() - 0.5); }, phi: (k) => Math.sin(Math.PI * k * width) / (Math.PI * k * width) });
/** What noise leaves of the harmonics (1/πk) of the sawtooth, half their power, in steps. */
const leftBy = ({ phi }: Noise): number => Math.sqrt([1, 2, 3, 4, 5, 6, 7, 8].reduce((sum, k) => sum + (phi(k) / (Math.PI * k)) ** 2 / 2, 0));

describe('what noise leaves of steps', () => {
  // Wannamaker, Lipshitz, Vanderkooy and Wright, IEEE Trans. Signal Processing 48 (2000) 499 (from memory): rectangular noise of a whole step
  // makes the mean free of the steps. The same by direct summation for the other shapes of this test.
  test.each([normal(0.15), normal(0.25), uniform(0.5), uniform(1), uniform(1.25)])('the truth of this test for $name noise is what averaging gives', (noise) => {
    const draw = noise.draw(3);
    let square = 0;
    for (let place = 0.005; place < 1; place += 0.01) {
      let sum = 0;
      for (let i = 0; i < 20_000; i++) sum += Math.round(place + draw());
      square += (sum / 20_000 - place) ** 2 / 100;
    }
    expect(Math.abs(Math.sqrt(square) - leftBy(noise))).toBeLessThan(0.006);
  });

  const SHAPES = [normal(0.15), normal(0.25), normal(0.4), uniform(0.5), uniform(1), uniform(1.25), uniform(2.5)].flatMap((noise) => [0.017, 0.093, 0.231].map((perSample) => ({ name: noise.name, noise, perSample })));
  test.each(SHAPES)('$name noise at $perSample steps a sample: told in the root mean square over records, neither less nor much more', ({ noise, perSample }) => {
    const records = 60;
    const told = Array.from({ length: records }, (_, i) => leftOfSteps(coarse(triangle(perSample), 4, noise.draw(100 + i)), 20_000)).filter((u) => u !== null);
    // Large noise on a fast ramp hides the course, and with it the place within a step: then there is no answer rather than a wrong one.
    expect(told.length).toBeGreaterThan(perSample > 0.2 && noise.name === 'uniform over 2.5' ? 0.4 * records : 0.95 * records);
    const square = told.reduce((sum, u) => sum + u ** 2, 0) / told.length;
    expect(Math.sqrt(square)).toBeGreaterThan(0.9 * leftBy(noise));
    expect(Math.sqrt(square)).toBeLessThan(1.15 * leftBy(noise) + 0.04);
  });

  test('a mean over levels at different places within a step: the errors cancel as far as these go round', () => {
    const channel = coarse(triangle(0.093), 4, uniform(0.5).draw(9));
    const one = leftOfSteps(channel, 20_000) ?? never();
    const over = (places: readonly number[]): number => (leftOfSteps(channel, 20_000, { shown: places.map((p) => 20_000 + p * STEP) }) ?? never()) / one;
    expect(over([0, 0, 0])).toBeCloseTo(1, 9);
    expect(over([0, 1, 2, 7])).toBeCloseTo(1, 9);
    expect(over([0, 0.25, 0.5, 0.75])).toBeLessThan(0.5);
    // Two places a quarter apart: half the power of the first harmonic is left.
    expect(over([0, 0.25]) ** 2).toBeGreaterThan(0.4);
    expect(over([0, 0.25]) ** 2).toBeLessThan(0.6);
  });

  test('without noise: half a step as a rectangle at one place, a quarter of that over four places all round', () => {
    const channel = coarse(triangle(0.093), 4, none);
    expect(leftWithoutNoise(channel, { shown: [20_000] })).toBeCloseTo(1 / Math.sqrt(12), 12);
    // Over four places all harmonics go out but the fourth, the eighth and so on: a sawtooth of a quarter step.
    expect(Math.abs(leftWithoutNoise(channel, { shown: [0, 0.25, 0.5, 0.75].map((p) => 20_000 + p * STEP) }) - 0.25 / Math.sqrt(12))).toBeLessThan(0.015);
    expect(leftWithoutNoise(channel, { shown: [20_000, 20_025] }, [1, 0])).toBeCloseTo(1 / Math.sqrt(12), 12);
  });

  test('a course through levels that toggle counts only as far as it goes beyond what toggling can make up', () => {
    const channel = coarse(triangle(0.093), 4, none);
    const at = (places: readonly number[]): number[] => places.map((p) => 20_000 + p * STEP);
    const ways = (sweep: number): number => leftWithoutNoise(channel, { shown: at([0, 1]), course: at(Array.from({ length: 50 }, (_, i) => (sweep * i) / 49)) });
    expect(ways(0.9)).toBeCloseTo(1 / Math.sqrt(12), 9);
    // What is left of a sweep of half a step is a rectangle of half its width: 0.25/√12 by the half that the mean cannot tell.
    expect(Math.abs(ways(1.5) - 0.5 / Math.sqrt(12))).toBeLessThan(0.01);
    expect(ways(2)).toBeLessThan(0.1 / Math.sqrt(12));
  });

  // A train of 30 dwells of 75 samples that warms by so many steps; noise from dwell to dwell besides.
  const TRAINS = [0, 0.5, 0.75].flatMap((width) => [0, 0.3, 0.6, 0.9].flatMap((warming) => [{ apart: 0.02, creep: 0 }, { apart: 0.1, creep: 0 }, { apart: 0.05, creep: 0.6 }].map((more) => ({ width, warming, ...more }))));
  test.each(TRAINS)('a level over dwells that warm by $warming steps, differ by $apart and creep by $creep within one, noise $width of a step wide: told in the root mean square, not less than nine tenths, and rarely far too little where it toggles', ({ width, warming, apart, creep }) => {
    const trains = 150;
    const [next, normal_] = [seeded(31), normals(32)];
    const channel = coarse(triangle(0.093), 8, width === 0 ? none : uniform(width).draw(9));
    let [off, told, toggled, beyond] = [0, 0, 0, 0];
    for (let k = 0; k < trains; k++) {
      const first = 20_000 + 10 * STEP * next();
      const dwells = Array.from({ length: 30 }, (_, i) => first + STEP * (warming * (i / 29) ** 2 + apart * normal_()));
      const shown = dwells.map((d) => (STEP * Array.from({ length: 75 }, (_, i) => Math.round(d / STEP + creep * ((i + 0.5) / 75 - 0.5) + width * (next() - 0.5))).reduce((a, b) => a + b, 0)) / 75);
      const mean = (v: readonly number[]): number => v.reduce((a, b) => a + b, 0) / v.length;
      off += ((mean(shown) - mean(dwells)) / STEP) ** 2 / trains;
      const u = leftOfSteps(channel, mean(shown), overDwells(shown.map((_, i) => i), shown, creep * STEP)) ?? never();
      told += u ** 2 / trains;
      if (Math.abs(mean(shown) / STEP - Math.round(mean(shown) / STEP)) < 0.05) continue;
      toggled++;
      if (Math.abs(mean(shown) - mean(dwells)) / STEP > 2 * u + 0.02) beyond++;
    }
    // Trains that lie across an edge, which a course through what they show would believe to have moved a whole step.
    expect(beyond).toBeLessThanOrEqual(0.12 * toggled + 1);
    expect(Math.sqrt(told)).toBeGreaterThan(0.9 * Math.sqrt(off) - 0.01);
    if (width > 0) expect(Math.sqrt(told)).toBeLessThan(1.5 * Math.sqrt(off) + 0.03);
  });

  test.each([0.017, 0.13, 0.31, 0.43, 0.61, 0.71, 0.83, 1.37])('a signal without noise that moves %s steps a sample for a long time shows none', (perSample) => {
    expect(leftOfSteps(coarse(triangle(perSample), 10, none), 20_000) ?? 1).toBeGreaterThan(0.25);
  });

  test.each([0.02, 0.04, 0.08])('nor do steps through a first-order lag of %s s', (tau_s) => {
    const course = (t: number): number => (t % 1 < 0.5 ? 25_000 - 12_000 * Math.exp(-(t % 1) / tau_s) : 13_000 + 12_000 * Math.exp(-((t % 1) - 0.5) / tau_s));
    expect(leftOfSteps(coarse(course, 10, none), 20_000) ?? 1).toBeGreaterThan(0.25);
  });

  test('no answer where the signal rests, toggles, or moves too far away', () => {
    expect(leftOfSteps(coarse(() => 20_000, 2, uniform(1).draw(1)), 20_000)).toBeNull();
    expect(leftOfSteps(coarse(() => 20_050, 2, uniform(0.1).draw(1)), 20_000)).toBeNull();
    expect(leftOfSteps(coarse(triangle(0.1), 2, uniform(1).draw(1)), 40_000)).toBeNull();
    expect(leftOfSteps(coarse(triangle(0.1), 2, uniform(1).draw(1)), 20_000)).not.toBeNull();
  });

  test('a bend between rest and ramp does not pass for noise', () => {
    expect(leftOfSteps(coarse((t) => (t % 0.6 < 0.4 ? 20_000 : 20_000 + 9_000 * ((t % 0.6) - 0.4)), 12, none), 20_500) ?? 1).toBeGreaterThan(0.25);
  });

  test('where steps double, noise beyond the edge is a larger share of a step and does not count', () => {
    // 9 significant bits of a period in microseconds: above 512 counts it comes in twos; noise of a whole count.
    const next = seeded(5);
    const channel = coarse(none, 8, none);
    const value = channel.t_s.map((t) => { const period = 1e7 / triangle(0.05)(t) + next() - 0.5; return 1e7 / (period < 512 ? Math.round(period) : 2 * Math.round(period / 2)); });
    const half = leftBy(uniform(0.5));
    for (const counts of [516, 524, 536, 550]) expect(leftOfSteps({ ...channel, value }, 1e7 / counts) ?? 1, `${counts}`).toBeGreaterThan(0.9 * half);
    expect(leftOfSteps({ ...channel, value }, 1e7 / 480) ?? 1).toBeLessThan(0.8 * half);
  });

  test('lost samples break a stretch, single ones do not', () => {
    const whole = coarse(triangle(0.05), 4, uniform(1).draw(2));
    const thinned = (keep: (i: number) => boolean): RunChannel => ({ ...whole, t_s: whole.t_s.filter((_, i) => keep(i)), value: whole.value.filter((_, i) => keep(i)) });
    expect(leftOfSteps(thinned((i) => i % 5 !== 0), 20_000)).not.toBeNull();
    // Six samples of every sixty: a stretch of six steps takes a hundred and twenty.
    expect(leftOfSteps(thinned((i) => i % 60 < 54), 20_000)).toBeNull();
  });

  test('means over blocks of a very long run are no steps: the true step is that many times what their values lie apart, and noise is not looked for', () => {
    const block = 4;
    const long = coarse((t) => (t < 8 ? triangle(0.02)(t) : 20_030), 12, uniform(1).draw(4));
    const n = long.value.length / block;
    const value = Float64Array.from({ length: n }, (_, i) => long.value.subarray(block * i, block * (i + 1)).reduce((a, b) => a + b, 0) / block);
    const blocked: RunChannel = { ...long, t_s: long.t_s.filter((_, i) => i % block === block - 1), value, period_s: block * PERIOD_S, block };
    expect(leftOfSteps(blocked, 20_000)).toBeNull();
    expect(leftWithoutNoise(blocked, { shown: [20_000, 20_030] })).toBeCloseTo(Math.sqrt(1 / 12), 12);
    const steady = Float64Array.from([20_025, 20_025, 20_025]);
    expect(resolutionOf(blocked, steady, 20_025)).toBeCloseTo((0.5 * STEP) / Math.sqrt(3), 6);
  });
});

describe('coarseness of a mean', () => {
  const level = (noise: () => number): { readonly u: number; readonly error: number } => {
    const channel = coarse((t) => (t < 4 ? triangle(0.05)(t) : 20_030), 5, noise);
    const part = channel.value.subarray(4000);
    const mean = part.reduce((a, b) => a + b, 0) / part.length;
    return { u: resolutionOf(channel, part, mean), error: Math.abs(mean - 20_030) };
  };

  test('with noise shown on the way, less than a tenth of a step; without, half a step as a rectangle', () => {
    const shown = level(uniform(1).draw(7));
    expect(shown.u).toBeLessThan(0.1 * STEP);
    // The mean of a thousand samples that scatter by 0.4 step has a standard error of 1.3 rpm.
    expect(shown.error).toBeLessThan(3 * 1.3);
    const silent = level(none);
    expect(silent.u).toBeGreaterThan(0.25 * STEP);
    expect(silent.u).toBeLessThanOrEqual((0.5 * STEP) / Math.sqrt(3));
    expect(silent.error).toBe(30);
  });

  const COURSES = [0, 0.25, 0.5, 0.75].flatMap((width) => [0, 0.1, 0.4, 0.9].map((drift) => ({ width, drift })));
  test.each(COURSES)('a level that moves by $drift steps in the window, noise $width of a step wide: told in the root mean square or more, less the farther it moves, and rarely far too little where it toggles', ({ width, drift }) => {
    const [next, levels, n] = [seeded(21), 300, 500];
    const channel = coarse(triangle(0.093), 8, width === 0 ? none : uniform(width).draw(9));
    let [off, told, toggled, beyond] = [0, 0, 0, 0];
    for (let k = 0; k < levels; k++) {
      const level = 200 + 10 * next();
      const samples = Float64Array.from({ length: n }, (_, i) => STEP * Math.round(level + drift * ((i + 0.5) / n - 0.5) + width * (next() - 0.5)));
      const mean = samples.reduce((a, b) => a + b, 0) / n;
      off += (mean / STEP - level) ** 2 / levels;
      const u = Object.values(resolutionEffects(channel, samples, mean))[0] / STEP;
      told += u ** 2 / levels;
      if (Math.abs(mean / STEP - Math.round(mean / STEP)) < 0.05) continue;
      toggled++;
      if (Math.abs(mean / STEP - level) > 2 * u + 0.03) beyond++;
    }
    expect(beyond).toBeLessThanOrEqual(0.12 * toggled + 1);
    // The samples' own scatter, which repeats show, is part of what the mean is off by.
    expect(Math.sqrt(told)).toBeGreaterThan(0.8 * Math.sqrt(off) - 0.015);
    // Without much noise the parts show the nearest step most of the time: then it is told too much, at most as of a level that stands still.
    const still = width === 0 ? 1 / Math.sqrt(12) : leftBy(uniform(width));
    expect(Math.sqrt(told)).toBeLessThan(drift < 0.4 ? 1.1 * still : drift < 0.9 ? 0.95 * still : 0.75 * still);
  });

  test('noise of a quarter step narrows nothing below what it leaves', () => {
    const { u, error } = level(uniform(0.25).draw(7));
    expect(u).toBeGreaterThan(leftBy(uniform(0.25)) * STEP);
    expect(error).toBeLessThanOrEqual(30);
  });
});

function never(): never {
  throw new Error('too little moves for an answer');
}

describe('places among the values shown', () => {
  const shown = (value: number[]): RunChannel => ({ ...coarse(() => 0, 0, none), value: Float64Array.from(value), t_s: Float64Array.from(value, (_, i) => i) });

  test('are whole at each, in between along a straight line, past the ends along the last one, in whatever order they are asked for', () => {
    const channel = shown([100, 140, 120, 100, 200]);
    expect(placesAmong(channel, [100, 110, 120, 130, 170, 200, 215, 90, 199, 101])).toEqual(Float64Array.of(0, 0.5, 1, 1.5, 2.5, 3, 3.25, -0.5, 2 + 59 / 60, 0.05));
  });

  test('are 0 where fewer than two values were shown', () => {
    expect(placesAmong(shown([100, 100]), [90, 110])).toEqual(new Float64Array(2));
    expect(placesAmong(shown([]), [90])).toEqual(new Float64Array(1));
  });
});
