// Repair of a record on disk. The original is only read.
import fs from 'node:fs';
import { AppendFile } from './file-writer';
import { readPieces } from './file-reader';
import { CannotRecord, NotARecord } from './errors';
import { RecordDecoder, type RecordEnd, type RecoveredMark } from './reader';
import { mcapHeader, RecordRepair } from './recover';

export interface Recovery {
  /** The new file, or null when the original is whole and nothing was written. */
  readonly path: string | null;
  readonly sha256: string;
  /** What the original looked like. */
  readonly original: RecordEnd;
  readonly rows: number;
  readonly chunks: number;
  /** One sentence for a person. */
  readonly detail: string;
}

/** Name of the recovered file, next to the original: `x.mcap` → `x.recovered.mcap`. */
export function recoveredPath(path: string): string {
  return path.replace(/(\.mcap)?$/, '.recovered.mcap');
}

/**
 * Writes everything usable of a cut-off record to a new file and reads that file back before it reports success.
 * Throws NotARecord when there is no header to recover, CannotRecord when the new file exists, cannot be written or does not
 * read back as expected.
 */
export function recoverRecord(path: string, to: string = recoveredPath(path)): Recovery {
  const before = survey(path);
  if (!before.hasHeader) throw new NotARecord(`${path}: nothing to recover: the file was cut off before its header was complete (${before.end.bytes} bytes)`);
  if (before.end.status === 'complete') {
    return { path: null, sha256: before.sha256, original: before.end, rows: before.rows, chunks: before.end.chunks, detail: `${path} is complete; nothing to do` };
  }
  const mark: RecoveredMark = before.end.recovered ?? { used_bytes: before.end.used_bytes, original_bytes: before.end.bytes, original_sha256: before.sha256 };
  const sha256 = writeRepaired(path, to, mark);
  const after = survey(to);
  const { end } = after;
  const same = end.closed && end.problems.length === 0 && end.chunks === before.end.chunks && after.rows === before.rows && after.messages === before.messages;
  if (!same || after.sha256 !== sha256) {
    throw new CannotRecord(`${to}: the recovered file does not read back as expected (${after.rows} of ${before.rows} rows, ${end.chunks} of ${before.end.chunks} chunks; ${end.detail}); do not rely on it, the original is untouched`, '');
  }
  const detail = `${to}: ${after.rows} rows in ${end.chunks} chunks recovered from ${before.end.used_bytes} of ${before.end.bytes} bytes; marked as cut off`;
  return { path: to, sha256, original: before.end, rows: after.rows, chunks: end.chunks, detail };
}

function writeRepaired(path: string, to: string, mark: RecoveredMark): string {
  const file = new AppendFile(to);
  let closed = false;
  try {
    const header = mcapHeader(firstBytes(path)) ?? { profile: '', library: '' };
    const repair = new RecordRepair((bytes) => { file.append(bytes); }, header.profile, header.library, mark);
    readPieces(path, (piece) => { repair.push(piece); });
    repair.finish();
    file.sync();
    closed = true;
    return file.close();
  } finally {
    if (!closed) file.discard();
  }
}

interface Survey {
  readonly end: RecordEnd;
  readonly hasHeader: boolean;
  readonly rows: number;
  /** Events and outcomes. */
  readonly messages: number;
  readonly sha256: string;
}

function survey(path: string): Survey {
  let hasHeader = false;
  let rows = 0;
  let messages = 0;
  const decoder = new RecordDecoder({
    header: () => { hasHeader = true; },
    batch: (group, batch) => { if (group.is_rows) rows += batch.rows; },
    event: () => { messages++; },
    outcome: () => { messages++; },
  });
  const sha256 = readPieces(path, (piece) => { decoder.push(piece); });
  return { end: decoder.end(), hasHeader, rows, messages, sha256 };
}

/** Enough of the file for its MCAP header. */
function firstBytes(path: string): Uint8Array {
  const fd = fs.openSync(path, 'r');
  try {
    const start = new Uint8Array(4096);
    return start.subarray(0, fs.readSync(fd, start));
  } finally {
    fs.closeSync(fd);
  }
}
