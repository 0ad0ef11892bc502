// The chosen setting against the baseline, drawn together: curves, power at equal thrust, steps, and every named metric in units of its margin.
import { formatNumber } from '../../units/format';
import type { Contrast, ResultCurve, ResultMetric, Results } from '../../model/results';
import { shownMetrics, textOf, type Line } from '../arrange';
import { draw, Plot } from '../draw';
import { figure, legend, type FigureNumbers } from '../figure';
import { html, type Html } from '../html';
import { BASELINE, CHOSEN, INK, INK_SOFT, MARGIN_BAND } from '../palette';
import { differenceScale, range, scaleFor, scaleOf, valueWithU } from '../show';
import { verdictCell } from '../verdict-mark';
import { COVERAGE, points, QUANTITIES, seriesMarks } from './curves';
import { powerAtEqualThrust } from './equal-thrust';
import { settledAt } from './steps';

/** The setting that is set against the baseline, and what it is called. */
type Rival = { readonly id: string; readonly role: 'chosen' | 'measured best'; readonly say: string };

/** Everything that tells what a change of setting gives and costs. A sentence where there is nothing to set against each other. */
export function chosenFigures(results: Results, numbers: FigureNumbers): Html {
  const { baseline, choice } = results;
  if (choice === null) return html`<p>The campaign states no objective, so no setting is chosen and none is set against the baseline here.</p>`;
  if (baseline === null) return html`<p>No baseline is stated, so there is nothing to set the chosen setting against.</p>`;
  const rival = rivalOf(results, baseline);
  if (rival === null) return html`<p>${choice.chosen === null ? `No setting is chosen${choice.reason === null ? '' : `: ${choice.reason}`}.` : 'The baseline is the choice, and no other setting that may be chosen measured better.'}</p>`;
  const lines = linesOf(results, baseline, rival);
  const panels = [...curvePanels(results, lines), ...equalThrustPanel(results, baseline, rival), ...stepPanels(results, lines)];
  return html`<p>${rival.say}</p>
${panels.length === 0 ? html`<p class="absent">Neither has a curve over throttle or a step response to draw.</p>` : figure(numbers, html`${textOf(results, rival.id)} (${rival.role}) and ${textOf(results, baseline)} (baseline) in the same panels. Bands: ±${COVERAGE} standard uncertainties from repeats, often narrower than the line. Power at equal thrust: below zero the ${rival.role === 'chosen' ? 'chosen setting' : 'other setting'} needs less. Steps: share of the change in speed, over the time since the command.`, panels, legend('', lines))}
${marginFigure(results, rival, numbers)}
${table(results, baseline, rival)}`;
}

function rivalOf(results: Results, baseline: string): Rival | null {
  const { choice } = results;
  if (choice?.chosen === null || choice === null) return null;
  if (choice.chosen !== baseline) return { id: choice.chosen, role: 'chosen', say: `The chosen setting, ${textOf(results, choice.chosen)}, against the baseline, ${textOf(results, baseline)}.` };
  if (choice.best === null || choice.best === baseline) return null;
  return { id: choice.best, role: 'measured best', say: `The baseline, ${textOf(results, baseline)}, is the choice. For comparison: ${textOf(results, choice.best)}, which measured best but not by more than the margin.` };
}

type Drawn = Line & { readonly name: string };

const linesOf = (results: Results, baseline: string, rival: Rival): Drawn[] => [
  { setting: rival.id, name: `${textOf(results, rival.id)} (${rival.role})`, style: { colour: CHOSEN, dash: '', marker: 'square' }, isBaseline: false, isChosen: true },
  { setting: baseline, name: `${textOf(results, baseline)} (baseline)`, style: { colour: BASELINE, dash: '7 3', marker: 'diamond' }, isBaseline: true, isChosen: false },
];

type Panel = { readonly title: string; readonly svg: Html };

/** The first protocol whose curves both settings have. */
function curvesOf(results: Results, ids: readonly string[]): ResultCurve[] {
  for (const label of new Set(results.curves.map((c) => c.label))) {
    const both = ids.flatMap((id) => results.curves.find((c) => c.setting === id && c.label === label) ?? []);
    if (both.length === ids.length) return both;
  }
  return [];
}

function curvePanels(results: Results, lines: readonly Drawn[]): Panel[] {
  const curves = curvesOf(results, lines.map((l) => l.setting));
  if (curves.length === 0) return [];
  return QUANTITIES.filter((q) => q.of !== 'power_W').flatMap(({ of, title, shown }): Panel[] => {
    const scale = scaleFor(shown, curves.flatMap((c) => c[of]?.mean ?? []));
    const data = lines.map((line, i) => ({ line, points: points(curves[i], of, scale) }));
    const all = data.flatMap((d) => d.points);
    if (all.length === 0) return [];
    return [{
      title,
      svg: draw({
        title: `${title} over throttle, chosen and baseline`, simulated: results.simulated,
        description: `${title} in ${scale.unit} against throttle in percent. ${data.map((d) => `${d.line.name}: ${formatNumber(d.points.at(-1)?.y ?? 0, 4)} ${scale.unit} at the end`).join('; ')}.`,
        x: { label: 'throttle, %', domain: [0, 100] }, y: { label: scale.unit, domain: [0, 1.04 * Math.max(...all.map((p) => p.high))] },
        marks: data.flatMap((d, i) => seriesMarks(d.points, d.line, i)),
      }),
    }];
  });
}

