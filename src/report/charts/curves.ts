// Quantities over throttle with bands of their uncertainty from repeats, and speed against the baseline.
import { formatNumber } from '../../units/format';
import type { ResultCurve, Results } from '../../model/results';
import { arrange, headingOf, sharesLegend, textOf, type Arrangement, type Line } from '../arrange';
import { draw, Plot, type Mark } from '../draw';
import { figure, legend, type FigureNumbers, type FigurePanel } from '../figure';
import { html, type Html } from '../html';
import type { Scale } from '../show';
import { heading, scaleFor } from '../show';

/** What is drawn over throttle. */
export const QUANTITIES = [
  { of: 'thrust_N', title: 'Thrust', shown: 'force' },
  { of: 'speed_rpm', title: 'Speed', shown: 'speed' },
  { of: 'power_W', title: 'Electrical power', shown: 'power' },
  { of: 'efficacy_N_per_W', title: 'Thrust per watt', shown: 'efficacy' },
] as const;
export type Of = (typeof QUANTITIES)[number]['of'];

/** Standard uncertainties to each side of a band. */
export const COVERAGE = 2;
/** Every so many points a marker. */
const MARKS = 5;

type Point = { readonly x: number; readonly y: number; readonly low: number; readonly high: number };

/** Points with a value; the band is as wide as the line where there was one repeat. */
export function points(curve: ResultCurve, of: Of, scale: Scale): Point[] {
  const band = curve[of];
  if (band === null) return [];
  return curve.throttle.flatMap((x, i): Point[] => {
    const mean = band.mean[i] ?? null;
    if (mean === null) return [];
    const u = COVERAGE * (band.u[i] ?? 0);
    return [{ x: 100 * x, y: scale.of(mean), low: scale.of(mean - u), high: scale.of(mean + u) }];
  });
}

/** Marks of one line: band, line, a few markers. */
export function seriesMarks(data: readonly { readonly x: number; readonly y: number; readonly low?: number; readonly high?: number }[], line: Line, at: number): Mark[] {
  const { colour, dash, marker } = line.style;
  const step = Math.max(1, Math.floor(data.length / MARKS));
  const some = data.filter((_, i) => (i + Math.floor((at * step) / 4)) % step === Math.floor(step / 2));
  const banded = data.some((d) => d.low !== undefined && d.high !== d.low);
  return [
    banded ? Plot.areaY(data as Point[], { x: 'x', y1: 'low', y2: 'high', fill: colour, fillOpacity: 0.22 }) : null,
    Plot.lineY(data as Point[], { x: 'x', y: 'y', stroke: colour, strokeWidth: line.isChosen ? 2.2 : 1.4, ...(dash === '' ? {} : { strokeDasharray: dash }) }),
    Plot.dot(some as Point[], { x: 'x', y: 'y', symbol: marker === 'cross' ? 'times' : marker === 'star' ? 'asterisk' : marker, r: 3, fill: marker === 'cross' || marker === 'star' ? 'none' : colour, stroke: colour }),
  ];
}

/** What lines and panels stand for, for a legend. */
export const aboutLines = (a: Arrangement): string => (a.lineFactor === null ? '' : `${headingOf(a.lineFactor)}:`);

/** Names of chosen and baseline among the lines, for a description. */
export function listed(lines: readonly Line[]): string {
  return lines.map((l) => `${l.name}${l.isBaseline ? ' (baseline)' : ''}${l.isChosen ? ' (chosen)' : ''}`).join('; ');
}

/** One figure a quantity, or all quantities in one figure where each has a single panel; a sentence where no run gives a curve. */
export function curveFigures(results: Results, numbers: FigureNumbers): Html {
  const labels = [...new Set(results.curves.map((c) => c.label))];
  if (labels.length === 0) return html`<p>No usable run gives a curve over throttle, so there is none to show.</p>`;
  const layout = arrange(results);
  return html`${labels.map((label) => {
    const curves = results.curves.filter((c) => c.label === label);
    const drawn = [...QUANTITIES.map((q) => quantityPanels(results, curves, layout, q)), againstBaseline(results, curves, layout)];
    const absent = drawn.flatMap((d) => (d.panels.length === 0 && d.absent !== '' ? [html`<p class="absent">${d.absent}</p>`] : []));
    const key = legend(aboutLines(layout), layout.legend);
    const shown = drawn.filter((d) => d.panels.length > 0);
    const single = shown.every((d) => d.panels.length === 1);
    return html`${labels.length > 1 ? html`<h3>${label}</h3>` : ''}${absent}${shown.length === 0 ? '' : single ? figure(numbers, html`Over throttle. ${runsOf(curves)} ${shown.map((d) => d.remark).join('')}`, shown.flatMap((d) => d.panels), key)
      : shown.map((d) => figure(numbers, html`${d.caption} ${d.banded ? runsOf(curves) : ''}${d.remark}`, d.panels, key))}`;
  })}`;
}

/** What a quantity needs for a figure of its own or for its part of one. */
type Drawn = { readonly panels: readonly FigurePanel[]; readonly caption: string; readonly remark: string; readonly banded: boolean; readonly absent: string };

/** How many runs stand behind a line, and what its band is. */
function runsOf(curves: readonly ResultCurve[]): string {
  const runs = curves.map((c) => c.runs);
  const [least, most] = [Math.min(...runs), Math.max(...runs)];
  if (most === 1) return 'One run a setting, so there is no band.';
  return `Mean of ${least}${most > least ? ` to ${most}` : ''} runs a setting; bands: ±${COVERAGE} standard uncertainties from repeats, often narrower than the line.`;
}

