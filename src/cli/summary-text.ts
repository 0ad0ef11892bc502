// The end of a campaign as text: one line a setting, where the records are, why it stopped.
import colours from 'picocolors';
import { HEADLINES, metricTitle, showMetric } from '../app/figures';
import type { RunSummary } from '../app/run-file';
import type { RunResults } from '../app/run-results';
import { simulatedBadge, tables, wrap } from './text';

/** Figures per setting as means over the good repeats; no verdicts. `width`: columns of the terminal, Infinity for a pipe. */
export function renderSummary(summary: RunSummary, width: number): string {
  const shown = HEADLINES.filter((name) => summary.figures.some((row) => row.figures[name] !== undefined));
  const rows = summary.figures.map((row) => [row.text, ...shown.map((name) => {
    const figure = row.figures[name];
    return figure === undefined ? '' : showMetric(name, figure.mean);
  })]);
  const out = [''];
  if (shown.length > 0) {
    out.push(
      `${colours.bold(summary.campaign)}: means over good runs ${summary.simulated ? simulatedBadge() : ''}`.trimEnd(),
      tables(['setting', ...shown.map(metricTitle)], rows, ['left', ...shown.map(() => 'right' as const)], width), '',
    );
  }
  out.push(`${summary.good} of ${summary.planned} runs good${summary.skipped > 0 ? `, ${summary.skipped} skipped` : ''}. Records: ${summary.folder}`);
  if (summary.stopped !== null) out.push(colours.red(wrap(`Stopped before the end: ${summary.stopped}`, width, '  ')));
  if (summary.outcomes.includes('stop-unconfirmed')) {
    out.push(colours.inverse(colours.red(' STOP NOT CONFIRMED: nothing shows that the motor stands still. CUT THE POWER before anybody comes near. ')));
  }
  return `${out.join('\n')}\n`;
}

/** The answer, and where results and report are. */
export function renderEnding({ answer, results, report }: RunResults, width: number): string {
  return `\n${answer.map((s) => wrap(s, Math.min(width, 100), '')).join('\n')}\n\nResults: ${results}\nReport: ${report}\n`;
}
