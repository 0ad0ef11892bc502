/**
 * Whether noise carries a coarse signal over its steps. A steady level alone cannot tell: a signal that rests on the edge of a step
 * toggles between two values with very little noise. Nor can the scatter of a moving one: noise of whole steps scatters and averages
 * nothing out. But where the signal moves along a smooth course through many steps, the mean error that its samples show at each place
 * within a step can be seen.
 */
import type { RunChannel } from '../run-data';
import type { Numbers } from '../stats/check';
import { placesAmong, stepNear } from './coarse';

/** A stretch counts from this many steps on, so that places within a step come up about equally often. */
const SWEPT = 6;
/** Fewer samples do not show the course of a stretch; more than the most mean a signal that rests rather than moves. */
const LEAST_SAMPLES = 24;
const MOST_SAMPLES = 600;
/** Half way in time a smooth stretch is half way in value, to this share of it: else it begins or ends with a rest. */
const HALF_WAY = 0.1;
/** Samples that may be lost in a row, in periods. */
const MOST_LOST = 4;
/** Stretches near a value count, relative; and only where the step is that of the value to this share, as noise is a share of a step. */
const NEAR = 0.15;
const SAME_STEP = 0.15;
const LEAST_STRETCHES = 2;
/** Harmonics of the error over the place within a step that are looked at (see `lookAt`). */
const HARMONICS = [1, 2] as const;
/** A harmonic is not seen where chance alone gives more than this share of the power that it has without noise. */
const MOST_CHANCE = 0.1;
/** Power that stands out of chance, over what chance gives in the mean: chance alone gives more in one of twenty, as e^−3. */
const STANDS_OUT = 3;
/** Power of a harmonic of a sawtooth of one step. */
const wholeOf = (harmonic: number): number => 1 / (Math.PI * harmonic) ** 2;
/** Harmonics up to this one are told apart where levels lie at different places; all above it have this power, of Σ 1/(πk)² = 1/6. */
const LAST = 8;
const ABOVE = 1 / 6 - Array.from({ length: LAST }, (_, k) => wholeOf(k + 1)).reduce((a, b) => a + b, 0);
/** Coefficients of a parabola, which a stretch is taken for. */
const FITTED = 3;

/** A stretch of a moving signal, samples [from, to): mean value and step there, and what was found in it once it was looked at. */
type Stretch = { readonly from: number; readonly to: number; readonly level: number; readonly step: number; seen: Seen | null };
/** Variance about a parabola in steps², and for each harmonic the sums of the errors, in steps, times cosine and sine of the place within the step. */
type Seen = { readonly samples: number; readonly variance: number; readonly cos: readonly number[]; readonly sin: readonly number[] };

const known = new WeakMap<RunChannel, readonly Stretch[]>();

/**
 * Standard uncertainty of a mean over samples of about `value`, in steps, from what noise leaves of the steps, as the moving signal shows
 * it near there; null where too little of it moves there. The error of quantisation is a sawtooth over the
 * place within a step, Σ ± sin(2πkx)/(πk), and noise weakens each harmonic (Widrow and Kollár, Quantization Noise, 2008, chapter 19);
 * nobody knows the place, so half the power of the harmonics is the square of the uncertainty. The first two are read off the errors
 * that samples show; those above count as weakened as the last one seen. A second that does not stand out of chance counts as weakened as
 * the first at least. With the first alone they count as its square: noise that leaves much of the first weakens the second by that at
 * least, and what noise leaves little of matters little.
 * @param over where the mean was taken
 * @param weights of the levels shown, where they do not all weigh the same; they add up to one
 */
