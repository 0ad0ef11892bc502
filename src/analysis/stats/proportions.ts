/** Differences of two success rates: an interval that behaves at 0 and 100 %, and an exact test. */
import { between, noInterval, type Interval } from './interval';
import { wilson } from './wilson';

/** Successes of trials. */
export type Tally = { readonly successes: number; readonly trials: number };

/**
 * Interval of rate b less rate a from the Wilson limits of both (Newcombe, Statistics in Medicine 17 (1998) 873, method 10,
 * the hybrid score interval).
 */
export function rateDifference(a: Tally, b: Tally, confidence = 0.95): { readonly difference: number | null; readonly interval: Interval } {
  const [wa, wb] = [wilson(a.successes, a.trials, confidence), wilson(b.successes, b.trials, confidence)];
  if (wa.rate === null || wb.rate === null || wa.interval.reason !== null || wb.interval.reason !== null) return { difference: null, interval: noInterval(confidence, 'a side has no trials') };
  const d = wb.rate - wa.rate;
  const lower = d - Math.hypot(wb.rate - wb.interval.lower, wa.interval.upper - wa.rate);
  const upper = d + Math.hypot(wb.interval.upper - wb.rate, wa.rate - wa.interval.lower);
  return { difference: d, interval: between(lower, upper, confidence) };
}

/** Two-sided p of equal rates by Fisher's exact test: the chance, given all sums, of a table no likelier than this one. */
export function equalProportionsP(a: Tally, b: Tally): number {
  const total = a.successes + b.successes;
  const logChoose = (n: number, k: number): number => { let s = 0; for (let i = 1; i <= k; i++) s += Math.log((n - k + i) / i); return s; };
  const logP = (k: number): number => logChoose(a.trials, k) + logChoose(b.trials, total - k) - logChoose(a.trials + b.trials, total);
  const here = logP(a.successes);
  let p = 0;
  for (let k = Math.max(0, total - b.trials); k <= Math.min(a.trials, total); k++) {
    const l = logP(k);
    if (l <= here + 1e-9) p += Math.exp(l);
  }
  return Math.min(1, p);
}
