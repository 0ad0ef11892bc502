/** Differences of settings and their verdicts. */
import type { Contrast } from '../../model/results';
import { instrumentPart } from '../metrics/calibration-facts';
import { metricFact, type Better } from '../metrics/catalogue';
import type { NoResult } from '../stats/check';
import { noResult } from '../stats/check';
import type { Difference } from '../stats/compare';
import { dofField, dofNumber } from '../stats/estimate';
import { factorWithBound } from '../stats/bounded';
import { around } from '../stats/interval';
import { holm } from '../stats/multiplicity';
import { coverageFactor } from '../stats/quantiles';
import { againstBaseline } from '../stats/simultaneous';
import { combine, type Component } from '../stats/uncertainty';
import { judgeContrast } from '../stats/verdict';
import { boundedShare, dofsOf, effectsOnDifference, meanEffects, type Group } from './absolute';
import type { Drifting } from './drift';
import { show, showDifference } from './words';

/** What a verdict on a metric rests on. */
export type Rules = {
  readonly key: string;
  readonly margin: number | null;
  readonly confidence: number;
  /** What drift removal adds to a difference. */
  readonly drift?: Drifting['adds'];
  /** Degrees of freedom that the common spread has lost to mountings or specimens taken out. */
  readonly lost?: number;
};

/** Every setting against the baseline: simultaneous intervals, widened by what calibration does to the difference itself. */
export function contrasts(groups: readonly Group[], baseline: number, rules: Rules): Contrast[] {
  const against = groups[baseline];
  const { comparisons } = againstBaseline(groups.map((g) => g.used), baseline, rules.confidence, rules.lost ?? 0);
  const spread = groups.filter((g) => g.used.length > 0).length;
  return comparisons.map(({ b, result }) => {
    const group = groups[b];
    return judged(widened(readable(result, group, against), group, against, rules.drift), group, against, rules, spread);
  });
}

/** The statistics speak of sides; a reader of results wants to know which setting lacks what. */
function readable(result: Difference | NoResult, group: Group, against: Group): Difference | NoResult {
  if (result.ok) return result;
  for (const [g, what] of [[group, 'the setting'], [against, 'the baseline']] as const) {
    if (g.used.length === 0) return noResult(`${what} has no usable repeats`);
  }
  if (group.used.length < 2 && against.used.length < 2) return noResult('one repeat a setting: nothing to judge the difference by');
  return result;
}

const NOTHING: Component = { u: 0, dof: Infinity };

/**
 * Adds the Type B uncertainty of a difference, and that of the drift taken out of it. A gain error scales the difference and cannot change its sign, an offset
 * cancels: p stays, interval and equivalence widen.
 */
export function widened(result: Difference | NoResult, group: Group, against: Group, drift?: Drifting['adds']): Difference | NoResult {
  if (!result.ok) return result;
  const moved = effectsOnDifference(meanEffects(against.repeats), meanEffects(group.repeats));
  const typeB = instrumentPart(moved, dofsOf(against.repeats, group.repeats));
  const drifted = group.repeats.length > 0 && against.repeats.length > 0 ? drift?.(against.repeats, group.repeats) ?? NOTHING : NOTHING;
  if ((typeB.u === 0 && drifted.u === 0) || !(result.u > 0) || result.interval.reason !== null) return result;
  const { confidence } = result.interval;
  const sum = combine([{ name: 'repeats', u: result.u, dof: result.dof }, { name: 'calibration', ...typeB }, { name: 'drift removed', ...drifted }]);
  const dof = dofNumber(sum.dof);
  // The factor holds all settings together at the degrees of freedom of the repeats; what it changes by is that of a single interval.
  const before = (result.interval.upper - result.interval.lower) / 2 / result.u;
  const factor = (before * factorWithBound(confidence, dof, boundedShare(moved, sum.u))) / coverageFactor(confidence, result.dof);
  return { ...result, u: sum.u, dof, interval: around(result.difference, factor * sum.u, confidence) };
}

/** A contrast with its verdict. */
export function judged(result: Difference | NoResult, group: Group, against: Group, rules: Rules, settings: number): Contrast {
  const { key, margin, confidence } = rules;
  const { better } = metricFact(key);
  const base = against.used.length === 0 ? null : against.used.reduce((a, b) => a + b, 0) / against.used.length;
  const names = { setting: group.setting, against: against.setting, margin };
  const verdict = judgeContrast(result, {
    goal: better === 'less' ? 'lower' : 'higher', margin, unit: '', level: 1 - confidence,
    repeats: Math.max(1, Math.min(group.used.length, against.used.length)), comparisons: Math.max(1, settings - 1), settings: Math.max(2, settings),
  });
  const kind = kindOf(verdict.kind, better);
  if (!result.ok) {
    return {
      ...names, difference: null, relative: null, u: null, dof: null, interval: { confidence, lower: null, upper: null, reason: result.reason }, p: null, p_metrics: null,
      method: 'none', p_equivalence: null, verdict: 'none', text: `no verdict: ${result.reason}`, more_repeats: null, reason: result.reason,
    };
  }
  return {
    ...names, difference: result.difference, relative: base === null || base === 0 ? null : result.difference / Math.abs(base), u: result.u, dof: dofField(result.dof),
    interval: { ...result.interval }, p: result.p, p_metrics: null, method: result.method, p_equivalence: verdict.equivalence?.p ?? null,
    verdict: kind, text: words(kind, key, result.difference, margin, verdict.moreRepeats, verdict.reason), more_repeats: verdict.moreRepeats,
    reason: base === 0 ? 'the baseline is zero, so there is no relative difference' : null,
  };
}

function kindOf(kind: 'better' | 'worse' | 'same' | 'open' | 'none', better: Better): Contrast['verdict'] {
  return better === 'none' && (kind === 'better' || kind === 'worse') ? 'different' : kind;
}

function words(kind: Contrast['verdict'], key: string, difference: number, margin: number | null, more: number | null, reason: string | null): string {
  switch (kind) {
    case 'same': return `no difference beyond ±${show(key, margin ?? 0, 3)}`;
    case 'better': case 'worse': case 'different': return `${kind} (${showDifference(key, difference)})`;
    case 'open': return more === null ? `not settled${reason === null ? '' : ` (${reason})`}` : `not settled (about ${more} more repeat${more === 1 ? '' : 's'})`;
    case 'none': return `no verdict${reason === null ? '' : `: ${reason}`}`;
  }
}

/**
 * Holm over the metrics of interest, setting by setting: a difference that does not survive it is not settled.
 * @param rows the contrasts of each metric of interest, all in the same order of settings
 */
export function protect(rows: readonly (readonly Contrast[])[], confidence: number): Contrast[][] {
  const out = rows.map((r) => [...r]);
  const settings = new Set(rows.flatMap((r) => r.map((c) => c.setting)));
  for (const setting of settings) {
    const at = out.flatMap((r, i) => r.flatMap((c, j) => (c.setting === setting && c.p !== null ? [{ i, j, p: c.p }] : [])));
    const adjusted = holm(at.map((a) => a.p));
    at.forEach(({ i, j }, k) => {
      const c = out[i][j];
      const lost = adjusted[k] > 1 - confidence && (c.verdict === 'better' || c.verdict === 'worse' || c.verdict === 'different');
      out[i][j] = { ...c, p_metrics: adjusted[k], ...(lost ? { verdict: 'open', text: `not settled (p = ${adjusted[k].toPrecision(2)} once ${at.length} metrics are looked at)` } : {}) };
    });
  }
  return out;
}
