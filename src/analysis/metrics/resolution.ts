/**
 * How coarse a channel is. Telemetry that keeps a few significant bits shows one and the same value over a whole window; the mean
 * of it is then off by up to half a step, in every repeat alike, and no gain uncertainty says so.
 */
import type { RunChannel } from '../run-data';
import { quarterOf, stepNear } from './coarse';
import { leftOfSteps, type Over } from './noise-over-steps';
import type { Effects } from './reading';

/** A third level with this share of the samples shows that the signal moves by more than a step: the mean then averages most of it out. */
const THIRD_SHARE = 0.05;
/** Half-width that is left by what the samples of a level show, in steps: noise of no particular size never averages steps out entirely. */
const LEFT = 0.1;

/**
 * Standard uncertainty of the mean of samples from the channel's own coarseness, in its unit. One level seen: half a step either
 * way, as a rectangle (JCGM 100:2008, F.2.2.1). Two levels, the rarer with the share m: the true mean lies between theirs (noise of
 * a whole step) and the middle of the step (no noise), so half a step is narrowed by 1 − 2m. A third level: a tenth is left of it.
 * Where the moving signal shows what noise leaves of its steps, that counts instead when it is less. `over`: as of {@link leftOfSteps}.
 */
export function resolutionOf(channel: RunChannel, samples: Float64Array, mean: number, over?: Over): number {
  return stepNear(channel, mean) * resolutionInSteps(channel, samples, mean, over);
}

/** The same in steps of the channel near the mean; 0 where it has none. */
export function resolutionInSteps(channel: RunChannel, samples: Float64Array, mean: number, over?: Over): number {
  if (channel.kind !== 'speed' || samples.length === 0 || stepNear(channel, mean) === 0) return 0;
  const count = new Map<number, number>();
  for (let i = 0, from = 0; i < samples.length; i++) {
    if (i + 1 < samples.length && samples[i + 1] === samples[from]) continue;
    count.set(samples[from], (count.get(samples[from]) ?? 0) + i + 1 - from);
    from = i + 1;
  }
  const [first, second = 0, third = 0] = [...count.values()].sort((a, b) => b - a);
  const half = third > THIRD_SHARE * samples.length ? LEFT : Math.max(LEFT, 0.5 - second / (first + second));
  return Math.min(half / Math.sqrt(3), leftOfSteps(channel, mean, over) ?? Infinity);
}

/** A level moves between means over so many samples, and noise of its own moves these little. */
const PART = 50;

/** The same of a steady level as an instrument input (see `resolutionInputs`); the samples themselves show where the level went meanwhile. */
export function resolutionEffects(channel: RunChannel, samples: Float64Array, mean: number): Effects {
  if (channel.kind !== 'speed') return {};
  const parts = Array.from({ length: Math.max(1, Math.floor(samples.length / PART)) }, (_, k) => samples.subarray(k * PART, (k + 1) * PART));
  return resolutionInputs(channel, mean, resolutionOf(channel, samples, mean, { shown: parts.map((part) => part.reduce((sum, v) => sum + v, 0) / part.length) }));
}

/**
 * What an error by the steps near a value does, as an instrument input, named by kind and place, to a quarter of a step. The error is a wave
 * over the places within a step, so two values a quarter apart know nothing of each other's error.
 */
export const resolutionInputs = (channel: RunChannel, value: number, effect: number): Effects => (effect === 0 ? {} : { [`${channel.kind}_resolution_${quarterOf(channel, value)}`]: effect });

/** Sum of effects by input. */
export function sumOf(parts: readonly Effects[]): Effects {
  const sum: Record<string, number> = {};
  for (const part of parts) for (const [input, effect] of Object.entries(part)) sum[input] = (sum[input] ?? 0) + effect;
  return sum;
}
