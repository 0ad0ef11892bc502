/** Figures of one commanded step. Several definitions side by side, because the answer can depend on them threefold. */
import { requireFinite, requireSameLength, type Numbers } from '../stats/check';
import { median } from '../stats/summary';
import { firstCrossing, lastCrossing } from './levels';
import { localFit, refineCrossing } from './local-fit';

/** What is known about the step beforehand. */
export type StepContext = {
  /** When the command changed, on the clock of `t`. */
  readonly command_s: number;
  /** State levels, e.g. from a whole train of steps; the medians of the first and last parts of this step unless given. */
  readonly levels?: { readonly initial: number; readonly final: number };
  /** Half-width of the settling band as a fraction of the step; 0.05 unless given. */
  readonly settleBand?: number;
  /** Part of the step that counts as "it has begun" for the dead time; 0.1 unless given. */
  readonly deadLevel?: number;
  /** Smallest step, in units of y, worth measuring; 0 unless given. */
  readonly leastStep?: number;
  /**
   * Half-width of the window over which the signal is fitted near every instant looked for, as a share of the 20 to 80 %
   * transition; 0 unless given: crossings between two samples and excursions of single samples, as they stand.
   */
  readonly window?: number;
  /** Where the part begins that shows the final level: an overshoot lies before it. The end of the record unless given. */
  readonly levelFrom_s?: number;
};

/** When a step passes its reference levels. Times in the unit of `t` (s). `null` figures are explained in `missing`. */
export type StepTimes = {
  readonly direction: 'up' | 'down' | null;
  readonly initial: number | null;
  readonly final: number | null;
  /** Transition duration between the 10 and 90 % reference levels. */
  readonly t10to90_s: number | null;
  readonly t20to80_s: number | null;
  /** From the command to the crossing of 50 %, and of 80 %. */
  readonly t50_s: number | null;
  readonly t80_s: number | null;
  /** From the command to the crossing of `deadLevel`. */
  readonly deadTime_s: number | null;
  /** Half-width of the window that was used, s; 0 where none was. */
  readonly half_s: number;
  /** Mean rate between 20 and 80 % over the step's size, 1/s: acceleration that steps of different size share. */
  readonly rate_per_s: number | null;
  readonly missing: readonly string[];
};

/** All figures of a step: its times, and what it does after them. */
export type StepFigures = StepTimes & {
  /** Largest excursion past the final level, and back past the initial one, as a fraction of the step. */
  readonly overshoot: number | null;
  readonly undershoot: number | null;
  /** From the command to the largest excursion; null where there is none. */
  readonly overshootAt_s: number | null;
  /** From the command until the signal stays within the settling band. */
  readonly settling_s: number | null;
};

/** A step with levels and a way between them: what its figures are read from. */
type Course = {
  readonly size: number; readonly final: number; readonly start: number; readonly middle: { readonly index: number; readonly time: number } | null; readonly half_s: number;
  /** A crossing found between two samples, found again on the fit around it. */
  readonly fitted: (level: number, rough: number | null, upwards: boolean) => number | null;
};

/**
 * The instants of a step after IEEE Std 181 (reference levels between the state levels, crossings interpolated): the 50 % instant
 * is the first crossing after the command; each other reference level takes its crossing nearest to that instant.
 * @param t sample times, increasing; @param y the signal, e.g. speed
 */
export function stepTimes(t: Numbers, y: Numbers, context: StepContext): StepTimes {
  return timesOf(t, y, context).times;
}

