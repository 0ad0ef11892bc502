// A campaign's status as text for a terminal.
import colours from 'picocolors';
import { showMetric, metricTitle } from '../app/figures';
import { shownMetrics, type CampaignStatus } from '../app/status';
import { soFarLines } from './so-far-text';
import { duration, table } from './text';

export function renderStatus(s: CampaignStatus): string {
  const state = s.state === 'complete' || s.state === 'running' ? colours.green(s.state) : colours.yellow(s.state);
  const out = [
    `${colours.bold(s.campaign)}: ${state}${s.process === null ? '' : ` (process ${s.process})`}${s.why === '' ? '' : `: ${s.why}`}`,
    `${s.good} of ${s.of} runs good${s.skipped > 0 ? `, ${s.skipped} skipped` : ''}${othersIn(s)}`,
  ];
  if (s.run !== null) {
    out.push(
      `Run ${s.run.index}: ${s.run.label}, ${s.run.setting_text}, ${s.mountings > 1 ? `mounting ${s.run.mounting} of ${s.mountings}, ` : ''}repeat ${s.run.repeat}, block ${s.run.block}${s.run.attempts > 1 ? `, attempt ${s.run.attempts}` : ''}`,
      `Bench time left about ${duration(s.left_s)}; ${handsLine(s)}`,
    );
  }
  if (s.last_entry_at !== null) out.push(colours.dim(`Last line of the journal: ${s.last_entry_at}`));
  if (s.unreadable_lines.length > 0) out.push(colours.dim(`Lines of the journal that were cut off: ${s.unreadable_lines.join(', ')}`));
  if (s.state === 'interrupted') out.push('Nobody works in the folder: go on with `spoolbench run FILE --resume`.');
  if (s.state === 'held') out.push('It waits for a person: see to the cause, then `spoolbench run FILE --resume`.');
  if (s.so_far !== null) out.push('', ...soFarLines(s.so_far));
  out.push('', figureTable(s));
  return `${out.join('\n')}\n`;
}

function othersIn(s: CampaignStatus): string {
  const bad = Object.entries(s.outcomes).filter(([outcome]) => outcome !== 'done').map(([outcome, n]) => `${n} ${outcome}`);
  return bad.length === 0 ? '' : `; not good at their last attempt: ${bad.join(', ')}`;
}

function handsLine(s: CampaignStatus): string {
  if (s.next_hands === null) return 'no more hands needed.';
  const { run, in_s, what } = s.next_hands;
  return `hands needed ${in_s < 1 ? 'now' : `in about ${duration(in_s)}`}, before run ${run}: ${what.join(', ')}.`;
}

/** Latest figure and mean so far of each setting. No verdicts: those need `analyze`. */
function figureTable(s: CampaignStatus): string {
  const names = shownMetrics(s);
  const rows = s.settings.map((row) => [
    row.text, row.skipped ? 'skipped' : `${row.good}/${row.of}`,
    ...names.map((name) => {
      const f = row.figures[name];
      return f === undefined ? '' : `${showMetric(name, f.latest)} (${showMetric(name, f.mean)})`;
    }),
  ]);
  const text = table(['setting', 'good', ...names.map(metricTitle)], rows, ['left', 'right', ...names.map(() => 'right' as const)]);
  return names.length === 0 ? text : `${text}\n${colours.dim('latest (mean of the repeats so far)')}`;
}
