// Whether two factors act together: means of one over the levels of the other. Parallel lines: each acts for itself.
import { formatNumber } from '../../units/format';
import type { ResultMetric, Results } from '../../model/results';
import { headingOf, shownMetrics, words } from '../arrange';
import { draw, Plot, type Mark } from '../draw';
import { figure, legend, type FigureNumbers } from '../figure';
import { html, type Html } from '../html';
import { SERIES, type SeriesStyle } from '../palette';
import { repeatInterval } from '../repeat-interval';
import { pValue, scaleOf } from '../show';
import { effects, pairTest } from './effects';

type Factor = Results['factors'][number];
type Cell = { readonly x: number; readonly y: number; readonly low: number; readonly high: number };
/** Two crossed factors: one along the axis, the other as lines. */
type Pair = { readonly lines: Factor; readonly along: Factor };

/** From here on an interaction of two among several factors is not drawn: nothing tells it from scatter. */
const DRAWN_BELOW = 0.05;

/** A figure for every pair of crossed factors, one panel a metric; a sentence where the campaign crosses no two. */
export function interactionFigure(results: Results, numbers: FigureNumbers): Html {
  const several = results.factors.filter((f) => f.levels.length > 1);
  if (several.length < 2) return html`<p>The campaign crosses no two factors of several levels, so there is no interaction to show.</p>`;
  const pairs = several.flatMap((a, i) => several.slice(i + 1).map((b) => pairOf(a, b)));
  const metrics = shownMetrics(results);
  const drawn = pairs.map((pair) => ({ pair, panels: metrics.flatMap((m) => {
    if (pairs.length > 1 && (pairTest(m, pair.lines.name, pair.along.name)?.p ?? 0) >= DRAWN_BELOW) return [];
    const svg = chart(results, m, pair, several.length > 2);
    return svg === null ? [] : [{ title: m.title, svg }];
  }) }));
  const shown = drawn.filter((d) => d.panels.length > 0);
  const quiet = drawn.filter((d) => d.panels.length === 0);
  if (shown.length === 0 && pairs.length === 1) return html`<p>No metric has values at two levels of both factors, so there is no interaction to show.</p>`;
  return html`${pairs.length > 1 ? html`<p>${several.length} factors are crossed. ${shown.length === 0 ? 'No pair of them' : 'A pair'} is drawn${shown.length === 0 ? '' : ' for the metrics'} where its interaction can be told from scatter (p below ${DRAWN_BELOW}) or was not tested; the table has every pair.</p>` : ''}
${shown.map(({ pair, panels }) => pairFigure(pair, panels, several.length > 2, numbers))}
${quiet.length === 0 || shown.length === 0 ? '' : html`<p>Not drawn, because nothing tells ${quiet.length === 1 ? 'its' : 'their'} interaction from scatter in any metric shown: ${quiet.map(({ pair }) => `${words(pair.lines.name)} with ${words(pair.along.name)}`).join('; ')}.</p>`}
${effects(results)}`;
}

/** Few lines, many places along the axis. */
const pairOf = (a: Factor, b: Factor): Pair => (a.levels.length <= b.levels.length ? { lines: a, along: b } : { lines: b, along: a });

const pairFigure = ({ lines, along }: Pair, panels: readonly { title: string; svg: Html }[], averaged: boolean, numbers: FigureNumbers): Html =>
  figure(numbers, html`${headingOf(along.name)} and ${words(lines.name)} together. Bars: intervals of the means from repeats. Parallel lines: each factor acts for itself; lines that cross or spread: the best level of one depends on the other.${averaged ? html` Other factors are averaged over.` : ''}`, panels,
    legend(`${headingOf(lines.name)}:`, lines.levels.map((name, i) => ({ name, style: styleOf(i) }))));

const styleOf = (i: number): SeriesStyle => SERIES[i % SERIES.length];

/** Means of a metric over both factors' levels; null without two lines of two points. */
function chart(results: Results, m: ResultMetric, { lines, along }: Pair, averaged: boolean): Html | null {
  const scale = scaleOf(m);
  const levels = new Map(results.settings.map((s) => [s.id, s.levels]));
  const cell = (line: string, x: string, at: number): Cell[] => {
    const own = m.settings.filter((s) => levels.get(s.setting)?.[lines.name] === line && levels.get(s.setting)?.[along.name] === x && s.estimate.value !== null);
    if (own.length === 0) return [];
    const mean = own.reduce((a, s) => a + (s.estimate.value ?? 0), 0) / own.length;
    const ends = own.map(repeatInterval);
    // Settings that are averaged were run apart from each other, so their intervals add in squares.
    const side = (of: (e: { lower: number; upper: number }, value: number) => number): number =>
      (ends.some((e) => e === null) ? 0 : Math.sqrt(own.reduce((sum, s, i) => sum + of(ends[i] ?? { lower: 0, upper: 0 }, s.estimate.value ?? 0) ** 2, 0)) / own.length);
    return [{ x: at, y: scale.of(mean), low: scale.of(mean - side((e, v) => v - e.lower)), high: scale.of(mean + side((e, v) => e.upper - v)) }];
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
  const test = pairTest(m, lines.name, along.name);
  const tested = m.factorial === null ? '' : test === null ? ` No test of the interaction: ${m.factorial.reason ?? 'not computed'}.` : ` Interaction: p ${pValue(test.p)}.`;
  return draw({
    title: `${m.title}: ${words(along.name)} and ${words(lines.name)}`, simulated: results.simulated,
    description: `Mean ${m.title.toLowerCase()} over ${words(along.name)}, one line for each ${words(lines.name)}${averaged ? ', other factors averaged over' : ''}: ${lines.levels.map((l, i) => `${l}: ${drawn[i].map((p) => formatNumber(p.y, 4)).join(', ')}`).join('; ')}.${tested}`,
    left: 50, x: { label: words(along.name), domain: [-0.35, along.levels.length - 0.65], ticks: along.levels.length, format: (v) => (Number.isInteger(v) ? along.levels[v] ?? '' : '') },
    y: { label: scale.unit, domain: [low - pad, high + pad] }, marks,
  });
}
