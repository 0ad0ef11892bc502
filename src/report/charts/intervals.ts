// Every setting with its repeats, its mean and its interval; the band of what does not matter around the baseline.
import { formatNumber } from '../../units/format';
import type { ResultMetric, Results, SettingValue } from '../../model/results';
import { shownMetrics, textOf } from '../arrange';
import { draw, LARGE, Plot, type Mark } from '../draw';
import { figure, type FigureNumbers } from '../figure';
import { html, type Html } from '../html';
import { BASELINE, CHOSEN, INK, INK_SOFT, MARGIN_BAND } from '../palette';
import { repeatInterval } from '../repeat-interval';
import { range, scaleOf, type Scale } from '../show';

const ROW = 19;
const LONGEST_NAME = 30;

type Row = { readonly id: string; readonly mean: number; readonly low: number | null; readonly high: number | null };

/** One panel a metric. */
export function intervalFigure(results: Results, numbers: FigureNumbers): Html {
  const metrics = shownMetrics(results).filter((m) => m.settings.some((s) => s.estimate.value !== null));
  if (metrics.length === 0) return html`<p>No usable run gives a value, so there is nothing to show.</p>`;
  const panels = metrics.map((m) => ({ title: m.title, svg: intervalChart(results, m) }));
  const confidence = Math.round(100 * results.confidence);
  return figure(numbers, html`Every setting. Small dots: repeats. Large mark and bar: the mean and that part of its ${confidence} % interval which comes from repeats (a calibration error shifts all settings alike and is left to the tables); often no wider than the mark. Broken line: the baseline; shaded: within ± the margin of it. Filled diamond: the baseline; filled square: the chosen setting.`, panels, undefined, 'large');
}

/** A mean with the part of its interval that comes from repeats. */
function repeatRow(s: SettingValue, scale: Scale): Row | null {
  const { value } = s.estimate;
  if (value === null) return null;
  const ends = repeatInterval(s);
  return { id: s.setting, mean: scale.of(value), low: ends === null ? null : scale.of(ends.lower), high: ends === null ? null : scale.of(ends.upper) };
}

function intervalChart(results: Results, m: ResultMetric): Html {
  const scale = scaleOf(m);
  const rows = m.settings.flatMap((s) => { const row = repeatRow(s, scale); return row === null ? [] : [row]; });
  const dots = m.settings.flatMap((s) => s.values.map((v) => ({ id: s.setting, x: scale.of(v.used) })));
  const base = rows.find((r) => r.id === results.baseline);
  const width = m.margin === null || base === undefined ? null : Math.abs(scale.of(m.margin) - scale.of(0));
  const names = new Map(results.settings.map((s) => [s.id, s.text.length > LONGEST_NAME ? `${s.text.slice(0, LONGEST_NAME - 1)}…` : s.text]));
  const bands = m.settings.map((s) => s.setting);
  const longest = Math.max(...bands.map((b) => (names.get(b) ?? b).length));
  const xs = [...rows.flatMap((r) => [r.mean, r.low ?? r.mean, r.high ?? r.mean]), ...dots.map((d) => d.x), ...(base === undefined || width === null ? [] : [base.mean - width, base.mean + width])];
  const pad = 0.04 * (Math.max(...xs) - Math.min(...xs)) || 0.01 * Math.abs(xs[0] ?? 1) || 1;
  const domain: [number, number] = [Math.min(...xs) - pad, Math.max(...xs) + pad];
  const marks: Mark[] = [];
  if (base !== undefined && width !== null) marks.push(Plot.rectX([base], { x1: base.mean - width, x2: base.mean + width, fill: MARGIN_BAND }));
  if (base !== undefined) marks.push(Plot.ruleX([base.mean], { stroke: BASELINE, strokeDasharray: '5 3' }));
  const barred = rows.filter((r) => r.low !== null);
  const colour = (r: Row): string => (r.id === results.choice?.chosen ? CHOSEN : r.id === results.baseline ? BASELINE : INK);
  marks.push(
    Plot.dot(dots, { x: 'x', y: 'id', r: 1.6, fill: INK_SOFT, fillOpacity: 0.65, stroke: 'none' }),
    Plot.ruleY(barred, { x1: 'low', x2: 'high', y: 'id', stroke: colour, strokeWidth: 2 }),
    Plot.tickX(barred, { x: 'low', y: 'id', stroke: colour, strokeWidth: 1.4, insetTop: 3, insetBottom: 3 }),
    Plot.tickX(barred, { x: 'high', y: 'id', stroke: colour, strokeWidth: 1.4, insetTop: 3, insetBottom: 3 }),
    ...rows.map((r) => {
      const special = r.id === results.choice?.chosen || r.id === results.baseline;
      return Plot.dot([r], { x: 'mean', y: 'id', r: special ? 4.5 : 3.4, symbol: r.id === results.choice?.chosen ? 'square' : r.id === results.baseline ? 'diamond' : 'circle', fill: special ? colour(r) : '#fff', stroke: colour(r), strokeWidth: 1.5 });
    }),
  );
  return draw({
    title: `${m.title} of every setting`, simulated: results.simulated,
    description: `${m.title} in ${scale.unit === '' ? 'its unit' : scale.unit}: ${m.settings.map((s) => `${textOf(results, s.setting)} ${s.estimate.value === null ? 'no value' : `${formatNumber(scale.of(s.estimate.value), 5)} (${range(s.estimate.interval, scale)})`}`).join('; ')}.`,
    width: LARGE, height: 64 + ROW * bands.length, left: Math.min(178, 14 + 5.8 * longest), x: { label: scale.unit, domain, ticks: 4 }, y: { label: '', bands, name: (id) => names.get(id) ?? id }, marks,
  });
}
