// Mean of a channel over a span, from up to 16 block means: constant memory at any sampling rate.
// What is summed is the distance to the threshold, so "mean above threshold" is "sum above zero".
import { nominalTick } from './board';
import { clamp, div, gap, mul } from './math';

const BLOCKS: i32 = 16;
/** A distance beyond ±2^24 counts adds no more: 24-bit converters are summed exactly. */
const REACH: i32 = 16777216;
/** A block sum saturates here: exact for 16-bit counts up to 16 384 samples a block. */
const SUM_MAX: i32 = 1073741824;

const means: StaticArray<i32> = new StaticArray<i32>(384); // LIMIT_SLOTS * BLOCKS
const blocksOf: StaticArray<i32> = new StaticArray<i32>(24);
const lengthOf: StaticArray<i32> = new StaticArray<i32>(24);
const sum: StaticArray<i32> = new StaticArray<i32>(24);
const samples: StaticArray<i32> = new StaticArray<i32>(24);
const elapsed: StaticArray<i32> = new StaticArray<i32>(24);
const at: StaticArray<i32> = new StaticArray<i32>(24);
const done: StaticArray<i32> = new StaticArray<i32>(24);
const total: StaticArray<i32> = new StaticArray<i32>(24);

/** Forgets the past of a slot. The span is cut into 16 blocks, or into fewer when a block would be shorter than a tick. */
export function resetMean(slot: i32, span_us: i32): void {
  const n: i32 = clamp(div(span_us, nominalTick), 1, BLOCKS);
  blocksOf[slot] = n;
  lengthOf[slot] = div(span_us, n);
  sum[slot] = 0;
  samples[slot] = 0;
  elapsed[slot] = 0;
  at[slot] = 0;
  done[slot] = 0;
  total[slot] = 0;
}

export function addToMean(slot: i32, value: i32, threshold: i32): void {
  sum[slot] = clamp(sum[slot] + clamp(gap(value, threshold), -REACH, REACH), -SUM_MAX, SUM_MAX);
  samples[slot] = samples[slot] + 1;
}

/**
 * Once a tick, after addToMean: closes a block when its time is over, and says whether it did. A block without a sample
 * repeats the one before.
 */
export function passMean(slot: i32, dt_us: i32): bool {
  elapsed[slot] = elapsed[slot] + dt_us;
  if (elapsed[slot] < lengthOf[slot]) return false;
  const rest: i32 = elapsed[slot] - lengthOf[slot];
  elapsed[slot] = rest < lengthOf[slot] ? rest : 0;
  const base: i32 = mul(slot, BLOCKS);
  const n: i32 = blocksOf[slot];
  const before: i32 = means[base + (at[slot] > 0 ? at[slot] - 1 : n - 1)];
  if (samples[slot] > 0) means[base + at[slot]] = div(sum[slot], samples[slot]);
  else means[base + at[slot]] = done[slot] > 0 ? before : 0;
  sum[slot] = 0;
  samples[slot] = 0;
  at[slot] = at[slot] + 1 < n ? at[slot] + 1 : 0;
  if (done[slot] < n) done[slot] = done[slot] + 1;
  let all: i32 = 0;
  for (let i: i32 = 0; i < n; i++) all += means[base + i];
  total[slot] = all;
  return true;
}

/** Mean less threshold in counts, over the last full span; 0 until a whole span has passed. */
export function meanExcess(slot: i32): i32 {
  return done[slot] < blocksOf[slot] ? 0 : div(total[slot], blocksOf[slot]);
}
/** True when a whole span has passed and its mean lies above the threshold. */
export function meanIsAbove(slot: i32): bool {
  return done[slot] >= blocksOf[slot] && total[slot] > 0;
}
