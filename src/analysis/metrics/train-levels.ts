/**
 * State levels of a train of hard steps: where the speed rests before each command, and at the end of each dwell.
 */
import { between, type PlayedSegment, type RunChannel, type Series } from '../run-data';
import { fitPolynomial } from '../stats/linefit';
import type { Over } from './noise-over-steps';
import { centre } from './reading';

/** Part of each dwell that shows its level. */
export const TAIL = 0.25;

/** One of each for the level before a step and the level after it. */
export type Sides<Of> = { readonly initial: Of; readonly final: Of };
/** State levels, what each dwell shows of them, and how they went over the dwells and within them. */
export type Levels = Sides<number> & { readonly dwells: Sides<readonly number[]>; readonly over: Sides<Over> };

/** The part of a step that shows a level: before the command, or before the end. */
function tailOf(side: keyof Sides<number>, { start_s, end_s }: PlayedSegment): readonly [from: number, to: number] {
  const length = TAIL * (end_s - start_s);
  return side === 'initial' ? [start_s - length, start_s] : [end_s - length, end_s];
}

/**
 * State levels of the train: means over the dwells of the mean of each before its end, so quantised speed averages out, within a dwell by
 * noise and over the dwells by warming. A sample is as old as `sampleAge` says, so where the level still creeps, the mean is carried to
 * the middle of the window along the creep that all dwells show.
 */
export function levelsOf(speed: RunChannel, steps: readonly PlayedSegment[]): Levels | null {
  const level = (side: keyof Sides<number>): { readonly value: number; readonly dwells: readonly number[]; readonly over: Over } | null => {
    const parts = steps.flatMap((segment) => {
      const [from, to] = tailOf(side, segment);
      const part = between(speed, from, to);
      return part.value.length === 0 ? [] : [{ ...lineOf(part), middle_s: (from + to) / 2, length_s: to - from }];
    });
    if (parts.length === 0) return null;
    const creep = parts.reduce((sum, p) => sum + p.slope, 0) / parts.length;
    const dwells = parts.map((p) => p.mean + creep * (p.middle_s - (p.time - speed.period_s / 2)));
    return { value: centre(dwells).value, dwells, over: overDwells(parts.map((p) => p.middle_s), dwells, creep * parts[0].length_s) };
  };
  const initial = level('initial');
  const final = level('final');
  return initial === null || final === null ? null : {
    initial: initial.value, final: final.value, dwells: { initial: initial.dwells, final: final.dwells }, over: { initial: initial.over, final: final.over },
  };
}

/** Dwells that show a course over the train. */
const LEAST_DWELLS = 8;

/** Places within a dwell at which a level that creeps is looked at, in its length from the middle. */
const WITHIN_DWELL = [-0.4, -0.2, 0, 0.2, 0.4];

/** How a level went over the dwells of a train: as each shows it, and as a parabola through them; both with the way that it creeps within a dwell. */
export function overDwells(t_s: readonly number[], dwells: readonly number[], creep: number): Over {
  const within = (level: number): number[] => WITHIN_DWELL.map((share) => level + share * creep);
  const shown = dwells.flatMap(within);
  const middle = centre(t_s).value;
  const x = t_s.map((t) => t - middle);
  const fit = dwells.length < LEAST_DWELLS ? null : fitPolynomial(x, dwells, { degree: 2 });
  if (fit?.ok !== true) return { shown };
  const [a, b, c] = fit.coefficients;
  return { shown, course: x.map((v) => a + v * (b + v * c)).flatMap(within) };
}

/** Mean time, mean value and least-squares slope of samples; slope 0 for one sample. */
function lineOf({ t_s, value }: Series): { time: number; mean: number; slope: number } {
  const n = value.length;
  let [time, mean] = [0, 0];
  for (let i = 0; i < n; i++) {
    time += t_s[i];
    mean += value[i];
  }
  time /= n;
  mean /= n;
  let [square, product] = [0, 0];
  for (let i = 0; i < n; i++) {
    const t = t_s[i] - time;
    square += t * t;
    product += t * (value[i] - mean);
  }
  return { time, mean, slope: square > 0 ? product / square : 0 };
}

/** Every sample that a level rests on. */
export function samplesOf(speed: RunChannel, steps: readonly PlayedSegment[], side: keyof Sides<number>): Float64Array {
  const parts = steps.map((segment) => between(speed, ...tailOf(side, segment)).value);
  const all = new Float64Array(parts.reduce((n, p) => n + p.length, 0));
  let at = 0;
  for (const p of parts) {
    all.set(p, at);
    at += p.length;
  }
  return all;
}
