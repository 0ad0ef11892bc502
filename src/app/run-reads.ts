// What analysis takes from each record file: its description and, when it is whole and planned, its metrics.
import type { RecordNote } from '../analysis/campaign/select';
import { runMetrics, type RunMetrics } from '../analysis/metrics/run-metrics';
import type { JsonObject } from '../record/header';
import { LONGEST_COLUMN, ReusedMemory } from './number-column';
import { readRun, type RecordRun } from './record-run';
import { NothingToAnalyze } from './run-data';

/** What one file gave. Plain data, so that another thread can hand it over. */
export interface RunRead {
  readonly note: RecordNote;
  /** Empty when the file could not be read. */
  readonly sha256: string;
  /** Null unless the record is complete, ended as done, and its run is planned. */
  readonly metrics: RunMetrics | null;
}

/** A file to read: where it is, and its name in notes. */
export interface RunFile {
  readonly path: string;
  readonly name: string;
}

/** Of metrics nothing points into the samples of their run, so one run's memory serves the next. */
const memory = new ReusedMemory();

/** Reads one file. Whatever is wrong with it ends up in its note. */
export function readOneRun({ path, name }: RunFile, planned: ReadonlySet<string>): RunRead {
  const unreadable = (problem: string, sha256 = ''): RunRead =>
    ({ note: { file: name, record_id: null, campaign: null, version: null, status: 'unreadable', outcome: null, problem }, sha256, metrics: null });
  let run: RecordRun;
  memory.reuse();
  try {
    run = readRun(path, LONGEST_COLUMN, memory);
  } catch (error) {
    return unreadable(error instanceof Error ? error.message : String(error));
  }
  const { header, end, outcome, sha256 } = run;
  if (header === null) return unreadable(end.detail, sha256);
  const note: RecordNote = {
    file: name, record_id: header.record_id, campaign: textIn(header.campaign, 'name'), version: header.versions.spoolbench, status: end.status,
    outcome: outcome?.outcome ?? null, problem: end.status === 'complete' ? (outcome?.outcome === 'done' ? '' : outcome?.detail ?? '') : end.detail,
  };
  const good = end.status === 'complete' && outcome?.outcome === 'done' && planned.has(header.record_id);
  try {
    return { note, sha256, metrics: good ? runMetrics(run.data()) : null };
  } catch (error) {
    if (error instanceof NothingToAnalyze) return { note: { ...note, status: 'damaged', problem: error.message }, sha256, metrics: null };
    throw error;
  }
}

/** A text member of a JSON object; null when there is none. */
export function textIn(object: JsonObject | null, key: string): string | null {
  const value = object?.[key];
  return typeof value === 'string' ? value : null;
}
