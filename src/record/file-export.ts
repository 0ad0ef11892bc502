// Exports from disk to disk, a chunk at a time. Existing files are never overwritten.
import type { BenchEvent } from '../model/events';
import type { SampleBlock } from '../model/sample';
import { NotARecord } from './errors';
import { csvHeading, csvLines } from './export-csv';
import { ParquetExport } from './export-parquet';
import { type ExportOptions, ExportTable } from './export-table';
import { streamRecord } from './file-reader';
import { AppendFile } from './file-writer';
import type { RunHeader } from './header';
import type { RecordEnd } from './reader';
import { RowMerger } from './timeline';

export const EXPORT_FORMATS = ['csv', 'parquet'] as const;
export type ExportFormat = (typeof EXPORT_FORMATS)[number];

export interface ExportResult {
  readonly path: string;
  readonly rows: number;
  readonly bytes: number;
  readonly sha256: string;
  /** How the record ended: an export of a cut-off one holds what was usable. */
  readonly end: RecordEnd;
}

/** Default name of an export: next to the record, `x.mcap` → `x.csv`. */
export function exportPath(record: string, format: ExportFormat): string {
  return record.replace(/(\.mcap)?$/, `.${format}`);
}

/**
 * Writes a record as CSV or Parquet. Throws NotARecord when there is no header to tell the channels, CannotRecord when the file
 * exists or cannot be written; a file that failed half way is removed.
 */
export function exportRecord(record: string, format: ExportFormat, to: string = exportPath(record, format), options: ExportOptions = {}): ExportResult {
  const { header, table, end } = prepare(record, options);
  const file = new AppendFile(to);
  let rows = 0;
  let closed = false;
  try {
    if (format === 'csv') {
      const utf8 = new TextEncoder();
      rows = writeCsv(record, header, table, (text) => { file.append(utf8.encode(text)); });
    } else {
      const notes = { status: end.status, ends: end.detail };
      const parquet = new ParquetExport(table, header, (bytes) => { file.append(bytes); }, notes);
      rows = eachBlock(record, header, (block) => { parquet.rows(block); });
      parquet.finish();
    }
    const { bytes } = file;
    closed = true;
    return { path: to, rows, bytes, sha256: file.close(), end };
  } finally {
    if (!closed) file.discard();
  }
}

/** CSV text in pieces, e.g. for standard output. */
export function exportCsvText(record: string, write: (text: string) => void, options: ExportOptions = {}): Omit<ExportResult, 'path' | 'bytes' | 'sha256'> {
  const { header, table, end } = prepare(record, options);
  return { rows: writeCsv(record, header, table, write), end };
}

function writeCsv(record: string, header: RunHeader, table: ExportTable, write: (text: string) => void): number {
  write(csvHeading(table));
  return eachBlock(record, header, (block) => { write(csvLines(table, block)); });
}

/** First pass: header, names of the segments, how the record ends. */
function prepare(record: string, options: ExportOptions): { header: RunHeader; table: ExportTable; end: RecordEnd } {
  let header: RunHeader | undefined;
  const events: BenchEvent[] = [];
  const end = streamRecord(record, { header: (h) => { header = h; }, event: (e) => events.push(e) });
  if (header === undefined) throw new NotARecord(`${record}: nothing to export: ${end.detail}`);
  return { header, table: new ExportTable(header, events, options), end };
}

function eachBlock(record: string, header: RunHeader, take: (block: SampleBlock) => void): number {
  const merger = new RowMerger(header);
  let rows = 0;
  streamRecord(record, {
    batch: (group, batch) => {
      const block = merger.take(group, batch);
      if (block === null) return;
      rows += block.rows;
      take(block);
    },
  });
  return rows;
}
