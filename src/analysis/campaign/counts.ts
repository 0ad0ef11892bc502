/** Events are counted, not averaged: two settings' counts are compared exactly, given their sum. */
import type { Contrast } from '../../model/results';
import { holm } from '../stats/multiplicity';
import type { Group } from './absolute';
import { isRate } from './collect';
import { rateContrasts } from './rates';
import { showDifference } from './words';

/**
 * Two-sided p of counts a in n and b in m runs of equal length, when both occur at one rate: given a + b, b is binomial with
 * probability m/(n + m) (Przyborowski & Wilenski, Biometrika 31 (1940) 313; twice the smaller tail).
 */
export function equalRatesP(a: number, n: number, b: number, m: number): number {
  const total = a + b;
  const p = m / (n + m);
  const pmf: number[] = [];
  let log = total * Math.log(1 - p);
  for (let k = 0; k <= total; k++) {
    pmf.push(Math.exp(log));
    log += Math.log((total - k) / (k + 1)) + Math.log(p / (1 - p));
  }
  const tail = (from: number, to: number): number => pmf.slice(from, to + 1).reduce((s, v) => s + v, 0);
  return Math.min(1, 2 * Math.min(tail(0, b), tail(b, total)));
}

/** Every setting against the baseline, rates by their tallies; p values after Holm over the settings. No interval: the test is exact, an interval is not offered. */
export function countContrasts(key: string, groups: readonly Group[], baseline: number, confidence: number, margin: number | null = null): Contrast[] {
  if (isRate(key)) return rateContrasts(key, groups, baseline, { confidence, margin });
  const against = groups[baseline];
  const sum = (g: Group): number => Math.round(g.repeats.reduce((s, r) => s + r.value, 0));
  const others = groups.filter((_, i) => i !== baseline);
  const usable = others.filter((g) => g.used.length > 0 && against.used.length > 0);
  const adjusted = holm(usable.map((g) => equalRatesP(sum(against), against.used.length, sum(g), g.used.length)));
  const why = 'counts are compared by an exact test, which gives no interval';
  return others.map((g): Contrast => {
    const at = usable.indexOf(g);
    const none = { lower: null, upper: null, confidence };
    const common = { setting: g.setting, against: against.setting, relative: null, u: null, dof: null, margin: null, p_metrics: null, p_equivalence: null, more_repeats: null };
    if (at < 0) {
      const reason = g.used.length === 0 ? 'the setting has no usable repeats' : 'the baseline has no usable repeats';
      return { ...common, difference: null, interval: { ...none, reason }, p: null, method: 'none', verdict: 'none', text: `no verdict: ${reason}`, reason };
    }
    const difference = sum(g) / g.used.length - sum(against) / against.used.length;
    const p = adjusted[at];
    const settled = p < 1 - confidence && difference !== 0;
    const verdict = settled ? (difference < 0 ? 'better' : 'worse') : 'open';
    const text = settled ? `${verdict} (${sum(g)} in ${g.used.length} runs against ${sum(against)} in ${against.used.length})`
      : sum(g) + sum(against) === 0 ? `none seen in ${g.used.length} and ${against.used.length} runs`
        : `not settled (${sum(g)} in ${g.used.length} runs against ${sum(against)} in ${against.used.length}; ${showDifference(key, difference)} a run)`;
    return { ...common, difference, interval: { ...none, reason: why }, p, method: 'exact conditional test of counts, Holm', verdict, text, reason: why };
  });
}
