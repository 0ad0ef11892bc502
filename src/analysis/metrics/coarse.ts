/** The steps of a coarse channel, told from the values that it shows. */
import { firstAt, type RunChannel } from '../run-data';

/** A channel with more different values than this is not called coarse. */
const MOST_LEVELS = 4096;
/** Levels are looked for this near to a value, relative. */
const NEAR = 0.03;

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
/** Room for the distances that a median is taken of. */
const sorted = new Float64Array(MOST_LEVELS);

/** Median distance of neighbours among levels [first, end); 0 for fewer than two. */
function medianGap(levels: Float64Array, found: Map<number, number>, first: number, end: number): number {
  if (end - first < 2) return 0;
  const key = first * (MOST_LEVELS + 1) + end;
  let step = found.get(key);
  if (step === undefined) {
    const n = end - first - 1;
    for (let i = 0; i < n; i++) {
      const gap = levels[first + i + 1] - levels[first + i];
      let at = i;
      for (; at > 0 && sorted[at - 1] > gap; at--) sorted[at] = sorted[at - 1];
      sorted[at] = gap;
    }
    step = sorted[n >> 1];
    found.set(key, step);
  }
  return step;
}

/**
 * Step of the channel near a value, the larger one where steps double there; 0 when none can be told. A long run holds means over
 * blocks of samples, whose values lie so much closer.
 */
export function stepNear(channel: RunChannel, value: number): number {
  const levels = levelsOf(channel);
  if (levels === null) return 0;
  const reach = NEAR * Math.abs(value);
  const first = firstAt(levels, value - reach);
  const middle = firstAt(levels, value);
  const end = firstAt(levels, value + reach);
  let found = steps.get(levels);
  if (found === undefined) steps.set(levels, found = new Map<number, number>());
  return (channel.block ?? 1) * Math.max(medianGap(levels, found, first, end), medianGap(levels, found, first, Math.min(middle + 1, levels.length)), medianGap(levels, found, middle, end));
}

/** The values shown next to one, the number of the lower among all, and how far it lies between them: 0 at the lower, 1 at the upper; null for fewer than two. */
function between(channel: RunChannel, value: number): { readonly below: number; readonly above: number; readonly index: number; readonly share: number } | null {
  const levels = levelsOf(channel) ?? [];
  if (levels.length < 2) return null;
  const upper = Math.min(Math.max(1, firstAt(levels, value)), levels.length - 1);
  const [below, above] = [levels[upper - 1], levels[upper]];
  return { below, above, index: upper - 1, share: (value - below) / (above - below) };
}

/** Where a value lies among those that the channel shows: whole at each of them, in between along a straight line. */
export function placeAmong(channel: RunChannel, value: number): number {
  const found = between(channel, value);
  return found === null ? 0 : found.index + found.share;
}

/**
 * The same as a word that is one for all runs of a channel: the next value shown and the quarter of a step. Means over blocks of a very
 * long run lie closer than steps do; there it is told to a step.
 */
export function quarterOf(channel: RunChannel, value: number): string {
  if ((channel.block ?? 1) > 1) return Math.round(value / (stepNear(channel, value) || 1)).toFixed(0);
  const found = between(channel, value);
  if (found === null) return '0';
  const quarter = Math.round(4 * found.share);
  return quarter <= 0 ? found.below.toFixed(0) : quarter >= 4 ? found.above.toFixed(0) : `${found.below.toFixed(0)}+${quarter}/4`;
}
