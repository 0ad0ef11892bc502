/** Success rates are tallied over runs, not averaged: Wilson's interval for a setting, Newcombe's for a difference. Events: Garwood's. */
import type { Contrast } from '../../model/results';
import { holm } from '../stats/multiplicity';
import { equalProportionsP, rateDifference, type Tally } from '../stats/proportions';
import { garwood } from '../stats/poisson';
import { normalQuantile } from '../stats/quantiles';
import { wilson } from '../stats/wilson';
import type { Repeat } from './collect';
import { show, showDifference } from './words';

/** Repeats of one setting. */
type Tried = { readonly setting: string; readonly repeats: readonly Repeat[] };

/** Tries of all repeats together. Zero trials when a run does not tell how many it had. */
export function tallyOf(repeats: readonly Repeat[]): Tally {
  if (repeats.some((r) => r.trials === undefined)) return { successes: 0, trials: 0 };
  const trials = repeats.reduce((s, r) => s + (r.trials ?? 0), 0);
  return { trials, successes: Math.round(repeats.reduce((s, r) => s + r.value * (r.trials ?? 0), 0)) };
}

/** Rate with Wilson's interval; u is half its width over the factor that a normal distribution would have there. */
export function rateEstimate(repeats: readonly Repeat[], confidence: number) {
  const { successes, trials } = tallyOf(repeats);
  const { rate, interval } = wilson(successes, trials, confidence);
  const u = interval.reason === null ? (interval.upper - interval.lower) / 2 / normalQuantile(0.5 + confidence / 2) : null;
  return { value: rate, u, interval, method: `${successes} of ${trials} over ${repeats.length} run${repeats.length === 1 ? '' : 's'}; Wilson interval` };
}

/** Events a run with the exact Poisson interval; u is half its width over the factor that a normal distribution would have there. */
export function countEstimate(repeats: readonly Repeat[], confidence: number) {
  const events = Math.round(repeats.reduce((s, r) => s + r.value, 0));
  const { rate, interval } = garwood(events, repeats.length, confidence);
  const u = interval.reason === null ? (interval.upper - interval.lower) / 2 / normalQuantile(0.5 + confidence / 2) : null;
  return { value: rate, u, interval, method: `${events} in ${repeats.length} run${repeats.length === 1 ? '' : 's'}; exact Poisson interval` };
}

/**
 * Every setting against the baseline: Fisher's exact test with Holm over the settings, Newcombe's interval with Bonferroni. A
 * verdict needs both; within the margin is one when the interval of confidence 1 − 2·level lies inside it.
 */
export function rateContrasts(key: string, groups: readonly Tried[], baseline: number, rules: { readonly confidence: number; readonly margin: number | null }): Contrast[] {
  const { confidence, margin } = rules;
  const against = groups[baseline];
  const base = tallyOf(against.repeats);
  const others = groups.filter((_, i) => i !== baseline);
  const usable = others.filter((g) => base.trials > 0 && tallyOf(g.repeats).trials > 0);
  const p = holm(usable.map((g) => equalProportionsP(base, tallyOf(g.repeats))));
  const each = 1 - (1 - confidence) / Math.max(1, usable.length);
  return others.map((g): Contrast => {
    const names = { setting: g.setting, against: against.setting, relative: null, u: null, dof: null, margin, p_metrics: null, p_equivalence: null, more_repeats: null };
    const at = usable.indexOf(g);
    if (at < 0) {
      const reason = g.repeats.length === 0 ? 'the setting has no usable repeats' : against.repeats.length === 0 ? 'the baseline has no usable repeats' : 'no starts were counted';
      return { ...names, difference: null, interval: { confidence, lower: null, upper: null, reason }, p: null, method: 'none', verdict: 'none', text: `no verdict: ${reason}`, reason };
    }
    const mine = tallyOf(g.repeats);
    const { difference, interval } = rateDifference(base, mine, each);
    const narrow = rateDifference(base, mine, 1 - 2 * (1 - confidence)).interval;
    const same = margin !== null && narrow.reason === null && narrow.lower > -margin && narrow.upper < margin;
    const settled = p[at] < 1 - confidence && interval.reason === null && (interval.lower > 0 || interval.upper < 0);
    const verdict = same ? 'same' : settled ? ((difference ?? 0) > 0 ? 'better' : 'worse') : 'open';
    const figures = `${mine.successes} of ${mine.trials} against ${base.successes} of ${base.trials}`;
    return {
      ...names, difference, interval: { ...interval, confidence }, p: p[at], method: 'Newcombe interval of two rates, Bonferroni; Fisher exact p, Holm', verdict,
      text: same ? `no difference beyond ±${show(key, margin ?? 0, 3)} (${figures})` : settled ? `${verdict} (${showDifference(key, difference ?? 0)}; ${figures})` : `not settled (${figures})`,
      reason: null,
    };
  });
}