export function leftOfSteps(channel: RunChannel, value: number, over: Over = { shown: [value] }, weights?: Numbers): number | null {
  if ((channel.block ?? 1) > 1) return null;
  const step = stepNear(channel, value);
  const near = stretchesOf(channel)
    .filter((s) => Math.abs(s.level - value) <= NEAR * Math.abs(value) && Math.abs(s.step - step) <= SAME_STEP * step)
    .map((s) => (s.seen ??= lookAt(channel, s)));
  if (near.length < LEAST_STRETCHES) return null;
  const n = near.reduce((sum, s) => sum + s.samples, 0);
  const variance = near.reduce((sum, s) => sum + s.samples * s.variance, 0) / n;
  const ratios: number[] = [];
  for (const [k, harmonic] of HARMONICS.entries()) {
    // The course itself is known to variance·fitted/samples, which blurs the place within a step.
    const left = near.reduce((sum, s) => sum + s.samples * Math.exp((-2 * (Math.PI * harmonic) ** 2 * FITTED * s.variance) / s.samples), 0) / n;
    // Of either part, cosine and sine, this much is chance; `whole` is the power of the harmonic without noise.
    const [chance, whole] = [(2 * variance) / n / left ** 2, wholeOf(harmonic)];
    if (2 * chance > MOST_CHANCE * whole) break;
    const [a, b] = [near.reduce((sum, s) => sum + s.cos[k], 0), near.reduce((sum, s) => sum + s.sin[k], 0)].map((sum) => (2 * sum) / n / left);
    const own = Math.min(1, Math.max(0, a * a + b * b - 2 * chance) / whole);
    ratios.push(k > 0 && a * a + b * b < STANDS_OUT * 2 * chance ? Math.min(ratios[k - 1], own) : own);
  }
  if (ratios.length === 0) return null;
  const kept = keptOver(channel, over, Math.sqrt(ratios[0]), weights);
  const seen = ratios.reduce((sum, ratio, k) => sum + ratio * wholeOf(k + 1) * kept[k], 0);
  return Math.sqrt((seen + above(ratios.length, kept) * (ratios.length === 1 ? ratios[0] ** 2 : ratios[1])) / 2);
}

/** The same as of {@link leftOfSteps} where there is no noise at all, or none that is known of. */
export function leftWithoutNoise(channel: RunChannel, over: Over, weights?: Numbers): number {
  return Math.sqrt(((channel.block ?? 1) > 1 ? 1 / 6 : above(0, keptOver(channel, over, 1, weights))) / 2);
}

/** Power of the harmonics above the first `seen` of a sawtooth of one step, as far as a mean keeps them; those above the last as the upper half of those told apart. */
function above(seen: number, kept: readonly number[]): number {
  const upper = kept.slice(LAST / 2).reduce((sum, share) => sum + share, 0) / (LAST / 2);
  return kept.slice(seen).reduce((sum, share, k) => sum + share * wholeOf(seen + k + 1), ABOVE * upper);
}

/**
 * Levels that a mean was taken over: where they lie at different places within a step, their errors cancel as far as that goes. `shown`:
 * what readings show of them; without noise that is the nearest step, and two of these cancel nothing. `course`: a smooth course through
 * them. Of the two that counts which shows it better, as each misses some of it.
 */
export type Over = { readonly shown: Numbers; readonly course?: Numbers };

/** Share of each harmonic's power, 1 to the last, that a mean keeps over levels. `left`: what noise leaves of the amplitude of the first. */
function keptOver(channel: RunChannel, { shown, course }: Over, left: number, weights?: Numbers): number[] {
  const byShown = keptAt(placesAmong(channel, shown), weights);
  if (course === undefined) return byShown;
  const places = placesAmong(channel, course);
  // Readings without noise toggle where the level has hardly moved: a course through them may sweep a whole step too far.
  const sweep = places.reduce((a, b) => Math.max(a, b), -Infinity) - places.reduce((a, b) => Math.min(a, b), Infinity);
  const middle = places.reduce((sum, p) => sum + p, 0) / places.length;
  const surely = sweep > left ? 1 - left / sweep : 0;
  const byCourse = keptAt(places.map((p) => middle + surely * (p - middle)));
  return byShown.map((share, k) => Math.min(share, byCourse[k]));
}

function keptAt(places: Float64Array, weights?: Numbers): number[] {
  const [cos, sin] = [new Float64Array(LAST), new Float64Array(LAST)];
  for (let i = 0; i < places.length; i++) {
    const c = Math.cos(2 * Math.PI * places[i]);
    const s = Math.sin(2 * Math.PI * places[i]);
    let re = weights?.[i] ?? 1 / places.length;
    let im = 0;
    for (let k = 0; k < LAST; k++) {
      const turned = re * c - im * s;
      im = re * s + im * c;
      re = turned;
      cos[k] += re;
      sin[k] += im;
    }
  }
  return Array.from(cos, (c, k) => c ** 2 + sin[k] ** 2);
}

