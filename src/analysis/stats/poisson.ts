/** A rate of rare events with an interval that behaves at zero events. */
import { between, noInterval, type Interval } from './interval';
import { chi2Quantile } from './quantiles';

/**
 * Exact interval of the mean of a Poisson count over so many runs (Garwood, Biometrika 28 (1936) 437):
 * ½χ²(α/2; 2k) to ½χ²(1 − α/2; 2k + 2), over the runs. It holds the mean at least as often as stated.
 * @param events whole number, 0 or more. @param runs whole number
 * @returns events a run (null without runs) and the interval
 */
export function garwood(events: number, runs: number, confidence = 0.95): { readonly rate: number | null; readonly interval: Interval } {
  if (!(Number.isInteger(events) && Number.isInteger(runs) && events >= 0 && runs >= 0)) throw new RangeError(`${events} events in ${runs} runs is not a count`);
  if (runs === 0) return { rate: null, interval: noInterval(confidence, 'no runs') };
  const tail = (1 - confidence) / 2;
  const lower = events === 0 ? 0 : chi2Quantile(tail, 2 * events) / 2;
  const upper = chi2Quantile(1 - tail, 2 * events + 2) / 2;
  return { rate: events / runs, interval: between(lower / runs, upper / runs, confidence) };
}
