/** Which setting to take: objective, constraints, the knee, what it costs elsewhere, and what cannot be told apart. */
import type { Contrast, ResultChoice, ResultMatch, ResultMetric } from '../../model/results';
import { metricFact } from '../metrics/catalogue';
import { checkConstraint } from './constraints';
import type { CampaignInput, SettingInput } from './input';
import { enumerate, factorWords, inSentence, show, showInterval, showShare } from './words';

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
    return { setting: s.id, eligible: valueOf(s.id) !== null && constraints.every((c) => c.status === 'met'), objective: valueOf(s.id), constraints };
  });
  const none = (reason: string): Omit<ResultChoice, 'checklist'> => ({
    objective: asked, chosen: null, best: null, reason, sentences: [`No setting is recommended: ${reason}.`], gain: null, price: [], runners_up: [], candidates,
  });
  if (objective === undefined) return none(`no run gives ${key}`);
  const eligible = candidates.filter((c) => c.eligible);
  if (eligible.length === 0) return none(whyNone(candidates, input));
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
    sentences: sentences({ input, objective, chosen: chosen.setting, best: best.setting, gain, price, runners, candidates, text }),
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
/** A change below this share, in a metric that the user did not name, is not worth a person's second look. */
const WORTH_A_LOOK = 0.01;

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

function whyNone(candidates: readonly Candidate[], { settings }: CampaignInput): string {
  const text = textsOf(settings);
  const parts = candidates.map((c) => {
    const bad = c.constraints.find((k) => k.status !== 'met');
    return `${text(c.setting)}: ${bad === undefined ? 'the objective has no value' : `${bad.text}, ${bad.status === 'failed' ? 'failed' : bad.status === 'open' ? 'not settled' : 'no verdict'} (${bad.detail})`}`;
  });
  return `no setting meets every constraint for certain; ${parts.slice(0, 6).join('; ')}${parts.length > 6 ? `; and ${parts.length - 6} more` : ''}`;
}

const textsOf = (settings: readonly SettingInput[]) => (id: string): string => settings.find((s) => s.id === id)?.text ?? id;

const worthALook = ({ margins, choice }: CampaignInput, p: ResultChoice['price'][number]): boolean =>
  isNamed(p.key, { margins, choice }) || p.contrast.relative === null || weightOf(p.key, p.contrast) >= WORTH_A_LOOK;
/** Named by margins or choice. */
const isNamed = (key: string, { margins, choice }: Pick<CampaignInput, 'margins' | 'choice'>): boolean =>
  margins[key] !== undefined || choice?.objective.metric === key || (choice?.constraints.some((c) => c.metric === key) ?? false);

type Telling = {
  readonly input: CampaignInput; readonly objective: ResultMetric; readonly chosen: string; readonly best: string; readonly gain: Contrast | null;
  readonly price: ResultChoice['price']; readonly runners: readonly string[]; readonly candidates: readonly Candidate[]; readonly text: (id: string) => string;
};

function sentences(t: Telling): string[] {
  const { objective, chosen, best, gain, price, runners, candidates, text, input } = t;
  const value = objective.settings.find((s) => s.setting === chosen)?.estimate;
  const measured = value?.value ?? null;
  const figure = measured === null ? '' : ` (${show(objective.key, measured)})`;
  const title = inSentence(objective.title);
  const out: string[] = [];
  if (chosen === input.baseline) out.push(`Keep the baseline, ${text(chosen)}: no setting that meets the constraints has a better ${title}${figure}.`);
  else if (gain?.difference === undefined || gain.difference === null) out.push(`Take ${text(chosen)} for its ${title}${figure}; there is no baseline to state a gain against.`);
  else {
    const share = gain.relative === null ? '' : `, ${showShare(gain.relative)}`;
    const sure = gain.verdict === 'better' ? '' : gain.verdict === 'same' ? ' That is no difference that matters' : ' The gain itself is not settled';
    out.push(`Take ${text(chosen)}: ${title}${figure} changes by ${showInterval(objective.key, gain.interval as never)} against ${text(gain.against)}${share}.${sure === '' ? '' : `${sure}: ${gain.text}.`}`);
  }
  if (best !== chosen) out.push(`${text(best)} measured best, but ${text(chosen)} is within the margin of it and asks for less.`);
  if (chosen !== input.baseline) out.push(...costs(price.filter((p) => p.contrast.verdict === 'worse' && worthALook(input, p)), input));
  if (runners.length > 0) out.push(`Not distinguishable from it: ${enumerate(runners.map(text))}.`);
  const ruledOut = candidates.filter((c) => !c.eligible).length;
  if (ruledOut > 0) out.push(`${ruledOut} of ${candidates.length} settings are out because a constraint is failed or not settled.`);
  return out;
}

