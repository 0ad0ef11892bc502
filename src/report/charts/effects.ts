// Tables of the analysis of variance: main effects, and the interactions of pairs.
import type { ResultMetric, Results } from '../../model/results';
import { headingOf, shownMetrics, words } from '../arrange';
import { html, NOTHING, type Html } from '../html';
import { pValue } from '../show';

type Factorial = NonNullable<ResultMetric['factorial']>;
type Effect = NonNullable<Factorial['interaction']>;

/** The test of how two factors act together, in whichever of the two places results keep it; null where there is none. */
export function pairTest({ factorial }: Pick<ResultMetric, 'factorial'>, a: string, b: string): Effect | null {
  if (factorial === null) return null;
  const both = (names: readonly string[]): boolean => names.includes(a) && names.includes(b);
  return factorial.interactions?.find((i) => both(i.factors))?.effect ?? (factorial.factors.length === 2 && both(factorial.factors) ? factorial.interaction : null);
}

/** One table for two factors; with more, main effects and pairs each in their own. */
export function effects(results: Results): Html {
  const rows = shownMetrics(results).flatMap((m) => (m.factorial === null ? [] : [{ m, factorial: m.factorial }]));
  const factors = [...new Set(rows.flatMap((r) => r.factorial.factors))];
  if (rows.length === 0 || factors.length === 0) return NOTHING;
  const pairs = factors.flatMap((a, i) => factors.slice(i + 1).map((b) => [a, b] as const));
  const main = factors.map((f): Column => ({ title: headingOf(f), of: (m) => m.factorial?.main.find((x) => x.factor === f)?.effect ?? null }));
  const together = pairs.map(([a, b]): Column => ({ title: factors.length === 2 ? 'Together' : `${headingOf(a)} with ${words(b)}`, of: (m) => pairTest(m, a, b) }));
  const metrics = rows.map((r) => r.m);
  const say = 'analysis of variance on repeats: F, with p in brackets. Small p: told apart from scatter, which says nothing of whether it matters.';
  const why = [...new Set(rows.flatMap((r) => (r.factorial.reason === null ? [] : [r.factorial.reason])))];
  return html`${factors.length > 2 ? html`${table(`Main effects (${say})`, metrics, main)}${table('Interactions of every pair (F, with p in brackets).', metrics, together)}` : table(`Main effects and interaction (${say})`, metrics, [...main, ...together])}
${why.length === 0 ? '' : html`<p class="soft">A dash: ${why.join('; ')}.</p>`}`;
}

type Column = { readonly title: string; readonly of: (m: ResultMetric) => Effect | null };

const table = (caption: string, metrics: readonly ResultMetric[], columns: readonly Column[]): Html => html`<div class="scroll"><table class="effects"><caption>${caption}</caption>
<thead><tr><th scope="col">Metric</th>${columns.map((c) => html`<th scope="col">${c.title}</th>`)}</tr></thead>
<tbody>${metrics.map((m) => html`<tr><th scope="row">${m.title}</th>${columns.map((c) => cell(c.of(m)))}</tr>`)}</tbody></table></div>`;

function cell(e: Effect | null): Html {
  if (e === null || e.f === null) return html`<td>–</td>`;
  return html`<td>${e.f < 100 ? e.f.toFixed(1) : e.f.toFixed(0)} <span class="soft">(${pValue(e.p)})</span></td>`;
}
