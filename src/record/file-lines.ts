// A file of lines that is only ever appended to: each line is on the medium before the call returns.
import fs from 'node:fs';
import { CannotRecord } from './errors';

/** Whole text of a file of lines; one that does not exist is empty. */
export function readLines(path: string): string {
  try {
    return fs.readFileSync(path, 'utf8');
  } catch (error) {
    if (error instanceof Error && 'code' in error && error.code === 'ENOENT') return '';
    throw error;
  }
}

/** Appends lines, to a new file or an old one. After a line that was cut off it starts a new one: the cut line stays as evidence. */
export class LineFile {
  readonly #fd: number;
  #needsNewLine: boolean;

  /** @param sync forces what was written to the medium; left out: fsync. */
  constructor(readonly path: string, private readonly sync: (fd: number) => void = fs.fsyncSync) {
    const text = readLines(path);
    this.#needsNewLine = text !== '' && !text.endsWith('\n');
    this.#fd = fs.openSync(path, 'a');
  }

  /**
   * @param line with its line break
   * @throws CannotRecord when the line could not be put on the medium; the next one then starts on a line of its own
   */
  append(line: string): void {
    const bytes = Buffer.from((this.#needsNewLine ? '\n' : '') + line);
    this.#needsNewLine = true;
    try {
      for (let done = 0; done < bytes.length; ) done += fs.writeSync(this.#fd, bytes, done);
      this.sync(this.#fd);
    } catch (cause) {
      const code = cause instanceof Error && 'code' in cause ? String(cause.code) : '';
      throw new CannotRecord(`${this.path}: a line could not be written: the operating system says ${code || String(cause)}`, code, { cause });
    }
    this.#needsNewLine = false;
  }

  close(): void {
    fs.closeSync(this.#fd);
  }
}
