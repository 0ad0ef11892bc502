// The table of verdicts: settings against the baseline, metric by metric.
import type { ResultMetric, Results } from '../../model/results';
import { inTitles, shownMetrics, textOf } from '../arrange';
import { html, type Html } from '../html';
import { VERDICT_SIGN } from '../palette';
import { scaleOf, valueWithU } from '../show';
import { verdictCell } from '../verdict-mark';

/** Columns that a page of A4 holds. */
const COLUMNS = 8;

export function verdictSection(results: Results): Html {
  const metrics = shownMetrics(results);
  if (metrics.length === 0 || results.settings.length === 0) return html`<p>No verdict: no usable run gives a metric.</p>`;
  const named = metrics.some((m) => m.of_interest);
  const chunks: ResultMetric[][] = [];
  const each = Math.ceil(metrics.length / Math.ceil(metrics.length / COLUMNS));
  for (let i = 0; i < metrics.length; i += each) chunks.push(metrics.slice(i, i + each));
  return html`<p>${results.baseline === null ? 'No baseline is stated: values without verdicts.' : html`Differences are against the baseline, ${textOf(results, results.baseline)}; its row gives its values.`} ${named ? 'Shown are the metrics that the campaign names; their verdicts hold together (Holm).' : 'The campaign names no metric, so the usual ones are shown and no margin is known.'}</p>
<p class="legend signs">${(['better', 'worse', 'same', 'different', 'open', 'none'] as const).map((v) => html`<span class="entry ${VERDICT_SIGN[v].css}"><span class="sign">${VERDICT_SIGN[v].sign}</span> ${meaning(v)}</span>`)}</p>
${chunks.map((c, i) => table(results, c, i, chunks.length))}
${missing(results, metrics)}
${candidatesTable(results)}`;
}

function meaning(verdict: keyof typeof VERDICT_SIGN): string {
  switch (verdict) {
    case 'same': return 'no difference beyond ±margin';
    case 'different': return 'different, neither way is better';
    case 'open': return 'not settled, with about how many more repeats would settle it';
    default: return VERDICT_SIGN[verdict].word;
  }
}

function table(results: Results, metrics: readonly ResultMetric[], part: number, parts: number): Html {
  const scales = metrics.map(scaleOf);
  return html`<div class="scroll"><table class="verdicts"><caption>Verdicts against the baseline${parts > 1 ? ` (${part + 1} of ${parts})` : ''}${results.simulated ? ', simulated' : ''}.</caption>
<thead><tr><th scope="col">Setting</th>${metrics.map((m) => html`<th scope="col">${m.title}<br><span class="soft">${m.margin_text === null ? 'no margin' : `±${m.margin_text}`}</span></th>`)}</tr></thead>
<tbody>${results.settings.map((s) => {
    const isBase = s.id === results.baseline;
    const tag = isBase ? 'baseline' : s.id === results.choice?.chosen ? 'chosen' : '';
    const values = results.baseline === null || isBase;
    return html`<tr class="${tag}"><th scope="row">${s.text}${tag === '' ? '' : html` <span class="tagline">${tag}</span>`}</th>${metrics.map((m, i) => {
      if (!values) return verdictCell(m, m.contrasts.find((c) => c.setting === s.id));
      const value = m.settings.find((v) => v.setting === s.id)?.estimate;
      return html`<td class="value">${value === undefined ? '–' : html`<span class="num">${valueWithU(value, scales[i])}</span> ${scales[i].unit}`}</td>`;
    })}</tr>`;
  })}</tbody></table></div>`;
}

/** Why a cell has no verdict, no interval or a value only: a cell's tip is lost on paper. */
function missing(results: Results, metrics: readonly ResultMetric[]): Html {
  const reasons = new Map<string, Set<string>>();
  const note = (reason: string | null, title: string): void => { if (reason !== null && reason !== '') reasons.set(reason, (reasons.get(reason) ?? new Set()).add(title)); };
  for (const m of metrics) {
    for (const c of m.contrasts) if (c.verdict === 'none') note(c.reason ?? c.interval.reason, m.title);
    const base = m.settings.find((s) => s.setting === results.baseline)?.estimate;
    if (base !== undefined && base.interval.lower === null) note(base.reason ?? base.interval.reason, m.title);
  }
  if (reasons.size === 0) return html``;
  return html`<p>Where a verdict or an interval is missing:</p><ul class="notes">${[...reasons].map(([reason, titles]) => html`<li>${titles.size === metrics.length ? 'every metric' : [...titles].join(', ')}: ${reason}</li>`)}</ul>`;
}

/** Which settings meet the constraints. */
function candidatesTable({ choice, ...results }: Results): Html {
  if (choice === null || choice.candidates.length === 0) return html``;
  const constraints = [...new Set(choice.candidates.flatMap((c) => c.constraints.map((k) => k.text)))];
  if (constraints.length === 0) return html``;
  const SIGNS = { met: ['✓', 'met', 'v-better'], failed: ['✗', 'failed', 'v-worse'], open: ['?', 'not settled', 'v-open'], none: ['·', 'no verdict', 'v-none'] } as const;
  return html`<h3>Which settings meet the constraints</h3><div class="scroll"><table class="verdicts"><caption>A setting can be chosen only when every constraint is met for certain.</caption>
<thead><tr><th scope="col">Setting</th>${constraints.map((c) => html`<th scope="col">${inTitles(results, c)}</th>`)}<th scope="col">Can be chosen</th></tr></thead>
<tbody>${choice.candidates.map((c) => html`<tr class="${c.setting === choice.chosen ? 'chosen' : ''}"><th scope="row">${textOf(results, c.setting)}${c.setting === choice.chosen ? html` <span class="tagline">chosen</span>` : ''}</th>${constraints.map((text) => {
    const check = c.constraints.find((k) => k.text === text);
    const [sign, word, css] = SIGNS[check?.status ?? 'none'];
    return html`<td class="${css}" title="${check?.detail ?? ''}"><span class="sign" aria-hidden="true">${sign}</span> <span class="w">${word}</span></td>`;
  })}<td>${c.eligible ? 'yes' : 'no'}</td></tr>`)}</tbody></table></div>`;
}
