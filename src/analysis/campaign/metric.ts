/** One metric over all settings of a campaign: values, contrasts, pairs, factors, drift. */
import type { Margin } from '../../model/files/campaign-choice';
import type { ResultMetric } from '../../model/results';
import { metricFact } from '../metrics/catalogue';
import { noResult, type NoResult } from '../stats/check';
import { pooledT } from '../stats/compare';
import { around } from '../stats/interval';
import { studentizedRangeQuantile } from '../stats/quantiles';
import { gamesHowell } from '../stats/simultaneous';
import { poolingOf, settingValue, type Group, type Pooling } from './absolute';
import { isCount, type Column } from './collect';
import { contrasts, widened } from './contrast';
import { countContrasts } from './counts';
import { driftOf, type Drifting } from './drift';
import { factorialOf } from './factorial';
import { levelled, type Unified } from './units';

/** Analyses a column. The Holm adjustment over metrics comes later, once all are known. */
export function metricResult(column: Column, input: Unified, ofInterest: boolean): ResultMetric {
  const { key, repeats, label } = column;
  const fact = metricFact(key);
  const { confidence, baseline } = input;
  const drift = driftOf(repeats, baseline, confidence);
  const groups = input.settings.map((s): Group => {
    const own = repeats.filter((r) => r.setting === s.id).sort((a, b) => a.index - b.index);
    return { setting: s.id, repeats: own, used: own.map(drift.remove) };
  });
  const notes = [...column.gaps].map(([reason, n]) => `${n} run${n === 1 ? '' : 's'} without a value: ${reason}`);
  const pooling = poolingOf(groups);
  const { groups: level, lost } = levelled(groups, input.specimens || input.estimand === 'over-mountings', input.specimens ? 'specimen' : 'mounting', notes);
  const at = input.settings.findIndex((s) => s.id === baseline);
  const margin = marginOf(key, input.margins[key], at < 0 ? null : groups[at], notes);
  const judge = (): ResultMetric['contrasts'] => {
    if (at < 0 || input.settings.length < 2) return [];
    return isCount(key) ? countContrasts(key, level, at, confidence, margin) : contrasts(level, at, { key, margin, confidence, drift: drift.adds, lost });
  };
  return {
    key, name: fact.name, title: fact.title, unit: fact.unit, shown: fact.shown, better: fact.better, definition: fact.definition, label, of_interest: ofInterest,
    margin, margin_text: input.margins[key]?.text ?? null, settings: groups.map((g) => settingValue(key, g, pooling, input)), pooling: pooling.why,
    contrasts: judge(), pairs: ofInterest && !isCount(key) ? pairsOf(level, lessDof(poolingOf(level), lost), confidence, drift.adds) : [], factorial: factorialOf(level, input, drift), drift: drift.result, notes,
  };
}

/** A margin in the metric's unit; null with a note when it cannot be used. */
function marginOf(key: string, margin: Margin | undefined, baseline: Group | null, notes: string[]): number | null {
  if (margin === undefined) return null;
  const mean = baseline === null || baseline.used.length === 0 ? null : baseline.used.reduce((a, b) => a + b, 0) / baseline.used.length;
  const found = marginIn(key, margin, mean);
  if (!found.ok) notes.push(found.reason);
  return found.ok ? found.value : null;
}

/** A margin in the metric's unit, or why it cannot be used. `baseline` is the baseline's value, null when there is none. */
export function marginIn(key: string, margin: Margin, baseline: number | null): { readonly ok: true; readonly value: number } | NoResult {
  const { shown } = metricFact(key);
  if (margin.kind === 'absolute') {
    const fits = margin.dimension === shown || (margin.dimension === null && shown === 'count') || (margin.dimension === 'temperature_difference' && shown === 'temperature');
    return fits ? { ok: true, value: margin.value } : noResult(`the margin ${margin.text} is no ${shown.replaceAll('_', ' ')} and is not used`);
  }
  // A share of a metric that is itself a share is meant as points of it.
  if (shown === 'ratio') return { ok: true, value: margin.value };
  if (baseline === null || baseline === 0) return noResult(`the margin ${margin.text} is relative, and the baseline ${baseline === null ? 'has no value' : 'is zero'}: it is not used`);
  return { ok: true, value: margin.value * Math.abs(baseline) };
}

/** A pooled spread that has given up degrees of freedom to units taken out. */
function lessDof(pooling: Pooling, lost: number): Pooling {
  const { pooled } = pooling;
  if (pooled === null || lost === 0) return pooling;
  return pooled.dof - lost < 1 ? { pooled: null, why: 'no degree of freedom is left' } : { ...pooling, pooled: { sd: pooled.sd * Math.sqrt(pooled.dof / (pooled.dof - lost)), dof: pooled.dof - lost } };
}

/** All pairs with intervals that hold together: one range quantile where the spread is pooled, else Games–Howell. */
function pairsOf(groups: readonly Group[], { pooled }: Pooling, confidence: number, drift: Drifting['adds']): ResultMetric['pairs'] {
  const usable = groups.filter((g) => g.used.length > 0);
  if (usable.length < 2) return [];
  const found: ResultMetric['pairs'] = [];
  const add = (a: Group, b: Group, result: ReturnType<typeof widened>): void => {
    const { interval } = result.ok ? result : { interval: { confidence, lower: null, upper: null, reason: result.reason } };
    found.push({ a: a.setting, b: b.setting, difference: result.ok ? result.difference : null, interval: { ...interval }, apart: interval.reason === null && (interval.lower > 0 || interval.upper < 0) });
  };
  if (pooled !== null && (usable.length === 2 || pooled.dof >= 2)) {
    const factor = usable.length === 2 ? null : studentizedRangeQuantile(confidence, usable.length, pooled.dof) / Math.SQRT2;
    usable.forEach((a, i) => {
      for (const b of usable.slice(i + 1)) {
        const plain = pooledT(a.used, b.used, confidence, pooled);
        add(a, b, widened(plain.ok && factor !== null ? { ...plain, interval: around(plain.difference, factor * plain.u, confidence), method: 'Tukey–Kramer' } : plain, b, a, drift));
      }
    });
    return found;
  }
  for (const { a, b, result } of gamesHowell(usable.map((g) => g.used), confidence)) add(usable[a], usable[b], widened(result, usable[b], usable[a], drift));
  return found;
}
