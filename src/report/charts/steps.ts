// Mean steps of every setting, overlaid and aligned at the command.
import type { Results } from '../../model/results';
import { arrange, type Line } from '../arrange';
import { draw, Plot } from '../draw';
import { figure, legend, type FigureNumbers } from '../figure';
import { html, type Html } from '../html';
import { INK_SOFT } from '../palette';
import { aboutLines, listed, ownKey, seriesMarks } from './curves';

/** Shares of the step at which a rule is drawn: those that definitions of times use. */
const LEVELS = [10, 50, 80, 90];
/** Time after which the slowest step counts as done: within this share of its end. */
const SETTLED = 0.03;

/** One figure a direction and label. */
export function stepFigures(results: Results, numbers: FigureNumbers): Html {
  if (results.steps.length === 0) return html`<p>No usable run gives a step response, so there is none to show.</p>`;
  const layout = arrange(results);
  const labels = [...new Set(results.steps.map((s) => s.label))];
  return html`${labels.flatMap((label) => (['rise', 'fall'] as const).map((direction) => {
    const steps = results.steps.filter((s) => s.label === label && s.direction === direction);
    if (steps.length === 0) return html`<p class="absent">${direction === 'rise' ? 'Steps up' : 'Steps down'}: no usable run gives any.</p>`;
    const end = 1000 * Math.max(...steps.map((s) => settledAt(s.t_s, s.fraction)));
    const start = 1000 * Math.min(...steps.map((s) => s.t_s[0] ?? 0));
    const dataOf = (line: Line): { x: number; y: number }[] => steps.filter((s) => s.setting === line.setting).flatMap((s) => s.t_s.flatMap((t, i) => {
      const y = s.fraction[i];
      return 1000 * t > end || y === undefined || !Number.isFinite(y) ? [] : [{ x: 1000 * t, y: 100 * y }];
    }));
    const drawn = layout.panels.map((panel) => ({ panel, lines: panel.lines.map((line) => ({ line, data: dataOf(line) })) })).filter((d) => d.lines.some((l) => l.data.length > 0));
    const ys = drawn.flatMap((d) => d.lines.flatMap((l) => l.data.map((p) => p.y)));
    const low = Math.min(-4, ...ys);
    const high = Math.max(104, ...ys);
    const way = direction === 'rise' ? 'up' : 'down';
    const panels = drawn.map(({ panel, lines }) => ({
      title: panel.title, ...ownKey(layout, panel.lines),
      svg: draw({
        title: `Step ${way}${panel.title === '' ? '' : `, ${panel.title}`}`,
        description: `Speed as a share of the step ${way}, in percent, against time since the command in milliseconds, for ${listed(panel.lines)}.${halves(lines)}`,
        simulated: results.simulated, x: { label: 'time since the command, ms', domain: [start, end] }, y: { label: `Step ${way} done, %`, domain: [low, high] },
        marks: [
          Plot.ruleY(LEVELS, { stroke: INK_SOFT, strokeWidth: 0.5, strokeDasharray: '1 3' }), Plot.ruleX([0], { stroke: INK_SOFT, strokeWidth: 0.8 }),
          ...lines.flatMap(({ line, data }, i) => seriesMarks(data, line, i)),
        ],
      }),
    }));
    const runs = steps.map((s) => s.runs);
    return figure(numbers, html`Steps ${way}${labels.length > 1 ? html` (${label})` : ''}, aligned at the command: speed as a share of the step. Each line is the mean over all steps of ${Math.min(...runs)}${Math.max(...runs) > Math.min(...runs) ? html` to ${Math.max(...runs)}` : ''} run${Math.max(...runs) === 1 ? '' : 's'}; steps with a desync are left out. Dotted rules: 10, 50, 80 and 90 %, between which the definitions of rise and fall times run.`, panels, legend(aboutLines(layout), layout.legend));
  }))}`;
}

/** First time from which a step stays at its end, s, with a margin; the whole length when it never does. */
export function settledAt(t_s: readonly number[], fraction: readonly number[]): number {
  const last = t_s.at(-1) ?? 0;
  let i = fraction.length;
  while (i > 0 && Math.abs((fraction[i - 1] ?? 0) - 1) < SETTLED) i--;
  return Math.min(last, 1.25 * (t_s[i] ?? last));
}

function halves(lines: readonly { readonly line: Line; readonly data: readonly { readonly x: number; readonly y: number }[] }[]): string {
  const parts = lines.flatMap(({ line, data }) => { const p = data.find((d) => d.x >= 0 && d.y >= 50); return p === undefined ? [] : [`${line.name}: ${p.x.toFixed(0)} ms`]; });
  return parts.length === 0 ? '' : ` Half the step is done after: ${parts.join(', ')}.`;
}
