// Every metric of every setting, folded away: the figures behind the charts.
import type { ResultMetric, Results } from '../../model/results';
import { textOf } from '../arrange';
import { html, type Html } from '../html';
import { differenceScale, range, scaleOf, valueWithU, placesFor, fixed } from '../show';
import { verdictCell } from '../verdict-mark';

export function allMetrics(results: Results): Html {
  if (results.metrics.length === 0) return html`<p>No usable run gives a metric.</p>`;
  const named = results.metrics.filter((m) => m.of_interest);
  const others = results.metrics.filter((m) => !m.of_interest);
  return html`<p>Value ± standard uncertainty; Type A from repeats, Type B from calibration. On paper these tables stay folded: results.csv holds them all.</p>
${named.length === 0 || others.length === 0 ? folded(results, results.metrics) : html`<h3>Named by the campaign</h3>${folded(results, named)}
<h3>Others</h3><p>The campaign does not name these: each verdict stands alone, and with so many looked at, some differences appear by chance.</p>${folded(results, others)}`}`;
}

const folded = (results: Results, metrics: readonly ResultMetric[]): Html => html`${metrics.map((m) => html`<details><summary>${m.title}</summary><p>${m.definition}</p>${table(results, m)}</details>`)}`;

function table(results: Results, m: ResultMetric): Html {
  const scale = scaleOf(m);
  const differences = differenceScale(m);
  const size = (u: number | null): string => { if (u === null) return '–'; const v = Math.abs(scale.of(u) - scale.of(0)); return fixed(v, placesFor(v, v)); };
  return html`<div class="scroll"><table><caption>${m.title}${scale.unit === '' ? '' : `, ${scale.unit}`}${results.simulated ? ' (simulated)' : ''}.</caption><thead><tr><th scope="col">Setting</th><th scope="col">n</th><th scope="col">Value</th><th scope="col">Interval</th><th scope="col">Type A</th><th scope="col">Type B</th><th scope="col">Less baseline</th><th scope="col">Verdict</th></tr></thead>
<tbody>${m.settings.map((s) => {
    const contrast = m.contrasts.find((c) => c.setting === s.setting);
    const { estimate } = s;
    return html`<tr><th scope="row">${textOf(results, s.setting)}</th><td>${s.n}</td><td>${estimate.value === null ? html`– <span class="soft">${estimate.reason ?? ''}</span>` : valueWithU(estimate, scale)}</td><td>${estimate.interval.lower === null ? html`– <span class="soft">${estimate.value === null ? '' : estimate.interval.reason ?? ''}</span>` : range(estimate.interval, scale)}</td><td>${size(s.type_a)}</td><td>${size(s.type_b)}</td><td>${contrast === undefined ? (s.setting === results.baseline ? 'baseline' : '–') : range(contrast.interval, differences, true)}</td>${s.setting === results.baseline ? html`<td></td>` : verdictCell(m, contrast)}</tr>`;
  })}</tbody></table></div>`;
}
