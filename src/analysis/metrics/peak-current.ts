/**
 * Peak current of hard steps up: the highest mean over two milliseconds. A peak has a meaning only with the time over which it is averaged;
 * how high the current stands in the first microseconds, a channel that averages behind a filter cannot tell. Two milliseconds hold a
 * whole sample of a millisecond, however the samples lie.
 */
import { localFit, type LocalFit } from '../physics/local-fit';
import { between, channelOf, type PlayedSegment, type RunChannel, type RunData, type Series } from '../run-data';
import { median } from '../stats/summary';
import { channelEffects } from './common';
import { centre, metric, noMetric, type RunMetric } from './reading';

/** The peak is the mean over this time, or over two sample periods where those are longer, s. */
const AVERAGED_S = 2e-3;
/** The course after the onset is read off this long, s, and off this many samples at least. */
const COURSE_S = 5e-3;
const LEAST_SAMPLES = 5;
const LONGER = 1.8;
/**
 * Standard uncertainty of the peak over what the two lengths differ by. An error that goes with the length leaves 1.4/0.8 of that in the
 * value midway, one that goes with its square 2.12/2.24; as a rectangle that is 1.01 or 0.55 of it, and this is midway.
 */
const UNRESOLVED = 0.78;
/** Seconds before the command that show the current from which the step rises. */
const FOOT_S = 0.02;
/** Where the highest sample comes later than this after the onset, the current peaks on its way and not at the command. */
const AT_ONSET_S = 5e-3;
/** Half-width of the window for a peak on the way, s, and samples in it at least. */
const ON_THE_WAY_S = 4e-3;

/** The time that a peak of this channel is averaged over, s. */
const averagedOver = ({ period_s }: RunChannel): number => Math.max(AVERAGED_S, 2 * period_s);

/** Measures the peak current of the steps up. */
export function peakCurrent(data: RunData, steps: readonly PlayedSegment[], flags: readonly string[]): RunMetric {
  const current = channelOf(data, 'current');
  if (current === null) return noMetric('peak_current_A', 'the rig has no current channel', flags);
  const found = steps.flatMap((step) => onsetOf(current, step) ?? []);
  if (found.length === 0) return noMetric('peak_current_A', 'no step up can be used: its current does not rise, or samples are missing near it', flags);
  const early = (median(found.map((f) => f.highest_s - f.onset_s)) ?? 0) < AT_ONSET_S;
  const { value, within } = centre(found.map((f) => (early ? f.atOnset : f.onTheWay())));
  // Samples of an instant each show the onset no better than to a period; means over the whole period show it by their sum.
  const place = early && current.averaged <= 1 ? (Math.abs(centre(found.map((f) => f.slope)).value) * current.period_s) / Math.sqrt(12) : 0;
  // Between the onset and the first whole sample the course is not resolved: another length of it tells how much hangs on that.
  const unresolved = early ? UNRESOLVED * centre(found.map((f) => f.apart)).value : 0;
  return metric('peak_current_A', { value, within, effects: { ...channelEffects(current, value), ...(place > 0 ? { current_timing: place } : {}), ...(early ? { current_resolution_in_time: unresolved } : {}) } },
    `highest mean over ${averagedOver(current) * 1e3} ms, ${early ? 'from the course of the current after its onset carried back to the onset' : 'on the way to the upper level'}, mean of ${found.length} steps`, flags);
}

/** A step's current: apparent onset and highest sample on the clock of the samples; mean over the first two milliseconds, how far a longer course puts it apart, the slope there; the highest smoothed value. */
type Onset = { readonly onset_s: number; readonly highest_s: number; readonly atOnset: number; readonly apart: number; readonly slope: number; readonly onTheWay: () => number };

/**
 * A sample is the mean over its period, behind a filter that delays by its time constant. The sum of the samples around the onset is
 * therefore the charge that flowed since, whatever the phase of the samples; with the course that the later samples show, it tells
 * where on their clock the onset lies. Delays common to onset and course cancel.
 */