/** The instants of a step, and how far it goes past its levels and when it has settled. Parameters as of {@link stepTimes}. */
export function measureStep(t: Numbers, y: Numbers, context: StepContext): StepFigures {
  const { times, course } = timesOf(t, y, context);
  if (course === null) return { ...times, overshoot: null, undershoot: null, overshootAt_s: null, settling_s: null };
  const { command_s, settleBand = 0.05, levelFrom_s = Infinity } = context;
  const { size, final, start, middle, half_s, fitted } = course;
  const entry = settlingTime(t, y, final, settleBand * Math.abs(size), start);
  const settling = entry === null || entry.edge === null ? entry?.time ?? null : fitted(entry.edge, entry.time, entry.edge < final);
  const over = start < y.length ? excursion(t, y, half_s === 0 ? start : middle?.index ?? start, levelFrom_s, half_s, (v) => (v - final) / size) : null;
  return {
    ...times,
    overshoot: over?.value ?? null, overshootAt_s: span(command_s, over?.at ?? null),
    undershoot: start < y.length ? excursion(t, y, start, Infinity, 0, (v) => (final - size - v) / size).value : null,
    settling_s: settling === null ? null : Math.max(0, settling - command_s),
    missing: settling === null ? [...times.missing, `the signal is not within ±${settleBand * 100} % of the final level at the end`] : times.missing,
  };
}

function timesOf(t: Numbers, y: Numbers, context: StepContext): { readonly times: StepTimes; readonly course: Course | null } {
  requireSameLength(t, y, 't and y');
  requireFinite(t, 't');
  requireFinite(y, 'y');
  const { command_s, deadLevel = 0.1, leastStep = 0 } = context;
  const missing: string[] = [];
  let start = 0;
  while (start < t.length && t[start] < command_s) start++;
  const levels = context.levels ?? ownLevels(y, start);
  if (levels === null) return nothing(`too few samples to know the levels (${start} before the command, ${t.length - start} after)`);
  const { initial, final } = levels;
  const size = final - initial;
  if (size === 0 || Math.abs(size) < leastStep) return nothing(`the step is ${size}, too small to measure`);
  const rising = size > 0;
  const at = (fraction: number): number => initial + fraction * size;

  const middle = firstCrossing(t, y, at(0.5), rising, Math.max(1, start));
  const roughBefore = (fraction: number): number | null => (middle === null ? null : lastCrossing(t, y, at(fraction), rising, middle.index)?.time ?? null);
  const roughAfter = (fraction: number): number | null => (middle === null ? null : firstCrossing(t, y, at(fraction), rising, middle.index)?.time ?? null);
  const half_s = (context.window ?? 0) * (span(roughBefore(0.2), roughAfter(0.8)) ?? 0);
  const fitted = (level: number, rough: number | null, upwards: boolean): number | null =>
    (rough === null || half_s === 0 ? rough : refineCrossing(t, y, level, upwards, rough, windowAt(half_s, rough - command_s), command_s));
  const before = (fraction: number): number | null => fitted(at(fraction), roughBefore(fraction), rising);
  const after = (fraction: number): number | null => fitted(at(fraction), roughAfter(fraction), rising);
  if (middle === null) missing.push('the signal does not cross 50 % after the command');
  const t50 = fitted(at(0.5), middle?.time ?? null, rising);
  const t10 = before(0.1);
  const t20 = before(0.2);
  const t80 = after(0.8);
  const t90 = after(0.9);
  const dead = deadLevel === 0.1 ? t10 : deadLevel <= 0.5 ? before(deadLevel) : after(deadLevel);
  if (middle !== null && (t10 === null || t20 === null)) missing.push('the record does not show the foot of the step');
  if (middle !== null && (t80 === null || t90 === null)) missing.push('the signal does not reach 90 % before the record ends');
  const times: StepTimes = {
    direction: rising ? 'up' : 'down', initial, final, half_s, missing,
    t10to90_s: span(t10, t90), t20to80_s: span(t20, t80), t50_s: span(command_s, t50), t80_s: span(command_s, t80), deadTime_s: span(command_s, dead),
    rate_per_s: t20 !== null && t80 !== null && t80 > t20 ? 0.6 / (t80 - t20) : null,
  };
  return { times, course: { size, final, start, middle, half_s, fitted } };
}

