/** The choice in words: the answer in three sentences, and the setup to apply as a list. */
import type { Contrast, ResultChoice, ResultMatch, ResultMetric } from '../../model/results';
import { metricFact } from '../metrics/catalogue';
import type { CampaignInput } from './input';
import { enumerate, factorWords, inSentence, show, showInterval, showShare } from './words';

type Price = ResultChoice['price'];

export type Telling = {
  readonly input: CampaignInput; readonly objective: ResultMetric; readonly chosen: string; readonly best: string; readonly gain: Contrast | null;
  readonly price: Price; readonly runners: readonly string[]; readonly candidates: ResultChoice['candidates']; readonly text: (id: string) => string;
};

/** What to take with its gain, what it costs elsewhere, and what else was nearly as good: at most three sentences. */
export function choiceSentences(t: Telling): string[] {
  const { chosen, price, input } = t;
  const rivals = rivalsOf(t);
  return [
    gainOf(t),
    ...(chosen === input.baseline ? [] : [costs(price.filter((p) => p.contrast.verdict === 'worse' && worthALook(input, p)), input)]),
    ...(rivals === '' ? [] : [rivals]),
  ];
}

function gainOf({ input, objective, chosen, best, gain, text }: Telling): string {
  const measured = objective.settings.find((s) => s.setting === chosen)?.estimate.value ?? null;
  const figure = measured === null ? '' : show(objective.key, measured);
  const title = inSentence(objective.title);
  if (chosen === input.baseline) return `Keep the baseline, ${text(chosen)}: no setting that meets the constraints has a better ${title}${best === chosen ? '' : ' by more than the margin'}${figure === '' ? '' : ` than its ${figure}`}.`;
  if (gain === null) return `Take ${text(chosen)} for its ${title}, ${figure}; no baseline is stated, so there is no gain to state.`;
  if (gain.difference === null) return `Take ${text(chosen)} for its ${title}, ${figure}; against the baseline there is no verdict: ${gain.reason ?? 'no difference is known'}.`;
  const share = gain.relative === null ? '' : `${showShare(Math.abs(gain.relative)).replace('+', '')} ${gain.difference < 0 ? 'less' : 'more'} than`;
  const interval = gain.interval.reason === null ? `${Math.round(100 * gain.interval.confidence)} % interval of the difference ${showInterval(objective.key, gain.interval as never)}` : gain.text;
  const sure = gain.verdict === 'better' ? '' : gain.verdict === 'same' ? '; that is no difference that matters' : '; the gain itself is not settled';
  return `Take ${text(chosen)}: ${title} is ${figure}, ${share === '' ? 'against' : share} the baseline, ${text(gain.against)} (${interval})${sure}${gain.verdict === 'better' ? '' : `: ${gain.text}`}.`;
}

/** The knee, what cannot be told from the choice, and how many settings are out. */
function rivalsOf({ input, objective, chosen, best, runners, candidates, text }: Telling): string {
  const parts: string[] = [];
  if (best !== chosen) parts.push(`${text(best)} measured best, but ${text(chosen)} is within ${objective.margin_text === null ? 'scatter' : 'the margin'} of it and asks for less`);
  if (runners.length > 0) parts.push(`not distinguishable from the choice: ${listOf(runners.map(text))}`);
  const ruledOut = candidates.filter((c) => !c.eligible).length;
  if (ruledOut > 0) parts.push(`${ruledOut} of ${candidates.length} settings are out, because ${input.choice?.constraints.length === 0 ? 'they have no value that can be judged' : 'a constraint is failed or not settled'}`);
  const all = parts.join('; ');
  return all === '' ? '' : `${all.charAt(0).toUpperCase()}${all.slice(1)}.`;
}

/** Names that hold commas stand in brackets where there are several. */
const listOf = (names: readonly string[]): string => enumerate(names.length > 1 && names.some((n) => n.includes(',')) ? names.map((n) => `(${n})`) : names);

/** Named by margins or choice. */
const isNamed = (key: string, { margins, choice }: Pick<CampaignInput, 'margins' | 'choice'>): boolean =>
  margins[key] !== undefined || choice?.objective.metric === key || (choice?.constraints.some((c) => c.metric === key) ?? false);