function equalThrustPanel(results: Results, baseline: string, rival: Rival): Panel[] {
  const [one, other] = curvesOf(results, [rival.id, baseline]);
  if (one === undefined || other === undefined) return [];
  const found = powerAtEqualThrust(one, other);
  if (found.length < 2) return [];
  const force = scaleFor('force', found.map((p) => p.thrust_N));
  const data = found.map((p) => ({ x: force.of(p.thrust_N), y: p.percent, low: p.percent - COVERAGE * (p.u ?? 0), high: p.percent + COVERAGE * (p.u ?? 0) }));
  const low = Math.min(0, ...data.map((d) => d.low));
  const high = Math.max(0, ...data.map((d) => d.high));
  const pad = 0.06 * Math.max(high - low, 0.1);
  const line: Line = { setting: rival.id, name: textOf(results, rival.id), style: { colour: CHOSEN, dash: '', marker: 'square' }, isBaseline: false, isChosen: true };
  return [{
    title: 'Power at equal thrust, less baseline',
    svg: draw({
      title: 'Power at equal thrust against the baseline', simulated: results.simulated,
      description: `Electrical power of ${line.name} less that of the baseline at the same thrust, in percent, from ${formatNumber(data[0].x, 3)} to ${formatNumber(data[data.length - 1].x, 3)} ${force.unit}: ${data.filter((_, i) => i % 10 === 0).map((d) => `${formatNumber(d.x, 3)}: ${d.y.toFixed(2)}`).join(', ')}.`,
      x: { label: `thrust, ${force.unit}`, domain: [0, 1.02 * data[data.length - 1].x] }, y: { label: '%', domain: [low - pad, high + pad] },
      marks: [Plot.ruleY([0], { stroke: INK, strokeWidth: 0.8 }), ...seriesMarks(data, line, 0)],
    }),
  }];
}

function stepPanels(results: Results, lines: readonly Drawn[]): Panel[] {
  return (['rise', 'fall'] as const).flatMap((direction): Panel[] => {
    const label = results.steps.find((s) => s.direction === direction && s.setting === lines[0].setting)?.label;
    const found = lines.flatMap((line) => results.steps.filter((s) => s.direction === direction && s.label === label && s.setting === line.setting).map((step) => ({ line, step })));
    if (found.length < 2) return [];
    const end = 1000 * Math.max(...found.map(({ step }) => settledAt(step.t_s, step.fraction)));
    const drawn = found.map(({ line, step }) => ({ line, data: step.t_s.flatMap((t, i) => { const y = step.fraction[i]; return y === undefined || !Number.isFinite(y) || 1000 * t > end ? [] : [{ x: 1000 * t, y: 100 * y }]; }) }));
    const ys = drawn.flatMap((d) => d.data.map((p) => p.y));
    const way = direction === 'rise' ? 'up' : 'down';
    return [{
      title: `Step ${way}`,
      svg: draw({
        title: `Step ${way}, chosen and baseline`, simulated: results.simulated,
        description: `Speed as a share of the step ${way}, in percent, against time since the command in milliseconds. ${drawn.map((d) => `${d.line.name}: half done after ${d.data.find((p) => p.x >= 0 && p.y >= 50)?.x.toFixed(0) ?? 'more than shown'} ms`).join('; ')}.`,
        x: { label: 'time since the command, ms', domain: [1000 * Math.min(...found.map(({ step }) => step.t_s[0] ?? 0)), end] }, y: { label: 'step done, %', domain: [Math.min(-4, ...ys), Math.max(104, ...ys)] },
        marks: [Plot.ruleX([0], { stroke: INK_SOFT, strokeWidth: 0.8 }), Plot.ruleY([80], { stroke: INK_SOFT, strokeWidth: 0.5, strokeDasharray: '1 3' }), ...drawn.flatMap((d, i) => seriesMarks(d.data, d.line, i))],
      }),
    }];
  });
}

/** Margins beyond which a bar is cut: what lies further out is as clear. */
const FURTHEST = 6;

