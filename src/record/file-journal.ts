// The journal on disk: each entry is on the medium before the call returns.
import fs from 'node:fs';
import { CannotRecord } from './errors';
import { type Journal, type JournalEntry, journalLine, parseJournal } from './journal';

/** Reads a journal; one that does not exist is empty. */
export function readJournal(path: string): Journal {
  try {
    return parseJournal(fs.readFileSync(path, 'utf8'));
  } catch (error) {
    if (error instanceof Error && 'code' in error && error.code === 'ENOENT') return parseJournal('');
    throw error;
  }
}

/** Appends entries to a journal, new or old. After a cut-off line it starts a new one, so that the cut line stays as evidence. */
export class JournalFile {
  readonly #fd: number;
  #needsNewLine: boolean;

  constructor(readonly path: string) {
    this.#needsNewLine = readJournal(path).open_ended;
    this.#fd = fs.openSync(path, 'a');
  }

  /** Throws CannotRecord when the entry could not be put on the medium; the next entry then starts on a line of its own. */
  append(entry: JournalEntry): void {
    const bytes = Buffer.from((this.#needsNewLine ? '\n' : '') + journalLine(entry));
    this.#needsNewLine = true;
    try {
      for (let done = 0; done < bytes.length; ) done += fs.writeSync(this.#fd, bytes, done);
      fs.fsyncSync(this.#fd);
    } catch (cause) {
      const code = cause instanceof Error && 'code' in cause ? String(cause.code) : '';
      throw new CannotRecord(`${this.path}: the entry "${entry.entry}" could not be written: the operating system says ${code || String(cause)}`, code, { cause });
    }
    this.#needsNewLine = false;
  }

  close(): void {
    fs.closeSync(this.#fd);
  }
}
