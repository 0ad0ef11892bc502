// Use cases on one record: look at it, export it, repair it.
import { errorCode, FileProblem, isFolder } from '../host/files';
import { CannotRecord, NotARecord } from '../record/errors';
import type { ExportOptions } from '../record/export-table';
import { EXPORT_FORMATS, exportCsvText, exportRecord, type ExportFormat, type ExportResult } from '../record/file-export';
import { readRecordAndSum } from '../record/file-reader';
import { recoverRecord, type Recovery } from '../record/file-recover';
import { summarize, type RecordSummary } from '../record/summary';
import { BadInput } from './errors';

export { EXPORT_FORMATS };
export type { ExportFormat, ExportResult, RecordSummary, Recovery };

/** Whether a path names a campaign's folder rather than a record. */
export const isCampaign = (path: string): boolean => isFolder(path);

/** What a record holds. Throws {@link BadInput} when the file is missing or no record. */
export function showRecord(path: string): RecordSummary {
  return inputErrors(path, () => {
    const { record, sha256 } = readRecordAndSum(path);
    return summarize(record, sha256);
  });
}

/** Writes a record in another format. Throws {@link BadInput} when that cannot be done; existing files are never overwritten. */
export function exportFile(path: string, format: ExportFormat, to: string | undefined, options: ExportOptions): ExportResult {
  return inputErrors(path, () => exportRecord(path, format, to, options));
}

/** CSV of a record in pieces, for standard output. */
export function exportText(path: string, write: (text: string) => void, options: ExportOptions): void {
  inputErrors(path, () => exportCsvText(path, write, options));
}

/** Writes the usable part of a cut-off record to a new file. Throws {@link BadInput} when nothing can be recovered. */
export function recoverFile(path: string, to: string | undefined): Recovery {
  return inputErrors(path, () => recoverRecord(path, to));
}

/** Runs an action on a record; what is wrong with the file becomes {@link BadInput}. */
export function inputErrors<T>(path: string, action: () => T): T {
  try {
    return action();
  } catch (error) {
    if (error instanceof NotARecord || error instanceof CannotRecord || error instanceof FileProblem) {
      throw new BadInput([error.message.includes(path) ? error.message : `${path}: ${error.message}`], { cause: error });
    }
    const code = errorCode(error);
    if (code === 'ENOENT') throw new BadInput([`${path}: there is no such file`], { cause: error });
    if (code === 'EISDIR') throw new BadInput([`${path}: this is a folder; name one record (*.mcap) in its runs folder`], { cause: error });
    throw error;
  }
}