/** A key inside the panel, where panels hold different lines. */
export const ownKey = (layout: Arrangement, lines: readonly Line[]): Partial<FigurePanel> => (sharesLegend(layout) ? {} : { key: legend('', lines) });

function quantityPanels(results: Results, curves: readonly ResultCurve[], layout: Arrangement, { of, title, shown }: (typeof QUANTITIES)[number]): Drawn {
  const scale = scaleFor(shown, curves.flatMap((c) => c[of]?.mean ?? []));
  const drawn = layout.panels.map((panel) => ({ panel, lines: panel.lines.map((line) => ({ line, data: dataOf(curves, line, of, scale) })) }));
  const all = drawn.flatMap((d) => d.lines.flatMap((l) => l.data));
  const top = all.reduce((a, p) => Math.max(a, p.high), 0) * 1.04;
  const panels = drawn.filter((d) => d.lines.some((l) => l.data.length > 0)).map(({ panel, lines }): FigurePanel => ({
    title: panel.title, ...ownKey(layout, panel.lines),
    svg: draw({
      title: `${title} over throttle${panel.title === '' ? '' : `, ${panel.title}`}`,
      description: `${title} in ${scale.unit} against throttle in percent, for ${listed(panel.lines)}. Bands are plus and minus ${COVERAGE} standard uncertainties of the mean of repeats.${ends(lines, scale)}`,
      simulated: results.simulated, x: { label: 'throttle, %', domain: [0, 100] }, y: { label: heading(title, scale.unit), domain: [0, top] },
      marks: lines.flatMap(({ line, data }, i) => seriesMarks(data, line, i)),
    }),
  }));
  return { panels, caption: `${title} over throttle.`, remark: of === 'efficacy_N_per_W' ? ' Thrust per watt is a ratio of the two fits, not a fit of the ratio.' : '', banded: true, absent: `${title}: no usable run measured it.` };
}

const dataOf = (curves: readonly ResultCurve[], line: Line, of: Of, scale: Scale): Point[] => curves.filter((c) => c.setting === line.setting).flatMap((c) => points(c, of, scale));

function ends(lines: readonly { readonly line: Line; readonly data: readonly Point[] }[], scale: Scale): string {
  const parts = lines.flatMap(({ line, data }) => { const last = data.at(-1); return last === undefined ? [] : [`${line.name}: ${formatNumber(last.y, 4)} ${scale.unit}`]; });
  return parts.length === 0 ? '' : ` At full throttle: ${parts.join(', ')}.`;
}

const NOTHING_DRAWN: Drawn = { panels: [], caption: '', remark: '', banded: false, absent: '' };

/** How the throttle curve bends: thrust less that of the baseline at equal throttle. */
function againstBaseline(results: Results, curves: readonly ResultCurve[], layout: Arrangement): Drawn {
  const base = curves.find((c) => c.setting === results.baseline);
  const reference = base?.thrust_N;
  if (base === undefined || reference === null || reference === undefined || curves.length < 2) return NOTHING_DRAWN;
  const top = reference.mean.reduce<number>((a, v) => Math.max(a, v ?? 0), 0);
  if (!(top > 0)) return NOTHING_DRAWN;
  const difference = (line: Line): { x: number; y: number }[] => {
    const own = curves.find((c) => c.setting === line.setting);
    if (own?.thrust_N === null || own === undefined || own.throttle.length !== base.throttle.length) return [];
    const { mean } = own.thrust_N;
    return own.throttle.flatMap((x, i) => { const a = mean[i] ?? null; const b = reference.mean[i] ?? null; return a === null || b === null ? [] : [{ x: 100 * x, y: (100 * (a - b)) / top }]; });
  };
  const drawn = layout.panels.map((panel) => ({ panel, lines: panel.lines.map((line) => ({ line, data: difference(line) })) }));
  const all = drawn.flatMap((d) => d.lines.flatMap((l) => l.data.map((p) => p.y)));
  const low = Math.min(0, ...all);
  const high = Math.max(0, ...all);
  const pad = 0.06 * Math.max(high - low, 0.1);
  const name = textOf(results, base.setting);
  const panels = drawn.filter((d) => d.lines.some((l) => l.data.length > 0)).map(({ panel, lines }): FigurePanel => ({
    title: panel.title, ...ownKey(layout, panel.lines),
    svg: draw({
      title: `Thrust against the baseline at equal throttle${panel.title === '' ? '' : `, ${panel.title}`}`,
      description: `Thrust less that of ${name} at the same throttle, in percent of its full-throttle thrust, for ${listed(panel.lines)}.`,
      simulated: results.simulated, x: { label: 'throttle, %', domain: [0, 100] }, y: { label: 'Thrust less baseline, % of full', domain: [low - pad, high + pad] },
      marks: [Plot.ruleY([0], { stroke: '#1d2226', strokeWidth: 0.8 }), ...lines.flatMap(({ line, data }, i) => seriesMarks(data, line, i))],
    }),
  }));
  return { panels, caption: 'How the throttle curve bends.', remark: ` Thrust less that of the baseline (${name}) is at the same throttle, as a share of its full-throttle thrust.`, banded: false, absent: '' };
}