function stretchesOf(channel: RunChannel): readonly Stretch[] {
  const before = known.get(channel);
  if (before !== undefined) return before;
  const { t_s, value } = channel;
  const found: Stretch[] = [];
  /** Where a stretch begins, and the step there. */
  let from = 0;
  let step = stepAt(channel, 0);
  for (let i = 1; i < value.length; i++) {
    const lost = t_s[i] - t_s[i - 1] > MOST_LOST * channel.period_s;
    if (lost || i - from > MOST_SAMPLES) {
      from = lost ? i : from + (MOST_SAMPLES >> 1);
      step = stepAt(channel, from);
    }
    const swept = value[i] - value[from];
    if (i - from < LEAST_SAMPLES || Math.abs(swept) < SWEPT * step) continue;
    // Steps grow with speed, so the larger one of a stretch's ends counts.
    const larger = Math.max(step, stepNear(channel, value[i]));
    if (!(larger > 0) || Math.abs(swept) < SWEPT * larger) continue;
    const middle = (from + i) >> 1;
    if (Math.abs(value[middle] - value[from] - swept / 2) > HALF_WAY * Math.abs(swept)) {
      from = middle;
    } else {
      found.push(stretch(channel, from, i + 1));
      from = i + 1;
    }
    step = stepAt(channel, from);
  }
  known.set(channel, found);
  return found;
}

const stepAt = (channel: RunChannel, index: number): number => (index < channel.value.length ? stepNear(channel, channel.value[index]) : 0);

function stretch(channel: RunChannel, from: number, to: number): Stretch {
  let sum = 0;
  for (let k = from; k < to; k++) sum += channel.value[k];
  const level = sum / (to - from);
  return { from, to, level, step: stepNear(channel, level), seen: null };
}

/** The samples of a stretch about their least-squares parabola in time. */
function lookAt(channel: RunChannel, { from, to, level: mean, step }: Stretch): Seen {
  const { t_s: t, value: y } = channel;
  const n = to - from;
  let time = 0;
  for (let i = from; i < to; i++) time += t[i];
  time /= n;
  const scale = 1 / (t[to - 1] - t[from]);
  let [m2, m3] = [0, 0];
  for (let i = from; i < to; i++) { const x = (t[i] - time) * scale; m2 += x * x; m3 += x * x * x; }
  // 1, x and q = x² − (m3/m2)·x − m2/n are orthogonal over the samples.
  let [xy, qq, qy] = [0, 0, 0];
  for (let i = from; i < to; i++) {
    const x = (t[i] - time) * scale;
    const q = x * x - (m3 / m2) * x - m2 / n;
    xy += x * (y[i] - mean); qq += q ** 2; qy += q * (y[i] - mean);
  }
  let square = 0;
  const course = new Float64Array(n);
  for (let i = from; i < to; i++) {
    const x = (t[i] - time) * scale;
    const q = x * x - (m3 / m2) * x - m2 / n;
    const all = mean + (xy / m2) * x + (qy / qq) * q;
    square += ((y[i] - all) / step) ** 2;
    // By the other samples alone: a course that leans towards a sample would tell its place by its own error.
    const leverage = 1 / n + (x * x) / m2 + q ** 2 / qq;
    course[i - from] = (all - leverage * y[i]) / (1 - leverage);
  }
  const places = placesAmong(channel, course);
  let [cos1, sin1, cos2, sin2] = [0, 0, 0, 0];
  for (let i = 0; i < n; i++) {
    const error = (y[from + i] - course[i]) / step;
    const place = 2 * Math.PI * (places[i] - Math.floor(places[i]));
    const cos = Math.cos(place);
    const sin = Math.sin(place);
    cos1 += error * cos;
    sin1 += error * sin;
    cos2 += error * (cos * cos - sin * sin);
    sin2 += error * 2 * cos * sin;
  }
  return { samples: n, variance: square / n, cos: [cos1, cos2], sin: [sin1, sin2] };
}
