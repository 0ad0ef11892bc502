/** Which setting to take: objective, constraints, the knee, what it costs elsewhere, and what cannot be told apart. */
import type { Contrast, ResultChoice, ResultMetric } from '../../model/results';
import { metricFact } from '../metrics/catalogue';
import { choiceSentences } from './choice-words';
import { isCount, isRate } from './collect';
import { checkConstraint } from './constraints';
import type { CampaignInput, SettingInput } from './input';
import { inSentence, show } from './words';

type Candidate = ResultChoice['candidates'][number];

/** The choice; null when the campaign file asks for none. */
export function choose(input: CampaignInput, metrics: readonly ResultMetric[]): Omit<ResultChoice, 'checklist'> | null {
  const { choice, settings, baseline } = input;
  if (choice === null) return null;
  const { metric: key, sense } = choice.objective;
  const objective = metrics.find((m) => m.key === key);
  const asked = `${sense} ${objective === undefined ? key : inSentence(objective.title)}`;
  const valueOf = (setting: string): number | null => objective?.settings.find((s) => s.setting === setting)?.estimate.value ?? null;
  const candidates = settings.map((s): Candidate => {
    const constraints = choice.constraints.map((c) => checkConstraint(c, s.id, baseline, metrics));
    const reason = objective === undefined ? `no run gives ${key}` : unjudged(objective, s.id);
    return { setting: s.id, eligible: reason === null && constraints.every((c) => c.status === 'met'), objective: valueOf(s.id), constraints, reason };
  });
  const none = (reason: string): Omit<ResultChoice, 'checklist'> => ({
    objective: asked, chosen: null, best: null, reason, sentences: [`No setting is recommended: ${reason}.`], gain: null, price: [], runners_up: [], candidates,
  });
  if (objective === undefined) return none(`no run gives ${key}`);
  const eligible = candidates.filter((c) => c.eligible);
  if (eligible.length === 0) return none(whyNone(candidates, objective, input));
  const worth = (c: Candidate): number => (sense === 'least' ? 1 : -1) * (c.objective ?? Infinity);
  const best = eligible.reduce((a, b) => (worth(b) < worth(a) ? b : a));
  const near = eligible.filter((c) => c === best || asGood(objective, best, c));
  const chosen = near.reduce((a, b) => (levelOf(input, b.setting) < levelOf(input, a.setting) ? b : a));
  const runners = eligible.filter((c) => c !== chosen && !apart(objective, chosen.setting, c.setting)).map((c) => c.setting);
  const gain = objective.contrasts.find((c) => c.setting === chosen.setting) ?? null;
  const price = chosen.setting === baseline ? [] : priceOf(metrics, key, chosen.setting);
  const text = textsOf(settings);
  return {
    objective: asked, chosen: chosen.setting, best: best === chosen ? null : best.setting, reason: null, gain, price, runners_up: runners, candidates,
    sentences: choiceSentences({ input, objective, chosen: chosen.setting, best: best.setting, gain, price, runners, candidates, text }),
  };
}

/** What changes elsewhere for certain: what the user named first, then the largest relative changes. */
function priceOf(metrics: readonly ResultMetric[], objective: string, setting: string): ResultChoice['price'] {
  const changed = metrics.flatMap((m) => {
    const contrast = m.contrasts.find((c) => c.setting === setting);
    return m.key === objective || contrast === undefined || !CHANGED.includes(contrast.verdict) ? [] : [{ m, contrast }];
  });
  const rank = (p: (typeof changed)[number]): number => (p.m.of_interest ? 1e6 : 0) + weightOf(p.m.key, p.contrast);
  return changed.sort((a, b) => rank(b) - rank(a)).map(({ m, contrast }) => ({ key: m.key, contrast }));
}
const CHANGED: readonly Contrast['verdict'][] = ['better', 'worse', 'different'];
/** How much of a change it is: a share of the baseline; of a metric that is itself a share, its points. */
const weightOf = (key: string, { relative, difference }: Contrast): number => Math.abs((metricFact(key).shown === 'ratio' ? difference : relative) ?? 0);

/** Within the margin of the best, or without a margin, not told apart from it. */
function asGood(m: ResultMetric, best: Candidate, other: Candidate): boolean {
  if (m.margin === null) return !apart(m, best.setting, other.setting);
  return Math.abs((other.objective ?? Infinity) - (best.objective ?? 0)) <= m.margin;
}

function apart(m: ResultMetric, a: string, b: string): boolean {
  const pair = m.pairs.find((p) => (p.a === a && p.b === b) || (p.a === b && p.b === a));
  return pair?.apart ?? false;
}

/** How much a setting asks: the sum of its levels' ranks, the first factor breaking ties. */
function levelOf({ factors, settings }: CampaignInput, setting: string): number {
  const levels = settings.find((s) => s.id === setting)?.levels ?? {};
  return factors.reduce((sum, f, i) => sum + (f.order[f.levels.indexOf(levels[f.name] ?? '')] ?? 0) * (1 + 1e-3 * (factors.length - i)), 0);
}

/** Why nothing tells the setting's objective from scatter, as with a single repeat; null when something does. Counts carry their own uncertainty. */
function unjudged(objective: ResultMetric, setting: string): string | null {
  const estimate = objective.settings.find((s) => s.setting === setting)?.estimate;
  if (estimate === undefined || estimate.value === null) return estimate?.reason ?? 'the objective has no value';
  return isCount(objective.key) || isRate(objective.key) || estimate.interval.lower !== null ? null : estimate.interval.reason ?? 'the objective has no interval';
}

function whyNone(candidates: readonly Candidate[], objective: ResultMetric, { settings, choice }: CampaignInput): string {
  const text = textsOf(settings);
  const measured = candidates.filter((c) => c.objective !== null);
  if (measured.length > 0 && measured.every((c) => c.reason !== null)) {
    const sign = choice?.objective.sense === 'most' ? -1 : 1;
    const first = measured.reduce((a, b) => (sign * (b.objective ?? 0) < sign * (a.objective ?? 0) ? b : a));
    return `one repeat a setting gives values without intervals, and nothing tells a difference from scatter; ${text(first.setting)} measured ${sign < 0 ? 'most' : 'least'} (${show(objective.key, first.objective ?? 0)})`;
  }
  const parts = candidates.map((c) => {
    const bad = c.constraints.find((k) => k.status !== 'met');
    return `${text(c.setting)}: ${bad === undefined ? `the objective cannot be judged (${c.reason ?? 'no value'})` : `${bad.text}, ${bad.status === 'failed' ? 'failed' : bad.status === 'open' ? 'not settled' : 'no verdict'} (${bad.detail})`}`;
  });
  return `no setting meets every constraint for certain; ${parts.slice(0, 6).join('; ')}${parts.length > 6 ? `; and ${parts.length - 6} more` : ''}`;
}

const textsOf = (settings: readonly SettingInput[]) => (id: string): string => settings.find((s) => s.id === id)?.text ?? id;
