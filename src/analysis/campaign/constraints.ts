/**
 * Whether a setting meets what the user asks. A constraint counts as met only when its interval says so; but for "none at all", which no
 * number of runs can prove: there it counts whether any was seen.
 */
import type { Constraint } from '../../model/files/campaign-choice';
import type { ResultChoice, ResultMetric } from '../../model/results';
import { isMetric, metricFact } from '../metrics/catalogue';
import { isCount, isRate } from './collect';
import { marginIn } from './metric';
import { show, showDifference, showInterval } from './words';

type Check = ResultChoice['candidates'][number]['constraints'][number];

/** Checks one constraint at one setting. */
export function checkConstraint(c: Constraint, setting: string, baseline: string | null, metrics: readonly ResultMetric[]): Check {
  const text = textOf(c);
  const metric = metrics.find((m) => m.key === c.metric);
  const answer = (status: Check['status'], detail: string): Check => ({ metric: c.metric, text, status, detail });
  if (metric === undefined) return answer('none', `no run gives ${c.metric}`);
  return c.kind === 'within' ? within(c, metric, setting, baseline, answer) : bounded(c, metric, setting, answer);
}

/** The metric as people read it; as it is written where nothing is known of it. */
const titleOf = (key: string): string => (isMetric(key) ? metricFact(key).title : key);

function textOf(c: Constraint): string {
  if (c.kind === 'within') {
    const better = isMetric(c.metric) ? metricFact(c.metric).better : 'none';
    return `${titleOf(c.metric)} ${better === 'none' ? `within ${c.margin.text} of` : `no more than ${c.margin.text} ${better === 'more' ? 'below' : 'above'}`} the baseline`;
  }
  return `${titleOf(c.metric)} ${c.kind.replace('-', ' ')} ${c.bound.text}`;
}

type Answer = (status: Check['status'], detail: string) => Check;

/** Within a margin of the baseline: no worse than that where one side is better, no farther than that where none is. */
function within(c: Extract<Constraint, { kind: 'within' }>, m: ResultMetric, setting: string, baseline: string | null, answer: Answer): Check {
  if (setting === baseline) return answer('met', 'this is the baseline');
  const contrast = m.contrasts.find((x) => x.setting === setting);
  if (contrast === undefined) return answer('none', 'there is no baseline to compare with');
  const { interval, difference } = contrast;
  const allowed = marginIn(m.key, c.margin, m.settings.find((s) => s.setting === baseline)?.estimate.value ?? null);
  if (!allowed.ok) return answer('none', allowed.reason);
  if (interval.lower === null || interval.upper === null || difference === null) return answer('none', contrast.text);
  const found = `${showDifference(m.key, difference)} (${showInterval(m.key, interval as never)})`;
  const past = (side: 'up' | 'down'): number => (side === 'up' ? interval.upper ?? 0 : -(interval.lower ?? 0));
  const surely = (side: 'up' | 'down'): number => (side === 'up' ? interval.lower ?? 0 : -(interval.upper ?? 0));
  const sides: ('up' | 'down')[] = m.better === 'more' ? ['down'] : m.better === 'less' ? ['up'] : ['up', 'down'];
  const margin = allowed.value;
  if (sides.some((s) => surely(s) > margin)) return answer('failed', found);
  return answer(sides.every((s) => past(s) <= margin) ? 'met' : 'open', found);
}

function bounded(c: Exclude<Constraint, { kind: 'within' }>, m: ResultMetric, setting: string, answer: Answer): Check {
  if (c.bound.kind === 'word') return answer('none', `"${c.bound.text}" is no number`);
  const fits = c.bound.kind === 'number' ? m.shown === 'count' || m.shown === 'ratio' : c.bound.dimension === m.shown;
  if (!fits) return answer('none', `the bound ${c.bound.text} is no ${m.shown}`);
  const bound = c.bound.value;
  const value = m.settings.find((s) => s.setting === setting);
  if (value === undefined || value.estimate.value === null) return answer('none', value?.estimate.reason ?? 'no value');
  const v = value.estimate.value;
  const sign = c.kind === 'at-most' ? 1 : -1;
  const { lower, upper } = value.estimate.interval;
  const ofCount = isCount(m.key) && !isRate(m.key) ? ` a run over ${value.n} runs` : '';
  if (ofCount !== '' && sign > 0 && bound === 0) return answer(v === 0 ? 'met' : 'failed', `${show(m.key, v)}${ofCount}`);
  if (lower === null || upper === null) return answer(sign * (v - bound) <= 0 ? 'open' : 'failed', `${show(m.key, v)}${ofCount}, without an interval`);
  const worst = sign > 0 ? upper : lower;
  const best = sign > 0 ? lower : upper;
  const found = `${show(m.key, v)}${ofCount} (${showInterval(m.key, value.estimate.interval as never, false)})`;
  return answer(sign * (worst - bound) <= 0 ? 'met' : sign * (best - bound) > 0 ? 'failed' : 'open', found);
}
