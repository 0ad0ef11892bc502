// Goal: what steps of telemetry do to the instant of a crossing is told as large as it is.
// Method: made-up trains of first-order falls whose samples lie at the same instants after every command, on benches whose levels lie
// anywhere among the steps. What a quantiser shows in the mean for uniform noise of known width is computed in closed form; the error is
// that against the same estimator on the true speed.
import { describe, expect, test } from 'vitest';
import { effectOfCrossing } from '../../src/analysis/metrics/step-effects';
import { overDwells, type Levels } from '../../src/analysis/metrics/train-levels';
import { measureStep, type StepFigures } from '../../src/analysis/physics/step';
import type { RunChannel } from '../../src/analysis/run-data';
import { seeded } from './make-run';

const STEP = 100;
const PERIOD_S = 0.001;
const CONTEXT = { command_s: 0, window: 0.2, levels: { initial: 0, final: 1 } };

/** Speed that climbs from 10 to 34 thousand rpm and back, for the noise that it carries. */
function ramps(width: number, next: () => number): RunChannel {
  const t_s = Float64Array.from({ length: 8000 }, (_, i) => i * PERIOD_S);
  const value = t_s.map((t) => STEP * Math.round(100 + 240 * (1 - Math.abs(t / 4 - 1)) + width * (next() - 0.5)));
  return { kind: 'speed', column: 'speed_rpm', t_s, value, period_s: PERIOD_S, u_gain: 0, u_offset: 0, filter_Hz: null, averaged: 1, placement: null, impossible: 0 };
}

/** Mean of rounded readings about `x` with uniform noise of so many steps: its integral is n·x − n²/2 where n is the nearest step. */
function shownInTheMean(x: number, width: number): number {
  const integral = (y: number): number => Math.round(y) * y - Math.round(y) ** 2 / 2;
  return width === 0 ? Math.round(x) : (integral(x + width / 2) - integral(x - width / 2)) / width;
}

type Bench = { readonly error_s: number; readonly told_s: number; readonly toggled: boolean };

/** One bench: its mean fall, how far one crossing is off, and what is told of that. */
function bench(pick: (f: StepFigures) => number | null, { width, warming, tau_s }: { width: number; warming: number; tau_s: number }, channel: RunChannel, next: () => number): Bench {
  const [initial, final] = [30_000 + 10 * STEP * next(), 14_000 + 10 * STEP * next()];
  const t_s = Array.from({ length: 340 }, (_, i) => (i - 40 + 0.37) * PERIOD_S);
  const dwells = Array.from({ length: FALLS }, (_, k) => initial + STEP * warming * (k / FALLS - 0.5));
  const course = (from: number) => (t: number): number => (t < 0 ? from : final + (from - final) * Math.exp(-t / tau_s));
  const mean = (f: (from: number) => (t: number) => number): number[] => t_s.map((t) => dwells.reduce((sum, from) => sum + f(from)(t), 0) / FALLS);
  const fraction = (rpm: readonly number[]): number[] => rpm.map((v) => (v - initial) / (final - initial));
  const shown = fraction(mean((from) => (t) => STEP * shownInTheMean(course(from)(t) / STEP, width)));
  const figures = measureStep(t_s, shown, CONTEXT);
  const [read, truth] = [pick(figures), pick(measureStep(t_s, fraction(mean(course)), CONTEXT))];
  // What each dwell shows of the level before it, and of one that does not warm after it.
  const shownOf = (level: number): number => STEP * shownInTheMean(level / STEP, width);
  const [before, after] = [dwells.map(shownOf), dwells.map(() => shownOf(final))];
  const numbers = dwells.map((_, k) => k);
  const levels: Levels = { initial: meanOf(before), final: meanOf(after), dwells: { initial: before, final: after }, over: { initial: overDwells(numbers, before, 0), final: overDwells(numbers, after, 0) } };
  const told = Object.values(effectOfCrossing(channel, levels, { t_s, fraction: shown }, figures.half_s, read));
  if (read === null || truth === null || told.length !== 1) throw new Error('a fall without a crossing');
  return { error_s: read - truth, told_s: told[0], toggled: Math.max(...before) - Math.min(...before) > 0.5 * STEP };
}

