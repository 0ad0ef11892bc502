// Use case: results.json and a few records of a campaign folder become one page.
import type { Results, ResultRun } from '../model/results';
import { readRecordAndSum } from '../record/file-reader';
import { gzipBase64, renderReport, zoomCode, type ReportExtras, type Trace, type TraceSeries } from '../report';
import type { RunData, RunChannel } from '../analysis/run-data';
import { exists, FileProblem, join, readText, writeNew } from '../host/files';
import type { ChannelKind } from '../model/channel';
import { convert } from '../units';
import { BadInput } from './errors';
import { factsOfHeader } from './report-facts';
import { readResults } from './result-files';
import { NothingToAnalyze, runDataOf } from './run-data';
import { SPOOLBENCH_VERSION } from './version';

export const REPORT_FILE = 'report.html';
/** Left-out runs shown as traces, at most. */
const LEFT_OUT = 2;

export interface WrittenReport {
  readonly path: string;
  readonly bytes: number;
  /** False when the same report was there already. */
  readonly isNew: boolean;
  readonly campaign: string;
  readonly simulated: boolean;
  /** Records that should have been shown and cannot be, with the reason. */
  readonly remarks: readonly string[];
}

/**
 * Writes the report of a campaign folder. Never overwrites: a second, different report is report-2.html.
 * @param out file to write instead of report.html in the folder
 * @throws BadInput when there is no results.json, it is not what `analyze` writes, or the file cannot be written
 */
export function reportFolder(folder: string, out?: string): WrittenReport {
  return writeReport(folder, readResults(folder), out);
}

/** As {@link reportFolder} for results that are at hand. */
export function writeReport(folder: string, results: Results, out?: string): WrittenReport {
  const { extras, remarks } = extrasOf(folder, results);
  const text = renderReport(results, extras);
  const { path, isNew } = placeFor(folder, text, out);
  try {
    if (isNew) writeNew(path, text);
  } catch (error) {
    if (error instanceof FileProblem) throw new BadInput([error.message], { cause: error });
    throw error;
  }
  return { path, bytes: Buffer.byteLength(text), isNew, campaign: results.campaign, simulated: results.simulated, remarks };
}

/** The file named, or the first free name; a file with the very same text is not written again. */
function placeFor(folder: string, text: string, out: string | undefined): { path: string; isNew: boolean } {
  if (out !== undefined) return { path: out, isNew: true };
  for (let n = 1; ; n++) {
    const path = join(folder, n === 1 ? REPORT_FILE : REPORT_FILE.replace('.', `-${n}.`));
    if (!exists(path)) return { path, isNew: true };
    if (readText(path) === text) return { path, isNew: false };
  }
}

/** Facts of the bench out of the first readable record, and the traces. One record in memory at a time. */
function extrasOf(folder: string, results: Results): { extras: ReportExtras; remarks: string[] } {
  const remarks: string[] = [];
  const traces: Trace[] = [];
  let facts: ReportExtras['facts'] = [];
  for (const { run, why } of runsToShow(results)) {
    const path = join(folder, run.file ?? '');
    try {
      const { record, sha256 } = readRecordAndSum(path);
      if (run.sha256 !== null && run.sha256 !== '' && sha256 !== run.sha256) throw new NothingToAnalyze('the record is not the one that was analyzed (its SHA-256 differs)');
      if (facts.length === 0 && record.header !== null && run.status === 'used') facts = factsOfHeader(record.header);
      traces.push(traceOf(runDataOf(record), run, why, results, sha256));
    } catch (error) {
      remarks.push(`${run.file ?? run.id}: no trace is shown: ${error instanceof Error ? error.message : String(error)}`);
    }
  }
  return { extras: { writer: `Spoolbench ${SPOOLBENCH_VERSION}`, facts, traces, zoom: traces.length === 0 ? null : zoomCode(), pack: gzipBase64 }, remarks };
}

/** The first used run of the chosen setting and of the baseline for every protocol, then a few that were left out. */
function runsToShow({ runs, choice, baseline }: Results): { run: ResultRun; why: string }[] {
  const labels = [...new Set(runs.map((r) => r.label))];
  const chosen = choice?.chosen ?? null;
  const settings: { id: string; why: string }[] = [];
  if (chosen !== null) settings.push({ id: chosen, why: chosen === baseline ? 'chosen setting, the baseline' : 'chosen setting' });
  if (baseline !== null && baseline !== chosen) settings.push({ id: baseline, why: 'baseline' });
  const first = runs.find((r) => r.status === 'used');
  if (settings.length === 0 && first !== undefined) settings.push({ id: first.setting, why: 'first setting' });
  const good = labels.flatMap((label) => settings.flatMap(({ id, why }) => {
    const run = runs.find((r) => r.label === label && r.setting === id && r.status === 'used' && r.file !== null);
    return run === undefined ? [] : [{ run, why }];
  }));
  const bad = runs.filter((r) => r.status === 'left-out' && r.file !== null).slice(0, LEFT_OUT).map((run) => ({ run, why: 'left out' }));
  return [...good, ...bad];
}

/** Quantities of a trace in the order in which they are drawn. */
const SHOWN: readonly { readonly kind: ChannelKind; readonly name: string; readonly unit: string; readonly of: (v: number) => number }[] = [
  { kind: 'speed', name: 'Speed', unit: 'rpm', of: (v) => v },
  { kind: 'thrust', name: 'Thrust', unit: 'gf', of: (v) => convert(v, 'force', 'gf') },
  { kind: 'current', name: 'Current', unit: 'A', of: (v) => v },
  { kind: 'voltage', name: 'Voltage', unit: 'V', of: (v) => v },
  { kind: 'motor_temperature', name: 'Motor case', unit: '°C', of: (v) => v },
];

function traceOf(data: RunData, run: ResultRun, why: string, { settings }: Results, sha256: string): Trace {
  const throttle: TraceSeries = { name: 'Throttle', unit: '%', t_s: data.throttle.t_s, value: data.throttle.value.map((v) => 100 * v) };
  const measured = SHOWN.flatMap(({ kind, name, unit, of }): TraceSeries[] => {
    const channel: RunChannel | undefined = data.channels.find((c) => c.kind === kind);
    return channel === undefined || channel.value.length === 0 ? [] : [{ name, unit, t_s: channel.t_s, value: channel.value.map(of) }];
  });
  return {
    run: run.id, why, setting: settings.find((s) => s.id === run.setting)?.text ?? run.setting, label: run.label, sha256, series: [throttle, ...measured],
    segments: data.segments.map((s) => ({ t_s: s.start_s, label: s.segment.label })),
  };
}
