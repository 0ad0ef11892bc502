// A record on disk. Nothing is ever overwritten; what is on disk always ends at a whole record of the format.
import { createHash, type Hash } from 'node:crypto';
import fs from 'node:fs';
import type { BenchEvent, RunOutcome } from '../model/events';
import type { SampleBlock } from '../model/sample';
import type { RunLog } from '../sequencer/ports';
import { CannotRecord } from './errors';
import { headerEntries, type RecordAttachment, type RunHeader } from './header';
import { RecordWriter, type WriterOptions } from './writer';

/** The calls a record makes on its file; tests pass a disk that fills up. */
export interface FileCalls {
  write(fd: number, bytes: Uint8Array, offset: number, length: number): number;
  truncate(fd: number, length: number): void;
  sync(fd: number): void;
}

export interface OpenOptions extends WriterOptions {
  /** When data is forced to the medium: after each flush, at outcome and end (default), or left to the operating system. */
  readonly sync?: 'flush' | 'end' | 'never';
  readonly calls?: FileCalls;
}

export interface ClosedRecord {
  readonly path: string;
  readonly sha256: string;
  readonly bytes: number;
  /** False when part of the run could not be written. */
  readonly complete: boolean;
}

export interface RecordFile extends RunLog {
  readonly path: string;
  /** First failure, null while all is well. */
  readonly failure: CannotRecord | null;
  /** Ends the file. Never throws because of a full disk; `complete` tells. */
  close(): ClosedRecord;
}

const REAL_CALLS: FileCalls = {
  write: (fd, bytes, offset, length) => fs.writeSync(fd, bytes, offset, length),
  truncate: (fd, length) => { fs.ftruncateSync(fd, length); },
  sync: (fd) => { fs.fdatasyncSync(fd); },
};

/**
 * Creates a record and writes its header. Throws {@link CannotRecord} when the file exists or cannot be written, and once more,
 * from the first call whose data could not be written. After that, samples are dropped; events, outcome and end are still tried.
 */
export function openRecord(path: string, header: RunHeader, attachments: readonly RecordAttachment[] = [], options: OpenOptions = {}): RecordFile {
  return new DiskRecord(path, header, attachments, options);
}

/** A file that takes whole writes: continues after short ones, and takes a failed one back. */
export class AppendFile {
  readonly #fd: number;
  readonly #hash: Hash = createHash('sha256');
  #bytes = 0;
  /** A failed write could not be taken back: nothing may be appended to it. */
  #torn = false;

  constructor(
    readonly path: string,
    private readonly calls: FileCalls = REAL_CALLS,
  ) {
    try {
      // Exclusive, and every write at the end, wherever the end is after a write was taken back.
      this.#fd = fs.openSync(path, 'ax');
    } catch (cause) {
      const code = codeOf(cause);
      const why = code === 'EEXIST' ? 'it exists, and records are never overwritten' : `the operating system says ${code || String(cause)}`;
      throw new CannotRecord(`${path}: cannot create the file: ${why}`, code, { cause });
    }
  }

  get bytes(): number {
    return this.#bytes;
  }

  append(bytes: Uint8Array): void {
    if (this.#torn) throw new CannotRecord(`${this.path}: an earlier write failed half way and could not be taken back`, '');
    try {
      for (let done = 0; done < bytes.length; ) {
        const n = this.calls.write(this.#fd, bytes, done, bytes.length - done);
        if (n <= 0) throw Object.assign(new Error(`the write of ${bytes.length - done} bytes took none`), { code: 'ENOSPC' });
        done += n;
      }
    } catch (cause) {
      const code = codeOf(cause);
      this.#takeBack();
      const why = code === 'ENOSPC' ? 'the disk is full' : `the operating system says ${code || String(cause)}`;
      throw new CannotRecord(`${this.path}: cannot write after ${this.#bytes} bytes: ${why}; what was written before stays readable`, code, { cause });
    }
    this.#bytes += bytes.length;
    this.#hash.update(bytes);
  }

  /** Cuts the file to its last whole append. When that fails too, readers still cope with the torn end. */
  #takeBack(): void {
    try {
      this.calls.truncate(this.#fd, this.#bytes);
    } catch {
      this.#torn = true;
    }
  }

  /** Forces what was written to the medium. */
  sync(): void {
    try {
      this.calls.sync(this.#fd);
    } catch (cause) {
      const code = codeOf(cause);
      throw new CannotRecord(`${this.path}: the medium did not confirm ${this.#bytes} bytes: the operating system says ${code || String(cause)}`, code, { cause });
    }
  }

  /** Closes the file. Returns the SHA-256 of what was appended, in hexadecimal. */
  close(): string {
    fs.closeSync(this.#fd);
    return this.#hash.digest('hex');
  }

  /** Closes and removes a file that never became a record. */
  discard(): void {
    fs.closeSync(this.#fd);
    fs.rmSync(this.path);
  }
}

class DiskRecord implements RecordFile {
  readonly #file: AppendFile;
  readonly #writer: RecordWriter;
  readonly #sync: 'flush' | 'end' | 'never';
  #failure: CannotRecord | null = null;
  #closed: ClosedRecord | null = null;

  constructor(readonly path: string, header: RunHeader, attachments: readonly RecordAttachment[], options: OpenOptions) {
    headerEntries(header); // a bad header must not leave a file behind
    this.#sync = options.sync ?? 'end';
    this.#file = new AppendFile(path, options.calls);
    try {
      this.#writer = new RecordWriter(header, attachments, (bytes) => { this.#file.append(bytes); }, options);
    } catch (error) {
      this.#file.discard();
      throw error;
    }
  }

  get failure(): CannotRecord | null {
    return this.#failure;
  }

  block(block: SampleBlock): void {
    if (this.#failure === null) this.#guard(() => { this.#writer.block(block); });
  }

  event(event: BenchEvent): void {
    this.#guard(() => { this.#writer.event(event); });
  }

  outcome(outcome: RunOutcome): void {
    this.#guard(() => {
      this.#writer.outcome(outcome);
      if (this.#sync === 'end') this.#file.sync();
    });
  }

  close(): ClosedRecord {
    if (this.#closed !== null) return this.#closed;
    try {
      this.#writer.finish();
      if (this.#sync !== 'never') this.#file.sync();
    } catch (error) {
      if (!(error instanceof CannotRecord)) throw error;
      this.#failure ??= error;
    }
    const bytes = this.#file.bytes;
    this.#closed = { path: this.path, sha256: this.#file.close(), bytes, complete: this.#failure === null };
    return this.#closed;
  }

  /** The first failure is thrown, later ones are the same news. */
  #guard(action: () => void): void {
    if (this.#closed !== null) throw new Error(`${this.path}: the record is closed`);
    try {
      const before = this.#file.bytes;
      action();
      if (this.#sync === 'flush' && this.#file.bytes > before) this.#file.sync();
    } catch (error) {
      if (!(error instanceof CannotRecord)) throw error;
      if (this.#failure !== null) return;
      this.#failure = error;
      throw error;
    }
  }
}

function codeOf(error: unknown): string {
  return error instanceof Error && 'code' in error && typeof error.code === 'string' ? error.code : '';
}
