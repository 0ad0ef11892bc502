// The repeats planner's answer as text.
import { metricTitle, showMetric } from '../app/figures';
import type { Detect, DetectLine } from '../app/detect';
import colours from 'picocolors';
import { formatNumber } from '../units';
import { table } from './text';

type Answer = DetectLine['difference'];

/** One line a metric: spread, margin, repeats for a difference, for sameness, and with caution. */
export function renderDetect(d: Detect): string {
  const share = (x: number): string => `${formatNumber(100 * x, 3)} %`;
  const shown = (l: DetectLine, x: number): string => (l.margin.relative ? share(x) : showMetric(l.metric, x));
  const rows = d.lines.map((l) => [
    metricTitle(l.metric), l.margin.text, `${shown(l, l.spread.sd)} (${l.spread.df})`, repeats(l.difference), repeats(l.equivalence), repeats(l.cautious),
    l.reached === null ? '' : shown(l, l.reached),
  ]);
  return [
    colours.bold('Repeats needed'),
    `From the spread in ${d.from.length === 1 ? d.from[0] : `${d.from.length} campaigns`}: ${d.settings} settings, ${d.comparisons} comparison${d.comparisons === 1 ? '' : 's'} with one of them, chance of a wrong claim ${100 * d.alpha} % over all, chance to settle it ${100 * d.power} %.`,
    table(
      ['metric', 'margin', 'spread (df)', 'to see it', 'to rule it out', 'to see it, cautious', `${d.repeats} repeats see`],
      rows, ['left', 'right', 'right', 'right', 'right', 'right', 'right'],
    ),
    ...d.lines.flatMap((l) => (l.difference.ok ? [] : [colours.dim(`${metricTitle(l.metric)}: ${l.difference.why}`)])),
    colours.dim('Spread of one repeat inside a mounting; re-mounting adds to it where motors are compared.'),
    '',
  ].join('\n');
}

function repeats(answer: Answer): string {
  return answer.ok ? String(answer.repeats) : 'over 1000';
}