/** Differences in units of their margins: inside ±1 is what does not matter, to the right is better. */
function marginFigure(results: Results, rival: Rival, numbers: FigureNumbers): Html {
  const rows = shownMetrics(results).flatMap((m) => {
    const c = m.contrasts.find((k) => k.setting === rival.id);
    if (c?.difference === null || c === undefined || m.margin === null || !(m.margin > 0)) return [];
    const way = (m.better === 'less' ? -1 : 1) / m.margin;
    const ends = c.interval.lower === null || c.interval.upper === null ? null : [way * c.interval.lower, way * c.interval.upper].sort((a, b) => a - b);
    const id = m.better === 'none' ? `${m.title} (more →)` : m.title;
    return [{ id, m, c, at: clip(way * c.difference), low: ends === null ? null : clip(ends[0]), high: ends === null ? null : clip(ends[1]), beyond: Math.abs(way * c.difference) > FURTHEST }];
  });
  if (rows.length === 0) return html``;
  const reach = Math.max(2, ...rows.flatMap((r) => [Math.abs(r.at), Math.abs(r.low ?? 0), Math.abs(r.high ?? 0)])) * 1.08;
  const bands = rows.map((r) => r.id);
  const longest = Math.max(...bands.map((b) => b.length));
  const svg = draw({
    title: 'Differences in units of their margins', simulated: results.simulated, width: 400, height: 66 + 20 * rows.length, left: Math.min(178, 16 + 6 * longest), right: 18,
    description: `Difference from the baseline over the margin, turned so that right is better: ${rows.map((r) => `${r.m.title} ${r.at.toFixed(2)}${r.low === null || r.high === null ? '' : ` (${r.low.toFixed(2)} to ${r.high.toFixed(2)})`}${r.beyond ? ', further than drawn' : ''}`).join('; ')}.`,
    x: { label: 'difference in margins (to the right: better)', domain: [-reach, reach], ticks: 7 }, y: { label: '', bands, name: (id) => id },
    marks: [
      Plot.rectX([0], { x1: -1, x2: 1, fill: MARGIN_BAND }), Plot.ruleX([0], { stroke: INK, strokeWidth: 1 }),
      Plot.ruleY(rows.filter((r) => r.low !== null), { x1: 'low', x2: 'high', y: 'id', stroke: CHOSEN, strokeWidth: 2.2 }),
      Plot.dot(rows, { x: 'at', y: 'id', r: 4.2, symbol: (r: { beyond: boolean }) => (r.beyond ? 'triangle' : 'square'), fill: CHOSEN }),
    ],
  });
  return figure(numbers, html`What ${textOf(results, rival.id)} changes against the baseline, in units of each metric’s margin. Shaded: less than the margin, so no difference that matters. Bars: ${Math.round(100 * results.confidence)} % intervals that hold for all settings together.${rows.some((r) => r.beyond) ? ` A triangle lies further out than the ${FURTHEST} margins drawn.` : ''}`, [{ title: '', svg }], undefined, 'wide');
}

const clip = (v: number): number => Math.max(-FURTHEST, Math.min(FURTHEST, v));

/** Both values, the difference with its interval, the verdict. */
function table(results: Results, baseline: string, rival: Rival): Html {
  const rows = rowsOf(results, rival);
  if (rows.length === 0) return html``;
  return html`<div class="scroll"><table class="verdicts priced"><caption>What it gives and what it costs: values ± standard uncertainty, differences with ${Math.round(100 * results.confidence)} % intervals${results.simulated ? ' (simulated)' : ''}.</caption>
<thead><tr><th scope="col">Metric</th><th scope="col">Baseline</th><th scope="col">${rival.role === 'chosen' ? 'Chosen' : 'Measured best'}</th><th scope="col">Difference</th><th scope="col">Verdict</th></tr></thead>
<tbody>${rows.map(({ m, c }) => {
    const scale = scaleOf(m);
    const steps = differenceScale(m);
    const value = (id: string): Html => { const e = m.settings.find((s) => s.setting === id)?.estimate; return e === undefined || e.value === null ? html`– <span class="soft">${e?.reason ?? ''}</span>` : html`<span class="num">${valueWithU(e, scale)}</span> ${scale.unit}`; };
    return html`<tr><th scope="row">${m.title}${m.of_interest ? '' : html` <span class="soft">not named</span>`}</th><td>${value(baseline)}</td><td>${value(rival.id)}</td><td>${c.interval.lower === null ? html`<span class="soft">${c.interval.reason ?? ''}</span>` : html`<span class="num">${range(c.interval, steps, true)}</span> ${steps.unit}`}</td>${verdictCell(m, c)}</tr>`;
  })}</tbody></table></div>`;
}

/** The metrics shown, then what else the choice counts as its price. */
function rowsOf(results: Results, rival: Rival): { m: ResultMetric; c: Contrast }[] {
  const named = shownMetrics(results);
  const price = rival.role === 'chosen' ? results.choice?.price.filter((p) => p.contrast.verdict === 'worse').map((p) => p.key) ?? [] : [];
  const others = price.flatMap((key) => results.metrics.filter((m) => m.key === key && !named.includes(m)));
  return [...named, ...others].flatMap((m) => { const c = m.contrasts.find((k) => k.setting === rival.id); return c === undefined ? [] : [{ m, c }]; });
}
