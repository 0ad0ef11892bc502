// What it means in the air, and the throttle that makes a new setting feel like the old one.
import type { ResultMatch, Results } from '../../model/results';
import { ASSUMED } from '../../analysis/campaign/fly';
import { textOf } from '../arrange';
import { draw, Plot } from '../draw';
import { figure, type FigureNumbers } from '../figure';
import { html, type Html } from '../html';
import { INK, SERIES } from '../palette';
import { fixed, inWords } from '../show';

export function airSection(results: Results): Html {
  if (results.flight.length === 0) return html`<p>No craft is described, so nothing is said about flight.</p>`;
  // What is assumed is the same for every setting and is said once, at the end.
  const assumed = [...new Set(results.flight.flatMap((f) => f.sentences.filter((s) => s.startsWith(ASSUMED))))];
  return html`${results.flight.map((f) => html`<p>${f.sentences.filter((s) => !assumed.includes(s)).join(' ')}</p>`)}${assumed.map((s) => html`<p class="soft">${s}</p>`)}`;
}

export function matchSection(results: Results, numbers: FigureNumbers): Html {
  const { match } = results;
  if (match === null) return html`<p>There is no new setting with a throttle curve to match to that of the baseline.</p>`;
  const from = textOf(results, match.from);
  const to = textOf(results, match.to);
  if (match.reason !== null && match.expo === null) return html`<p>The throttle curve of ${to} was not matched to that of ${from}: ${match.reason}.</p>`;
  const unit = match.quantity === 'thrust' ? 'force' : '1';
  return html`<p>So that ${to} feels like ${from} (equal ${match.quantity} at the same stick), map old throttle to new${match.expo === null ? '' : html` with expo ${fixed(match.expo, 3)} in y = (1 − e)·x + e·x³${match.expo_limited ? ' (at the end of what the form allows)' : ''}`}, or with the table. ${match.worst_uncompensated === null ? '' : html`Uncorrected, the two differ by up to ${inWords(match.worst_uncompensated, unit, 3)}.`} ${match.worst_error === null ? '' : html`With the expo up to ${inWords(match.worst_error, unit, 3)} is left, because one number cannot mend every bend; the table leaves only scatter.`}</p>
${matchFigure(results, match, numbers)}${matchTable(match, unit)}`;
}

function matchFigure(results: Results, match: ResultMatch, numbers: FigureNumbers): Html {
  const wanted = match.rows.flatMap((r) => (r.new === null ? [] : [{ x: 100 * r.old, y: 100 * r.new }]));
  const { expo } = match;
  if (wanted.length < 2) return html``;
  const curve = expo === null ? [] : Array.from({ length: 51 }, (_, i) => { const x = i / 50; return { x: 100 * x, y: 100 * ((1 - expo) * x + expo * x ** 3) }; });
  const shift = (d: readonly { x: number; y: number }[]): { x: number; y: number }[] => d.map((p) => ({ x: p.x, y: p.y - p.x }));
  const errors = match.rows.flatMap((r) => (r.error === null ? [] : [{ x: 100 * r.old, y: r.error }]));
  const scale = match.quantity === 'thrust' ? 1000 / 9.80665 : 1;
  const panel = (title: string, description: string, y: string, marks: Parameters<typeof draw>[0]['marks'], domain?: [number, number]): { title: string; svg: Html } => ({
    title, svg: draw({ title, description, simulated: results.simulated, x: { label: 'old throttle, %', domain: [0, 100] }, y: { label: y, ...(domain === undefined ? {} : { domain }) }, marks }),
  });
  return figure(numbers, html`The map from old to new throttle. Points: the table. Line: the expo.${errors.length > 1 ? ' Right: the difference that the expo leaves.' : ''}`, [
    panel('New less old throttle', `Points of the table and the cubic expo, as the difference of new and old throttle in percent. Table: ${shift(wanted).map((p) => `${p.x.toFixed(0)}: ${p.y.toFixed(1)}`).join(', ')}.`, 'new less old, points', [
      Plot.ruleY([0], { stroke: INK, strokeWidth: 0.8 }), Plot.lineY(shift(curve), { x: 'x', y: 'y', stroke: SERIES[1].colour, strokeDasharray: SERIES[1].dash }), Plot.dot(shift(wanted), { x: 'x', y: 'y', r: 3, fill: SERIES[0].colour }),
    ]),
    ...(errors.length > 1 ? [panel('Left by the expo', `Difference of ${match.quantity} left by the expo over old throttle.`, match.quantity === 'thrust' ? 'thrust left, gf' : `${match.quantity} left`, [
      Plot.ruleY([0], { stroke: INK, strokeWidth: 0.8 }), Plot.lineY(errors.map((p) => ({ x: p.x, y: p.y * scale })), { x: 'x', y: 'y', stroke: SERIES[0].colour }),
    ])] : []),
  ]);
}

/** A response beyond reach by no more than this share is given by full throttle all but for scatter. */
const NEARLY = 0.01;

/** Every expo ends at full throttle, so the last row's error tells the most that the new setting gives. */
function nearly({ rows }: ResultMatch, { response }: ResultMatch['rows'][number]): boolean {
  const last = rows.at(-1);
  return last !== undefined && last.error !== null && response - (last.response + last.error) <= NEARLY * response;
}

function matchTable(match: ResultMatch, unit: string): Html {
  return html`<div class="scroll"><table class="narrow"><caption>${match.direction}: equal ${match.quantity}.</caption><thead><tr><th scope="col">Old, %</th><th scope="col">New, %</th><th scope="col">Equal ${match.quantity}</th></tr></thead><tbody>
${match.rows.map((r) => html`<tr><td>${fixed(100 * r.old, 0)}</td><td>${r.new === null ? html`${nearly(match, r) ? '100 ' : ''}<span class="soft">${r.reason ?? 'out of reach'}</span>` : fixed(100 * r.new, 1)}</td><td>${inWords(r.response, unit, 4)}</td></tr>`)}</tbody></table></div>`;
}
