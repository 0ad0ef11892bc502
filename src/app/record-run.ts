// One record, read piece by piece from its file straight into samples: nothing of it is in memory twice.
import type { RunData } from '../analysis/run-data';
import type { BenchEvent, RunOutcome } from '../model/events';
import { readPieces } from '../record/file-reader';
import type { RecordAttachment, RunHeader } from '../record/header';
import { RecordDecoder } from '../record/reader';
import { runDataFrom, type RecordFacts } from './run-data';
import { LONGEST_COLUMN, type ColumnMemory } from './number-column';
import { SampleCollector } from './run-samples';

export interface RecordRun extends RecordFacts {
  readonly attachments: readonly RecordAttachment[];
  readonly sha256: string;
  /** The run for analysis; call it once. Throws NothingToAnalyze when header or rows are missing. */
  readonly data: () => RunData;
}

/**
 * Reads a record. Throws NotARecord for other files, and the system's error for none.
 * @param longest most samples of a channel that are held as they came; see {@link LONGEST_COLUMN}
 * @param memory where the samples are held; new memory unless given
 */
export function readRun(path: string, longest = LONGEST_COLUMN, memory?: ColumnMemory): RecordRun {
  let header: RunHeader | null = null;
  let outcome: RunOutcome | null = null;
  let samples: SampleCollector | null = null;
  const events: BenchEvent[] = [];
  const attachments: RecordAttachment[] = [];
  const decoder = new RecordDecoder({
    header: (found, groups) => {
      header = found;
      samples = new SampleCollector(groups, longest, memory);
    },
    columns: (group, columns) => samples?.take(group, columns),
    attachment: (a) => attachments.push(a),
    event: (e) => events.push(e),
    outcome: (o) => { outcome = o; },
  });
  const sha256 = readPieces(path, (piece) => { decoder.push(piece); });
  const facts: RecordFacts = { header, events, outcome, end: decoder.end() };
  return { ...facts, attachments, sha256, data: () => runDataFrom(facts, samples?.finish() ?? null) };
}
