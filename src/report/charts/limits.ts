// How near any run came to each limit.
import type { Results } from '../../model/results';
import { textOf, words } from '../arrange';
import { draw, Plot } from '../draw';
import { figure, type FigureNumbers } from '../figure';
import { html, type Html } from '../html';
import { INK, INK_SOFT, SIMULATED_INK } from '../palette';
import { formatNumber } from '../../units/format';
import { inWords } from '../show';

/** From here on a limit is close enough to be looked at. */
const CLOSE = 0.9;
/** The bound that a protocol states for its own length is meant to be near. */
const OWN_LENGTH = 'protocol bound';

/** Limits whose names say little to somebody who did not write them. */
const PLAIN: Readonly<Record<string, string>> = {
  'protocol bound': 'length of the protocol', mismatch: 'thrust against current', voltage_high: 'highest voltage', voltage_low: 'lowest voltage', supply_sag: 'sag of the supply', esc_temperature: 'ESC temperature',
  'trend motor_temperature': 'rise of motor temperature', current_peak: 'peak current', current_mean: 'mean current', 'desync count': 'desyncs in a run', longest_run: 'longest run',
};
const nameOf = (limit: string): string => PLAIN[limit] ?? words(limit);

/** A run by its number, protocol and setting. */
function runOf(results: Results, id: string): string {
  const run = results.runs.find((r) => r.id === id);
  return run === undefined ? id : `No. ${run.index}: ${run.label}, ${textOf(results, run.setting)}`;
}

/** Forces in what people read, the rest as it is. */
const shown = (value: number, unit: string): string => (unit === 'N' ? inWords(value, 'force') : `${formatNumber(value, 4)} ${unit}`);

export function limitFigure(results: Results, numbers: FigureNumbers): Html {
  const { closest } = results;
  if (closest.length === 0) return html`<p>No record tells how near the limits were.</p>`;
  const near = closest.filter((c) => c.ratio >= CLOSE && c.limit !== OWN_LENGTH);
  const bars = closest.map((c) => ({ id: c.limit, x: 100 * c.ratio, near: near.includes(c) }));
  const longest = Math.max(...closest.map((c) => nameOf(c.limit).length));
  const top = Math.max(105, ...bars.map((b) => 1.05 * b.x));
  const svg = draw({
    title: 'Closest approach to each limit', simulated: results.simulated, width: 400, height: 62 + 17 * bars.length, left: Math.min(190, 14 + 6.2 * longest), right: 16,
    description: `Share of each limit that was reached, in percent: ${closest.map((c) => `${nameOf(c.limit)} ${(100 * c.ratio).toFixed(0)}`).join(', ')}. 100 is the limit itself.`,
    x: { label: 'share of the limit, %', domain: [0, top] }, y: { label: '', bands: bars.map((b) => b.id), name: nameOf },
    marks: [
      Plot.barX(bars, { x: 'x', y: 'id', fill: (b: { near: boolean }) => (b.near ? SIMULATED_INK : INK_SOFT), fillOpacity: 0.85, insetTop: 2, insetBottom: 2 }),
      Plot.text(bars, { x: 'x', y: 'id', text: (b: { x: number }) => b.x.toFixed(0), textAnchor: 'end', dx: -5, fill: '#fff', filter: (b: { x: number }) => b.x > 10, fontWeight: 600 } as never),
      Plot.text(bars, { x: 'x', y: 'id', text: (b: { x: number }) => b.x.toFixed(0), textAnchor: 'start', dx: 4, fill: INK, filter: (b: { x: number }) => b.x <= 10 } as never),
      Plot.ruleX([100], { stroke: INK, strokeWidth: 2 }),
    ],
  });
  return html`<p>${near.length === 0 ? `No run came within ${Math.round(100 * (1 - CLOSE))} % of a limit on the drivetrain.` : html`Within ${Math.round(100 * (1 - CLOSE))} % of a limit: ${near.map((c) => nameOf(c.limit)).join(', ')}. A limit that is nearly reached in an ordinary run stops a longer or a warmer one.`}</p>
${figure(numbers, 'Closest approach to each limit over all usable runs. The heavy line is the limit. A protocol’s bound on its own length is meant to be near.', [{ title: '', svg }], undefined, 'wide')}
<div class="scroll"><table><caption>The same in figures.</caption><thead><tr><th scope="col">Limit</th><th scope="col">Reached</th><th scope="col">Bound</th><th scope="col">In run</th></tr></thead><tbody>
${closest.map((c) => html`<tr><th scope="row">${nameOf(c.limit)}</th><td>${shown(c.value, c.unit)}</td><td>${shown(c.bound, c.unit)}</td><td>${runOf(results, c.run)}</td></tr>`)}</tbody></table></div>`;
}
