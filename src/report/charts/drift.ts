// Whether the bench changed while the campaign ran: the baseline's values in the order of the runs.
import { formatNumber } from '../../units/format';
import type { ResultMetric, Results } from '../../model/results';
import { shownMetrics, textOf } from '../arrange';
import { draw, Plot } from '../draw';
import { figure, type FigureNumbers } from '../figure';
import { html, type Html } from '../html';
import { BASELINE, INK_SOFT } from '../palette';
import { pValue, range, scaleOf } from '../show';

/** One panel a metric. */
export function driftFigure(results: Results, numbers: FigureNumbers): Html {
  if (results.baseline === null) return html`<p>No baseline is stated, so drift over the campaign cannot be seen.</p>`;
  const metrics = shownMetrics(results).filter((m) => m.drift.points.length > 1);
  if (metrics.length === 0) return html`<p>The baseline was run less than twice, so drift over the campaign cannot be seen.</p>`;
  const removed = metrics.filter((m) => m.drift.removed);
  return html`${figure(numbers, html`The baseline (${textOf(results, results.baseline)}) over the campaign, in the order of the runs. Line: the straight drift fitted to it.`, metrics.map((m) => ({ title: m.title, svg: chart(results, m) })))}
<p>${removed.length === 0 ? 'No drift was taken out of any metric shown here' : html`Drift was taken out of: ${removed.map((m) => m.title).join(', ')}`}${reasons(metrics)}</p>
${table(results, metrics)}`;
}

function reasons(metrics: readonly ResultMetric[]): string {
  const all = [...new Set(metrics.flatMap((m) => (m.drift.removed || m.drift.reason === null ? [] : [m.drift.reason])))];
  return all.length === 0 ? '.' : `: ${all.join('; ')}.`;
}

function chart(results: Results, m: ResultMetric): Html {
  const { points, end_to_end, p } = m.drift;
  const scale = scaleOf(m);
  const data = points.map((q) => ({ x: q.index, y: scale.of(q.value) }));
  const x0 = Math.min(...data.map((d) => d.x));
  const x1 = Math.max(...data.map((d) => d.x));
  const mean = data.reduce((a, d) => a + d.y, 0) / data.length;
  const centre = data.reduce((a, d) => a + d.x, 0) / data.length;
  const slope = end_to_end === null || x1 === x0 ? null : (scale.of(end_to_end) - scale.of(0)) / (x1 - x0);
  const line = slope === null ? [] : [x0, x1].map((x) => ({ x, y: mean + slope * (x - centre) }));
  const ys = [...data, ...line].map((d) => d.y);
  const pad = 0.15 * (Math.max(...ys) - Math.min(...ys)) || 0.01 * Math.abs(mean) || 1;
  return draw({
    title: `${m.title} of the baseline over the campaign`, simulated: results.simulated, height: 158, left: 52,
    description: `${m.title} in ${scale.unit === '' ? 'its unit' : scale.unit} at run ${data.map((d) => `${d.x}: ${formatNumber(d.y, 5)}`).join(', ')}.${slope === null ? '' : ` Drift from first to last: ${formatNumber(slope * (x1 - x0), 3)}, p if there is none ${pValue(p)}.`}`,
    x: { label: 'place in the order of runs', domain: [0, Math.max(...results.runs.map((r) => r.index), x1) + 1] }, y: { label: scale.unit, domain: [Math.min(...ys) - pad, Math.max(...ys) + pad], ticks: 4 },
    marks: [Plot.lineY(line, { x: 'x', y: 'y', stroke: INK_SOFT, strokeDasharray: '5 3' }), Plot.dot(data, { x: 'x', y: 'y', r: 3.4, fill: BASELINE, symbol: 'diamond' })],
  });
}

function table(results: Results, metrics: readonly ResultMetric[]): Html {
  return html`<div class="scroll"><table><caption>Drift of the baseline from its first to its last run.</caption><thead><tr><th scope="col">Metric</th><th scope="col">Runs</th><th scope="col">Drift, ${Math.round(100 * results.confidence)} % interval</th><th scope="col">p if there is none</th><th scope="col">Taken out</th></tr></thead>
<tbody>${metrics.map((m) => {
    const scale = scaleOf(m);
    const step = { unit: scale.unit, of: (v: number) => scale.of(v) - scale.of(0) };
    const { interval, p, removed, runs } = m.drift;
    return html`<tr><th scope="row">${m.title}</th><td>${runs}</td><td>${interval === null || interval.lower === null ? '–' : html`${range(interval, step, true)} ${step.unit}`}</td><td>${pValue(p)}</td><td>${removed ? 'yes' : 'no'}</td></tr>`;
  })}</tbody></table></div>`;
}