function onsetOf(current: RunChannel, { start_s, end_s }: PlayedSegment): Onset | null {
  const foot = between(current, start_s - FOOT_S, start_s).value;
  const { t_s, value } = between(current, start_s, end_s);
  const period = current.period_s;
  if (foot.length === 0 || value.length < LEAST_SAMPLES) return null;
  const base = foot.reduce((a, b) => a + b, 0) / foot.length;
  let highest = 0;
  for (let i = 1; i < value.length; i++) if (value[i] > value[highest]) highest = i;
  if (!(value[highest] > base)) return null;
  let rise = 0;
  while (value[rise] - base < (value[highest] - base) / 2) rise++;
  const lag_s = current.filter_Hz === null ? 0 : 1 / (2 * Math.PI * current.filter_Hz);
  const first = rise + Math.ceil(0.5 + (4 * lag_s) / period);
  const samples = Math.max(LEAST_SAMPLES, Math.ceil(COURSE_S / period));
  const longer = Math.ceil(LONGER * samples);
  if (first + longer > value.length) return null;
  for (let i = 1; i < first + longer; i++) if (Math.abs(t_s[i] - t_s[i - 1] - period) > period / 2) return null;
  let charge = 0;
  for (let i = 0; i < first; i++) charge += (value[i] - base) * period;
  const start = startOf({ t_s, value }, current, first, samples, charge, base);
  const other = startOf({ t_s, value }, current, first, longer, charge, base);
  if (start === null || other === null) return null;
  // Neither length is known to be the better one.
  return { ...start, atOnset: (start.atOnset + other.atOnset) / 2, highest_s: t_s[highest], apart: other.atOnset - start.atOnset, onTheWay: () => smoothedTop({ t_s, value }, rise, Math.max(ON_THE_WAY_S, 4 * period)) };
}

/** Onset, mean over the first two milliseconds and slope there, by the course that `n` samples from index `first` on show. */
function startOf({ t_s, value }: Series, current: RunChannel, first: number, n: number, charge: number, base: number): Pick<Onset, 'onset_s' | 'atOnset' | 'slope'> | null {
  const period = current.period_s;
  // Sample i covers the period up to t_s[i]; the course is told at the middles.
  const t = t_s.slice(first, first + n).map((end) => end - period / 2);
  const middle = (t[0] + t[n - 1]) / 2;
  const course = localFit(t, value.subarray(first, first + n), middle, n * period);
  const onset = course === null ? null : onsetFrom(course, t_s[first - 1] - middle, charge, base);
  if (course === null || onset === null) return null;
  const window = averagedOver(current);
  return { onset_s: middle + onset, atOnset: integral(course, onset, onset + window) / window, slope: course.slope + 2 * course.bend * onset };
}

/** Of the parabola, from `a` to `b` past the instant it is told at. */
const integral = ({ value, slope, bend }: LocalFit, a: number, b: number): number => value * (b - a) + (slope * (b ** 2 - a ** 2)) / 2 + (bend * (b ** 3 - a ** 3)) / 3;

const ROUNDS = 20;

/** The instant from which on the course, less `base`, holds `charge` until `end`; null where it never does. */
function onsetFrom(course: LocalFit, end: number, charge: number, base: number): number | null {
  const above = (x: number): number => course.value + course.slope * x + course.bend * x ** 2 - base;
  let onset = end;
  for (let round = 0; round < ROUNDS; round++) {
    if (!(above(onset) > 0)) return null;
    const move = (integral(course, onset, end) - base * (end - onset) - charge) / above(onset);
    onset += move;
    if (Math.abs(move) < 1e-9) return onset;
  }
  return null;
}

/** Highest value of parabolas over ± `half` from index `from` on. */
function smoothedTop({ t_s, value }: Series, from: number, half: number): number {
  let top = -Infinity;
  let last = -Infinity;
  for (let i = from; i < value.length; i++) {
    if (t_s[i] - last < half / 4) continue;
    last = t_s[i];
    top = Math.max(top, localFit(t_s, value, t_s[i], half, t_s[from])?.value ?? value[i]);
  }
  return top;
}
