/** A success rate with an interval that behaves at 0 and 100 %. */
import { between, noInterval, type Interval } from './interval';
import { normalQuantile } from './quantiles';

/**
 * Wilson's score interval (J. American Statistical Association 22 (1927) 209).
 * @param successes,trials whole numbers, 0 ≤ successes ≤ trials
 * @returns the plain rate (null without trials) and the interval
 */
export function wilson(successes: number, trials: number, confidence = 0.95): { readonly rate: number | null; readonly interval: Interval } {
  if (!(Number.isInteger(successes) && Number.isInteger(trials) && successes >= 0 && successes <= trials)) {
    throw new RangeError(`${successes} successes of ${trials} trials is not a count`);
  }
  if (trials === 0) return { rate: null, interval: noInterval(confidence, 'no trials') };
  const z = normalQuantile(0.5 + confidence / 2);
  const rate = successes / trials;
  const shrink = 1 + (z * z) / trials;
  const centre = (rate + (z * z) / (2 * trials)) / shrink;
  const half = (z / shrink) * Math.sqrt((rate * (1 - rate)) / trials + (z * z) / (4 * trials * trials));
  return {
    rate,
    interval: between(successes === 0 ? 0 : Math.max(0, centre - half), successes === trials ? 1 : Math.min(1, centre + half), confidence),
  };
}