/** Metrics that a sentence lists. */
const LISTED = 3;

/** What it costs: what the campaign names first and by itself, the rest after it and as what it is. */
function costs(worse: ResultChoice['price'], input: CampaignInput): string[] {
  const listed = (some: ResultChoice['price']): string =>
    `${enumerate(some.slice(0, LISTED).map((p) => `${inSentence(metricFact(p.key).title)} by ${showInterval(p.key, p.contrast.interval as never)}`))}${some.length > LISTED ? `, and ${some.length - LISTED} more` : ''}`;
  const named = worse.filter((p) => isNamed(p.key, input));
  const others = worse.filter((p) => !named.includes(p));
  if (worse.length === 0) return ['No other metric is found worse by a margin or by 1 %.'];
  const first = named.length === 0 ? 'None of the other metrics that the campaign names is found worse' : `It costs elsewhere: ${listed(named)}`;
  return [`${first}${others.length === 0 ? '' : `; of those that it does not name, worse are ${listed(others)}`}.`];
}

/** A match that leaves less than this of full thrust uncorrected needs no attention. */
const BEND = 0.01;

/** What to set, why, and what to look at again. */
export function checklistOf(input: CampaignInput, choice: Omit<ResultChoice, 'checklist'>, match: ResultMatch | null): ResultChoice['checklist'] {
  const { chosen, gain, price } = choice;
  if (chosen === null) return [];
  const levels = input.settings.find((s) => s.id === chosen)?.levels ?? {};
  const before = input.settings.find((s) => s.id === input.baseline)?.levels ?? {};
  const list: { what: string; why: string }[] = Object.entries(levels).map(([factor, level]) => ({
    what: before[factor] === level ? `Leave ${factorWords(factor)} at ${level}` : `Set ${factorWords(factor)} to ${level}${before[factor] === undefined ? '' : ` (was ${before[factor]})`}`,
    why: before[factor] === level ? 'as the baseline' : gain === null ? choice.objective : `${choice.objective}: ${gain.text}`,
  }));
  for (const { key, contrast } of price.filter((p) => p.contrast.verdict === 'worse' && worthALook(input, p)).slice(0, 6)) {
    list.push({ what: `Re-check ${inSentence(metricFact(key).title)} on the craft`, why: `on the stand: ${contrast.text}` });
  }
  if (match !== null && match.worst_uncompensated !== null && match.reason === null) {
    const top = Math.max(...match.rows.map((r) => r.response), 0);
    if (top > 0 && match.worst_uncompensated > BEND * top && match.expo !== null) {
      list.push({ what: `Shape the throttle with expo ${match.expo.toFixed(2).replace('-', '−')} (${match.direction})`, why: `the throttle curve bends by up to ${((100 * match.worst_uncompensated) / top).toFixed(1)} % of full thrust; ${((100 * (match.worst_error ?? 0)) / top).toFixed(1)} % is left behind the expo` });
    }
  }
  list.push({ what: 'Repeat hover power and a hard step on the craft', why: 'the stand measures one drivetrain in still air' });
  return list;
}