/** A figure of the step's shape alone: the two-point estimate of dead time and time constant of a first-order lag. */
export type LagEstimate = { readonly deadTime_s: number; readonly timeConstant_s: number };

/**
 * First-order-plus-dead-time parameters from the 28.3 and 63.2 % instants (Smith, Digital Computer Process Control, 1972):
 * τ = 1.5(t63 − t28), θ = t63 − τ. null when the levels are not crossed.
 */
export function twoPointLag(t: Numbers, y: Numbers, command_s: number, initial: number, final: number): LagEstimate | null {
  const rising = final > initial;
  let start = 0;
  while (start < t.length && t[start] < command_s) start++;
  const a = firstCrossing(t, y, initial + (1 - Math.exp(-1 / 3)) * (final - initial), rising, Math.max(1, start));
  const b = firstCrossing(t, y, initial + (1 - Math.exp(-1)) * (final - initial), rising, Math.max(1, start));
  if (a === null || b === null) return null;
  const timeConstant_s = 1.5 * (b.time - a.time);
  return { timeConstant_s, deadTime_s: b.time - command_s - timeConstant_s };
}

const span = (from: number | null, to: number | null): number | null => (from === null || to === null ? null : to - from);

/** A window reaches this far back to the command at most, as a share of the way. */
const CORNER = 0.6;

/** Half-width of the window `after_s` past the command: the corner there is no part of the step's smooth course, so near it the window is the smaller. */
export const windowAt = (half_s: number, after_s: number): number => Math.min(half_s, CORNER * after_s);

/** Fits stand this far apart, in half-widths of their window; the top lies no further than an eighth from one of them. */
const STRIDE = 0.25;

/** Largest value of `past` (which must go with y in a straight line) before `until` and its instant: of single samples, or of parabolas over ± `half_s`. */
function excursion(t: Numbers, y: Numbers, from: number, until: number, half_s: number, past: (v: number) => number): { value: number; at: number | null } {
  let most = 0;
  let where: number | null = null;
  let last = -Infinity;
  for (let i = from; i < y.length && t[i] < until; i++) {
    if (half_s > 0 && t[i] - last < STRIDE * half_s && i < y.length - 1) continue;
    last = t[i];
    const value = past(half_s > 0 ? localFit(t, y, t[i], half_s, t[from])?.value ?? y[i] : y[i]);
    if (value > most) [most, where] = [value, t[i]];
  }
  return { value: most, at: where };
}

/** Levels of a lone step: medians of the samples before the command and of the last quarter after it. */
function ownLevels(y: Numbers, start: number): { initial: number; final: number } | null {
  const all = Array.from(y);
  const initial = median(all.slice(0, start));
  const after = all.length - start;
  const final = median(all.slice(all.length - Math.floor(after / 4)));
  return initial === null || after < 8 || final === null ? null : { initial, final };
}

/** Instant of the last entry into final ± band, interpolated at the band's edge, and that edge (null when never outside); null when the signal ends outside. */
function settlingTime(t: Numbers, y: Numbers, final: number, band: number, start: number): { time: number; edge: number | null } | null {
  const outside = (i: number): boolean => Math.abs(y[i] - final) > band;
  let last = y.length - 1;
  if (last < start || outside(last)) return null;
  while (last > start && !outside(last - 1)) last--;
  if (last === start) return { time: t[start], edge: null };
  const edge = y[last - 1] > final ? final + band : final - band;
  return { time: t[last - 1] + ((edge - y[last - 1]) / (y[last] - y[last - 1])) * (t[last] - t[last - 1]), edge };
}

function nothing(reason: string): { readonly times: StepTimes; readonly course: null } {
  return {
    times: { direction: null, initial: null, final: null, t10to90_s: null, t20to80_s: null, t50_s: null, t80_s: null, deadTime_s: null, half_s: 0, rate_per_s: null, missing: [reason] },
    course: null,
  };
}
