/**
 * How coarse a channel is. Telemetry that keeps a few significant bits shows one and the same value over a whole window; the mean
 * of it is then off by up to half a step, in every repeat alike, and no gain uncertainty says so.
 */
import { firstAt, type RunChannel } from '../run-data';
import type { Effects } from './reading';

/** A channel with more different values than this is not called coarse. */
const MOST_LEVELS = 4096;
/** Levels are looked for this near to a value, relative. */
const NEAR = 0.03;
/** A third level with this share of the samples shows that the signal moves by more than a step: the mean then averages most of it out. */
const THIRD_SHARE = 0.05;
/** Half-width that is left in any case, in steps: noise of no particular size never averages steps out entirely. */
const LEFT = 0.1;

const known = new WeakMap<Float64Array, Float64Array | null>();

/** Every different value of a channel, in order; null when there are too many to be steps. */
function levelsOf(channel: RunChannel): Float64Array | null {
  const before = known.get(channel.value);
  if (before !== undefined) return before;
  const seen = new Set<number>();
  let last = NaN;
  for (let i = 0; i < channel.value.length && seen.size <= MOST_LEVELS; i++) {
    // A coarse channel repeats itself.
    if (channel.value[i] === last) continue;
    last = channel.value[i];
    seen.add(last);
  }
  const levels = seen.size > MOST_LEVELS ? null : Float64Array.from(seen).sort();
  known.set(channel.value, levels);
  return levels;
}

/** Steps that were found, by levels and then by which of them they were taken over. */
const steps = new WeakMap<Float64Array, Map<number, number>>();

/** Step between neighbouring values that the channel can show near a value; 0 when none can be told. */
function stepNear(channel: RunChannel, value: number): number {
  const levels = levelsOf(channel);
  if (levels === null) return 0;
  const reach = NEAR * Math.abs(value);
  const [first, end] = [firstAt(levels, value - reach), firstAt(levels, value + reach)];
  if (end - first < 2) return 0;
  const found = steps.get(levels) ?? new Map<number, number>();
  steps.set(levels, found);
  const key = first * (MOST_LEVELS + 1) + end;
  let step = found.get(key);
  if (step === undefined) {
    const gaps = Float64Array.from({ length: end - first - 1 }, (_, i) => levels[first + i + 1] - levels[first + i]).sort();
    step = gaps[gaps.length >> 1];
    found.set(key, step);
  }
  return step;
}

/**
 * Standard uncertainty of the mean of samples from the channel's own coarseness, in its unit. One level seen: half a step either
 * way, as a rectangle (JCGM 100:2008, F.2.2.1). Two levels, the rarer with the share m: the true mean lies between theirs (noise of
 * a whole step) and the middle of the step (no noise), so half a step is narrowed by 1 − 2m. A third level: a tenth is left of it.
 */
export function resolutionOf(channel: RunChannel, samples: Float64Array, mean: number): number {
  if (channel.kind !== 'speed' || samples.length === 0) return 0;
  const step = stepNear(channel, mean);
  if (step === 0) return 0;
  const count = new Map<number, number>();
  for (const v of samples) count.set(v, (count.get(v) ?? 0) + 1);
  const [first, second = 0, third = 0] = [...count.values()].sort((a, b) => b - a);
  const half = third > THIRD_SHARE * samples.length ? LEFT : Math.max(LEFT, 0.5 - second / (first + second));
  return (step * half) / Math.sqrt(3);
}

/** The same as an instrument input: named by where it acts, as the error is another one a few steps away. */
export function resolutionEffects(channel: RunChannel, samples: Float64Array, mean: number, slope = 1): Effects {
  const u = resolutionOf(channel, samples, mean);
  return u === 0 ? {} : { [resolutionName(channel, mean)]: u * slope };
}

/** Name of the input: kind and place, to the step. */
export function resolutionName(channel: RunChannel, value: number): string {
  const step = stepNear(channel, value);
  return `${channel.kind}_resolution_${Math.round(value / (step || 1))}`;
}