const FALLS = 30;
const meanOf = (values: readonly number[]): number => values.reduce((a, b) => a + b, 0) / values.length;
const rms = (values: readonly number[]): number => Math.sqrt(values.reduce((sum, v) => sum + v * v, 0) / values.length);

describe('a crossing among steps of telemetry', () => {
  const PLACES = [{ what: '10 %', pick: (f: StepFigures) => f.deadTime_s }, { what: '80 %', pick: (f: StepFigures) => f.t80_s }, { what: 'settled', pick: (f: StepFigures) => f.settling_s }];
  const TRAINS = PLACES.flatMap((place) => [0, 0.5].flatMap((width) => [0, 0.2, 0.7].flatMap((warming) => (place.what === 'settled' ? [0.05] : [0.05, 0.12]).map((tau_s) => ({ ...place, width, warming, tau_s })))));
  test.each(TRAINS)('$what, noise $width of a step wide, levels that warm by $warming steps, lag $tau_s s: told in the root mean square, or more where dwells show too little', ({ pick, width, warming, tau_s }) => {
    const next = seeded(11);
    const channel = ramps(width, seeded(5));
    const all = Array.from({ length: 150 }, () => bench(pick, { width, warming, tau_s }, channel, next));
    const [off, told] = [rms(all.map((b) => b.error_s)), rms(all.map((b) => b.told_s))];
    const toggled = all.filter((b) => b.toggled);
    expect(told).toBeGreaterThan(0.75 * off);
    // Levels that warm cancel some of the error; without noise the dwells do not show how much.
    expect(told).toBeLessThan((width > 0 || warming === 0 ? 1.3 : warming < 0.5 ? 1.8 : 3.5) * off);
    // A course through levels that toggle would be believed to sweep a whole step, and most of these would be told far too little.
    if (width === 0) expect(toggled.filter((b) => Math.abs(b.error_s) > 2 * Math.abs(b.told_s)).length).toBeLessThanOrEqual(0.12 * toggled.length);
  });

  test('where nothing moves near the crossing the level beside it speaks, but not one whose steps are smaller; else noise counts as none', () => {
    // Noise of a whole step shows on a ramp above the upper level only; a few readings show how large steps are at the level and at the crossing.
    const told = (grid: number, width: number): number => {
      const next = seeded(5);
      const moving = Array.from({ length: 8000 }, (_, i) => STEP * Math.round(328 + 16 * Math.abs(((i / 500) % 2) - 1) + width * (next() - 0.5)));
      const few = [...Array.from({ length: 9 }, (_, k) => 29_600 + STEP * k), ...Array.from({ length: 7 }, (_, k) => 28_000 + grid * k).filter((v) => v < 29_000)];
      const value = Float64Array.from([...few, ...moving]);
      const channel: RunChannel = { ...ramps(0, next), t_s: value.map((_, i) => (i - few.length) * PERIOD_S - (i < few.length ? 1 : 0)), value };
      const t_s = Array.from({ length: 340 }, (_, i) => (i - 40 + 0.37) * PERIOD_S);
      const fraction = t_s.map((t) => (t < 0 ? 0 : 1 - Math.exp(-t / 0.05)));
      const figures = measureStep(t_s, fraction, CONTEXT);
      const one = { initial: [30_000], final: [14_000] };
      const levels: Levels = { initial: 30_000, final: 14_000, dwells: one, over: { initial: { shown: one.initial }, final: { shown: one.final } } };
      return Math.abs(Object.values(effectOfCrossing(channel, levels, { t_s, fraction }, figures.half_s, figures.deadTime_s)).at(0) ?? 0);
    };
    expect(told(100, 0)).toBeGreaterThan(0);
    expect(told(100, 1)).toBeLessThan(0.3 * told(100, 0));
    // Steps of 200 rpm at the crossing: noise of 100 rpm at the level says nothing of them.
    expect(told(200, 1)).toBeCloseTo(told(200, 0), 12);
    expect(told(200, 1)).toBeGreaterThan(0);
  });
});
