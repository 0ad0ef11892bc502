/** The steps of a coarse channel, told from the values that it shows. */
import { firstAt, type RunChannel } from '../run-data';
import type { Numbers } from '../stats/check';

/** A channel with more different values than this is not called coarse. */
const MOST_LEVELS = 4096;
/** Levels are looked for this near to a value, relative. */
const NEAR = 0.03;

const known = new WeakMap<Float64Array, Float64Array | null>();

/** Every different value of a channel, in order; null when there are too many to be steps. */
function levelsOf(channel: RunChannel): Float64Array | null {
  const before = known.get(channel.value);
  if (before !== undefined) return before;
  const seen = differentIn(channel.value);
  const levels = seen.size > MOST_LEVELS ? null : Float64Array.from(seen).sort();
  known.set(channel.value, levels);
  return levels;
}

/** Different values, but not many more than a channel with steps has. */
function differentIn(value: Float64Array): Set<number> {
  const seen = new Set<number>();
  let last = NaN;
  for (let i = 0; i < value.length; i++) {
    // A coarse channel repeats itself.
    if (value[i] === last) continue;
    last = value[i];
    if (seen.add(last).size > MOST_LEVELS) break;
  }
  return seen;
}

/** Steps that were found, by levels: at each of them, NaN where nobody asked yet. */
const steps = new WeakMap<Float64Array, Float64Array>();
/** Room for the distances that a median is taken of. */
const sorted = new Float64Array(MOST_LEVELS);

/** Median distance of neighbours among levels [first, end); 0 for fewer than two. */
function medianGap(levels: Float64Array, first: number, end: number): number {
  if (end - first < 2) return 0;
  const n = end - first - 1;
  for (let i = 0; i < n; i++) {
    const gap = levels[first + i + 1] - levels[first + i];
    let at = i;
    for (; at > 0 && sorted[at - 1] > gap; at--) sorted[at] = sorted[at - 1];
    sorted[at] = gap;
  }
  return sorted[n >> 1];
}

/**
 * Step of the channel near a value, the larger one where steps double there; 0 when none can be told. A long run holds means over
 * blocks of samples, whose values lie so much closer.
 */
export function stepNear(channel: RunChannel, value: number): number {
  const levels = levelsOf(channel);
  if (levels === null) return 0;
  const at = firstAt(levels, value);
  const block = channel.block ?? 1;
  if (levels[at] !== value) return block * stepAmong(levels, value, at);
  // Most values asked for are levels themselves, and each is asked for many times.
  let found = steps.get(levels);
  if (found === undefined) steps.set(levels, found = new Float64Array(levels.length).fill(NaN));
  if (Number.isNaN(found[at])) found[at] = stepAmong(levels, value, at);
  return block * found[at];
}

/** @param middle the first level at or above the value */
function stepAmong(levels: Float64Array, value: number, middle: number): number {
  const reach = NEAR * Math.abs(value);
  const first = firstAt(levels, value - reach);
  const end = firstAt(levels, value + reach);
  return Math.max(medianGap(levels, first, end), medianGap(levels, first, Math.min(middle + 1, levels.length)), medianGap(levels, middle, end));
}

/**
 * Where values lie among those that the channel shows: whole at each of them, in between along a straight line; all 0 for a channel with
 * fewer than two.
 */
export function placesAmong(channel: RunChannel, values: Numbers): Float64Array {
  const places = new Float64Array(values.length);
  const levels = levelsOf(channel) ?? [];
  if (levels.length < 2) return places;
  // Values come in the order of time, so the next one mostly lies where the last one did.
  let upper = 1;
  for (let i = 0; i < values.length; i++) {
    const value = values[i];
    if (!(levels[upper - 1] < value && value <= levels[upper])) upper = upperOf(levels, value);
    places[i] = upper - 1 + shareOf(levels, upper, value);
  }
  return places;
}

/** Number of the level at or above a value, from the second to the last; and how far from the one below it to that one the value lies. */
const upperOf = (levels: Numbers, value: number): number => Math.min(Math.max(1, firstAt(levels, value)), levels.length - 1);
const shareOf = (levels: Numbers, upper: number, value: number): number => (value - levels[upper - 1]) / (levels[upper] - levels[upper - 1]);

/**
 * The same as a word that is one for all runs of a channel: the next value shown and the quarter of a step. Means over blocks of a very
 * long run lie closer than steps do; there it is told to a step.
 */
export function quarterOf(channel: RunChannel, value: number): string {
  if ((channel.block ?? 1) > 1) return Math.round(value / (stepNear(channel, value) || 1)).toFixed(0);
  const levels = levelsOf(channel) ?? [];
  if (levels.length < 2) return '0';
  const upper = upperOf(levels, value);
  const [below, above] = [levels[upper - 1].toFixed(0), levels[upper].toFixed(0)];
  const quarter = Math.round(4 * shareOf(levels, upper, value));
  return quarter <= 0 ? below : quarter >= 4 ? above : `${below}+${quarter}/4`;
}
