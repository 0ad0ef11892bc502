// A closed file out of one that was cut off: every whole chunk, and the summary that random access needs. Pure; see file-recover.ts.
import { McapConstants, McapStreamReader, type McapTypes } from '@mcap/core';
import { METADATA_RECOVERED } from './layout';
import { type ByteSink, McapOut } from './mcap-out';
import type { RecoveredMark } from './reader';
import { decompressHandlers } from './zstd';

/**
 * Copies the usable part of a record, given piece by piece, to a sink, with a mark that it was recovered.
 * Definitions come first and messages keep their bytes, times and chunks; only sequence numbers are counted anew.
 */
export class RecordRepair {
  readonly #stream = new McapStreamReader({ includeChunks: true, decompressHandlers });
  readonly #out: McapOut;
  #declared = new Set<string>();
  #headOpen = true;
  #dead = false;

  constructor(sink: ByteSink, profile: string, library: string, mark: RecoveredMark) {
    this.#out = new McapOut(sink, profile, library);
    this.#out.metadata(METADATA_RECOVERED, new Map(Object.entries(mark).map(([key, value]) => [key, String(value)])));
  }

  push(bytes: Uint8Array): void {
    if (this.#dead || this.#stream.done()) return;
    for (const record of this.#records(bytes)) this.#copy(record);
  }

  /** Writes the last chunk and the summary. */
  finish(): void {
    this.#closeHead();
    this.#out.finish();
  }

  /** Records up to the first damage; the reader that made the mark has already reported it. */
  *#records(bytes: Uint8Array): Generator<McapTypes.TypedMcapRecord> {
    try {
      this.#stream.append(bytes);
      for (let r = this.#stream.nextRecord(); r !== undefined; r = this.#stream.nextRecord()) yield r;
    } catch {
      this.#dead = true;
    }
  }

  #copy(record: McapTypes.TypedMcapRecord): void {
    switch (record.type) {
      case 'Schema':
        if (this.#first(`schema ${record.id}`)) this.#out.schema(record);
        break;
      case 'Channel':
        if (this.#first(`channel ${record.id}`)) this.#out.channel(record);
        break;
      case 'Metadata':
        if (record.name !== METADATA_RECOVERED) this.#out.metadata(record.name, record.metadata);
        break;
      case 'Attachment':
        this.#out.attachment(record);
        break;
      case 'Chunk':
        this.#closeHead();
        this.#out.flushChunk();
        break;
      case 'Message':
        this.#closeHead();
        this.#out.message(record.channelId, record.logTime, record.publishTime, record.data);
        break;
      default: // headers, indexes and statistics are made anew
    }
  }

  /** The summary repeats definitions; each is written once. */
  #first(name: string): boolean {
    if (this.#declared.has(name)) return false;
    this.#declared.add(name);
    return true;
  }

  #closeHead(): void {
    if (this.#headOpen) this.#out.flushHead();
    this.#headOpen = false;
  }
}

/** MCAP header of a file from its first bytes: profile and library, to be carried over. Null when it is not whole. */
export function mcapHeader(start: Uint8Array): McapTypes.Header | null {
  if (start.length < McapConstants.MCAP_MAGIC.length) return null;
  try {
    const stream = new McapStreamReader();
    stream.append(start);
    const first = stream.nextRecord();
    return first?.type === 'Header' ? { profile: first.profile, library: first.library } : null;
  } catch {
    return null;
  }
}