/** A change below this share, in a metric that the user did not name, is not worth a person's second look. */
const WORTH_A_LOOK = 0.01;
const worthALook = ({ margins, choice }: CampaignInput, { key, contrast }: Price[number]): boolean =>
  isNamed(key, { margins, choice }) || contrast.relative === null || Math.abs((metricFact(key).shown === 'ratio' ? contrast.difference : contrast.relative) ?? 0) >= WORTH_A_LOOK;

/** Metrics that say much the same, by the start of their names: a person looks at them together. */
const THEMES = [
  { starts: /^fall_/, name: 'braking' }, { starts: /^rise_/, name: 'acceleration' }, { starts: /_at_hover|_at_equal_speed/, name: 'hover' }, { starts: /^full_throttle_/, name: 'full throttle' },
  { starts: /^hold_/, name: 'the hold' }, { starts: /^(start_|time_to_speed)/, name: 'starting' }, { starts: /temperature|thermal|rise_K|soak/, name: 'heat' },
] as const;
/** The part of a key behind a protocol's label. */
const bare = (key: string): string => key.slice(key.lastIndexOf('.') + 1);
const themeOf = (key: string): string => THEMES.find((t) => t.starts.test(bare(key)))?.name ?? inSentence(metricFact(key).title);

/** Prices by theme, in the order of the first of each. */
function themed(prices: Price): { readonly theme: string; readonly prices: Price }[] {
  const found = new Map<string, Price[number][]>();
  for (const p of prices) found.set(themeOf(p.key), [...(found.get(themeOf(p.key)) ?? []), p]);
  return [...found].map(([theme, own]) => ({ theme, prices: own }));
}

/** Themes that a sentence lists. */
const LISTED = 3;
const byHow = ({ key, contrast }: Price[number]): string => `${inSentence(metricFact(key).title)} by ${contrast.interval.reason === null ? showInterval(key, contrast.interval as never) : contrast.text}`;

/** What it costs: what the campaign names first and by itself; the rest after it, one for each theme. */
function costs(worse: Price, input: CampaignInput): string {
  if (worse.length === 0) return 'No other metric is found worse by its margin or by 1 %.';
  const named = worse.filter((p) => isNamed(p.key, input));
  const others = themed(worse.filter((p) => !named.includes(p)));
  const first = named.length === 0 ? 'None of the other metrics that the campaign names is found worse' : `It costs elsewhere: ${listCut(named.map(byHow))}`;
  const rest = listCut(others.map(({ theme, prices: [one, ...more] }) => (more.length === 0 ? byHow(one) : `${theme} (${byHow(one)}, and ${more.length} more figure${more.length === 1 ? '' : 's'} of it)`)));
  return `${first}${others.length === 0 ? '' : `; of those that it does not name, worse ${others.length === 1 ? 'is' : 'are'} ${rest}`}.`;
}

const listCut = (items: readonly string[]): string => (items.length > LISTED ? `${items.slice(0, LISTED).join(', ')} and ${items.length - LISTED} more` : enumerate(items));

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
  const worse = price.filter((p) => p.contrast.verdict === 'worse' && worthALook(input, p));
  for (const { theme, prices } of themed(worse)) {
    const [one] = prices;
    list.push({
      what: `Re-check ${prices.length === 1 ? inSentence(metricFact(one.key).title) : theme} on the craft`,
      why: `on the stand: ${prices.length === 1 ? one.contrast.text : prices.map((p) => `${inSentence(metricFact(p.key).title)} ${p.contrast.text}`).join(', ')}`,
    });
  }
  if (match !== null && match.worst_uncompensated !== null && match.reason === null) {
    const top = Math.max(...match.rows.map((r) => r.response), 0);
    if (top > 0 && match.worst_uncompensated > BEND * top && match.expo !== null) {
      list.push({ what: `Shape the throttle with expo ${match.expo.toFixed(3).replace('-', '−')} (${match.direction})`, why: `at equal throttle the two differ by up to ${((100 * match.worst_uncompensated) / top).toFixed(1)} % of full thrust; with the expo ${((100 * (match.worst_error ?? 0)) / top).toFixed(1)} % is left, with the table only scatter` });
    }
  }
  list.push({ what: 'Repeat hover power and a hard step on the craft', why: 'the stand measures one drivetrain in still air' });
  return list;
}
