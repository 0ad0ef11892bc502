// Whether two factors act together: means of one over the levels of the other. Parallel lines: each acts for itself.
import type { ResultMetric, Results } from '../../model/results';
import { headingOf, shownMetrics, words } from '../arrange';
import { draw, Plot, type Mark } from '../draw';
import { figure, legend, type FigureNumbers } from '../figure';
import { html, type Html } from '../html';
import { SERIES, type SeriesStyle } from '../palette';
import { pValue, scaleOf } from '../show';

type Factor = Results['factors'][number];
type Cell = { readonly x: number; readonly y: number; readonly low: number; readonly high: number };

/** One panel a metric for the first two crossed factors; a sentence where the campaign has no two. */
export function interactionFigure(results: Results, numbers: FigureNumbers): Html {
  const several = results.factors.filter((f) => f.levels.length > 1);
  if (several.length < 2) return html`<p>The campaign crosses no two factors of several levels, so there is no interaction to show.</p>`;
  // Few lines, many places along the axis.
  const [lines, along] = [...several.slice(0, 2)].sort((a, b) => a.levels.length - b.levels.length);
  const shown = shownMetrics(results).map((m) => ({ m, chart: chart(results, m, lines, along, several.slice(2)) }));
  const panels = shown.flatMap(({ m, chart: svg }) => (svg === null ? [] : [{ title: m.title, svg }]));
  if (panels.length === 0) return html`<p>No metric has values at two levels of both factors, so there is no interaction to show.</p>`;
  return html`${figure(numbers, html`${headingOf(along.name)} and ${words(lines.name)} together. Bars: intervals of the means from repeats. Parallel lines: each factor acts for itself; lines that cross or spread: the best level of one depends on the other.${several.length > 2 ? html` Other factors are averaged over.` : ''}`, panels,
    legend(`${headingOf(lines.name)}:`, lines.levels.map((name, i) => ({ name, style: styleOf(i) }))))}${effects(results)}`;
}

const styleOf = (i: number): SeriesStyle => SERIES[i % SERIES.length];

function chart(results: Results, m: ResultMetric, lines: Factor, along: Factor, others: readonly Factor[]): Html | null {
  const scale = scaleOf(m);
  const levels = new Map(results.settings.map((s) => [s.id, s.levels]));
  const cell = (line: string, x: string, at: number): Cell[] => {
    const own = m.settings.filter((s) => levels.get(s.setting)?.[lines.name] === line && levels.get(s.setting)?.[along.name] === x && s.estimate.value !== null);
    if (own.length === 0) return [];
    const mean = own.reduce((a, s) => a + (s.estimate.value ?? 0), 0) / own.length;
    const [only] = own;
    const { interval, u } = only.estimate;
    const half = others.length > 0 || own.length > 1 || interval.lower === null || interval.upper === null || u === null || u === 0 ? 0 : ((interval.upper - interval.lower) / 2) * Math.min(1, (only.type_a ?? u) / u);
    return [{ x: at, y: scale.of(mean), low: scale.of(mean - half), high: scale.of(mean + half) }];
  };
  const drawn = lines.levels.map((line) => along.levels.flatMap((x, i) => cell(line, x, i)));
  if (drawn.filter((d) => d.length > 1).length < 2) return null;
  // Lines that lie on each other are set a little apart.
  const moved = drawn.map((d, k) => d.map((p) => ({ ...p, x: p.x + 0.07 * (k - (drawn.length - 1) / 2) })));
  const all = moved.flat();
  const low = Math.min(...all.map((p) => p.low));
  const high = Math.max(...all.map((p) => p.high));
  const pad = 0.08 * (high - low) || 0.01 * Math.abs(high) || 1;
  const marks = moved.flatMap((d, i): Mark[] => {
    const { colour, dash, marker } = styleOf(i);
    const open = marker === 'cross' || marker === 'star';
    return [
      Plot.ruleX(d, { x: 'x', y1: 'low', y2: 'high', stroke: colour, strokeWidth: 1.4 }),
      Plot.lineY(d, { x: 'x', y: 'y', stroke: colour, strokeWidth: 1.5, ...(dash === '' ? {} : { strokeDasharray: dash }) }),
      Plot.dot(d, { x: 'x', y: 'y', r: 3.4, symbol: marker === 'cross' ? 'times' : marker === 'star' ? 'asterisk' : marker, fill: open ? 'none' : colour, stroke: colour }),
    ];
  });
  return draw({
    title: `${m.title}: ${words(along.name)} and ${words(lines.name)}`, simulated: results.simulated,
    description: `Mean ${m.title.toLowerCase()} over ${words(along.name)}, one line for each ${words(lines.name)}: ${lines.levels.map((l, i) => `${l}: ${drawn[i].map((p) => p.y.toPrecision(4)).join(', ')}`).join('; ')}. ${testText(m)}`,
    left: 52, x: { label: words(along.name), domain: [-0.35, along.levels.length - 0.65], ticks: along.levels.length, format: (v) => (Number.isInteger(v) ? along.levels[v] ?? '' : '') },
    y: { label: scale.unit, domain: [low - pad, high + pad] }, marks,
  });
}

function testText({ factorial }: ResultMetric): string {
  if (factorial === null) return '';
  return factorial.interaction === null ? `No test of the interaction: ${factorial.reason ?? 'not computed'}.` : `Interaction: p ${pValue(factorial.interaction.p)}.`;
}

/** Table of effects. */
function effects(results: Results): Html {
  const rows = shownMetrics(results).filter((m) => m.factorial !== null);
  const factors = [...new Set(rows.flatMap((m) => m.factorial?.factors ?? []))];
  if (rows.length === 0) return html``;
  return html`<div class="scroll"><table class="effects"><caption>Main effects and interaction (analysis of variance on repeats). F, with p in brackets. Small p: told apart from scatter, which says nothing of whether it matters.</caption>
<thead><tr><th scope="col">Metric</th>${factors.map((f) => html`<th scope="col">${headingOf(f)}</th>`)}<th scope="col">Together</th></tr></thead>
<tbody>${rows.map((m) => {
    const { factorial } = m;
    if (factorial === null) return html``;
    const cell = (e: { f: number | null; p: number | null } | null | undefined): Html => (e === null || e === undefined || e.f === null ? html`<td>–</td>` : html`<td>${e.f < 100 ? e.f.toFixed(1) : e.f.toFixed(0)} <span class="soft">(${pValue(e.p)})</span></td>`);
    return html`<tr><th scope="row">${m.title}</th>${factors.map((f) => cell(factorial.main.find((x) => x.factor === f)?.effect))}${cell(factorial.interaction)}</tr>`;
  })}</tbody></table></div>`;
}
