// Reads a record from any prefix of its bytes. Pure; see file-reader.ts for files.
import { McapConstants, McapStreamReader, type McapTypes } from '@mcap/core';
import type { BenchEvent, RunOutcome } from '../model/events';
import { decodeBatch, type GroupBatch } from './batch';
import { BatchReader, type BatchColumns } from './batch-reader';
import { DataSum } from './data-sum';
import { NotARecord } from './errors';
import { headerFrom, type RecordAttachment, type RunHeader } from './header';
import { METADATA_PREFIX, METADATA_RECOVERED, rateGroups, type RateGroup, TOPIC_EVENTS, TOPIC_LINK, TOPIC_OUTCOME } from './layout';
import { decompressHandlers } from './zstd';

/** What `recover` left in a file about the one it came from. */
export interface RecoveredMark {
  /** Bytes of the original that were used, and that it had. */
  readonly used_bytes: number;
  readonly original_bytes: number;
  readonly original_sha256: string;
}

/** Called in the order of the file. Slow groups of a chunk come before its rows. */
export interface RecordHandlers {
  header?(header: RunHeader, groups: readonly RateGroup[]): void;
  attachment?(attachment: RecordAttachment): void;
  batch?(group: RateGroup, batch: GroupBatch): void;
  /** Instead of `batch`: the same rows in memory that the next batch overwrites. */
  columns?(group: RateGroup, columns: BatchColumns): void;
  event?(event: BenchEvent): void;
  outcome?(outcome: RunOutcome): void;
}

/**
 * How a record ends. `complete` only when the file was closed, has an outcome, was not patched up by `recover` and matches its
 * checksums. `damaged` is worse than cut off: bytes were altered.
 */
export interface RecordEnd {
  readonly status: 'complete' | 'cut-off' | 'damaged';
  /** What is missing, in words; empty when complete. */
  readonly detail: string;
  readonly has_outcome: boolean;
  /** The end of the format was found: summary, footer, end magic. */
  readonly closed: boolean;
  readonly chunks: number;
  readonly bytes: number;
  /** Bytes up to the end of the last whole record of the format. */
  readonly used_bytes: number;
  /** Device time of the last row, microseconds; null when there is none. */
  readonly last_tick_us: number | null;
  readonly recovered: RecoveredMark | null;
  /** Damage other than a cut, each with its place. */
  readonly problems: readonly string[];
}

/**
 * Takes the bytes of a record piece by piece. A cut is no error: {@link RecordDecoder.end} says where it is.
 * Throws {@link NotARecord} when the bytes do not start like an MCAP file.
 */
export class RecordDecoder {
  readonly #stream = new McapStreamReader({ includeChunks: true, decompressHandlers });
  readonly #entries = new Map<string, string>();
  readonly #topics = new Map<number, string>();
  readonly #groups = new Map<string, RateGroup>();
  readonly #readers = new Map<string, BatchReader>();
  readonly #problems: string[] = [];
  readonly #sum = new DataSum();
  #start = new Uint8Array(0);
  #header: RunHeader | null = null;
  #recovered: RecoveredMark | null = null;
  #outcome = false;
  #chunks = 0;
  #bytes = 0;
  #used = 0;
  #stopped = false;
  #last_us: number | null = null;

  constructor(private readonly handlers: RecordHandlers) {}

  push(bytes: Uint8Array): void {
    this.#checkStart(bytes);
    this.#bytes += bytes.length;
    if (this.#stopped || this.#stream.done()) return;
    let inChunk = false;
    try {
      this.#stream.append(bytes);
      for (let record = this.#stream.nextRecord(); record !== undefined; record = this.#stream.nextRecord()) {
        inChunk = record.type === 'Chunk';
        const end = this.#bytes - this.#stream.bytesRemaining();
        if (record.type === 'DataEnd') this.#checkSum(record.dataSectionCrc, end, bytes);
        this.#take(record);
        if (inChunk) this.#chunks++;
        else this.#used = end;
      }
    } catch (cause) {
      if (inChunk) this.#chunks--; // its content could not be had
      this.#stopped = true;
      this.#problem(`after byte ${this.#used}`, cause);
    }
    this.#sum.push(bytes);
  }

  end(): RecordEnd {
    const closed = this.#stream.done();
    const problems = this.#header === null && closed ? [...this.#problems, 'the file holds no header of a run'] : this.#problems;
    const complete = closed && this.#outcome && this.#recovered === null;
    const status = problems.length > 0 ? 'damaged' : complete ? 'complete' : 'cut-off';
    return {
      status,
      detail: status === 'complete' ? '' : this.#whyNot(closed, problems),
      has_outcome: this.#outcome, closed, chunks: this.#chunks, bytes: this.#bytes, used_bytes: closed ? this.#bytes : this.#used,
      last_tick_us: this.#last_us, recovered: this.#recovered, problems,
    };
  }

  #checkSum(expected: number, end: number, piece: Uint8Array): void {
    if (expected === 0) return; // the format's way of saying that there is none
    const sum = this.#sum.before(end, piece);
    if (sum !== expected) this.#problems.push(`the checksum of the data is ${hex(sum)}, the file says ${hex(expected)}: bytes were altered after it was written`);
  }

  #problem(where: string, cause: unknown): void {
    this.#problems.push(`${where}: ${cause instanceof Error ? cause.message : String(cause)}`);
  }

  #whyNot(closed: boolean, problems: readonly string[]): string {
    const parts: string[] = [];
    if (this.#recovered !== null) {
      const { used_bytes, original_bytes } = this.#recovered;
      parts.push(`recovered from a file that was cut off: ${used_bytes} of its ${original_bytes} bytes were usable`);
    }
    if (!closed) parts.push(`the file ends without its summary; ${this.#used} of ${this.#bytes} bytes are usable (${this.#chunks} whole chunks)`);
    if (!this.#outcome) parts.push('no outcome was written');
    return [...parts, ...problems].join('; ');
  }

  #checkStart(bytes: Uint8Array): void {
    const magic = McapConstants.MCAP_MAGIC;
    if (this.#start.length >= magic.length) return;
    this.#start = Uint8Array.from([...this.#start, ...bytes.subarray(0, magic.length - this.#start.length)]);
    if (this.#start.some((b, i) => b !== magic[i])) {
      throw new NotARecord('not a record: the file does not start with the MCAP magic bytes 89 4D 43 41 50 30 0D 0A');
    }
  }

  #take(record: McapTypes.TypedMcapRecord): void {
    switch (record.type) {
      case 'Metadata':
        this.#metadata(record.name, record.metadata);
        break;
      case 'Attachment':
        this.handlers.attachment?.({ name: record.name, media_type: record.mediaType, data: record.data });
        break;
      case 'Channel':
        this.#topics.set(record.id, record.topic);
        break;
      case 'Message':
        this.#message(this.#topics.get(record.channelId) ?? '', record.data);
        break;
      default: // indexes and the like are for random access
    }
  }

  #metadata(name: string, members: ReadonlyMap<string, string>): void {
    if (name === METADATA_RECOVERED) {
      this.#recovered = {
        used_bytes: Number(members.get('used_bytes')),
        original_bytes: Number(members.get('original_bytes')),
        original_sha256: members.get('original_sha256') ?? '',
      };
    }
    if (!name.startsWith(METADATA_PREFIX) || this.#header !== null) return;
    this.#entries.set(name.slice(METADATA_PREFIX.length), members.get('json') ?? '');
    this.#header = headerFrom(this.#entries);
    if (this.#header === null) return;
    const groups = rateGroups(this.#header);
    for (const g of groups) {
      this.#groups.set(g.topic, g);
      this.#readers.set(g.topic, new BatchReader(g));
    }
    this.handlers.header?.(this.#header, groups);
  }

  #message(topic: string, data: Uint8Array): void {
    const group = this.#groups.get(topic);
    if (group !== undefined) {
      if (this.handlers.batch === undefined) {
        this.#columns(group, topic, data);
        return;
      }
      const batch = decodeBatch(group, data);
      if (group.is_rows && batch.rows > 0) this.#last_us = batch.tick_us[batch.rows - 1];
      this.handlers.batch(group, batch);
    } else if (topic === TOPIC_EVENTS || topic === TOPIC_LINK) {
      this.handlers.event?.(JSON.parse(utf8.decode(data)) as BenchEvent);
    } else if (topic === TOPIC_OUTCOME) {
      this.#outcome = true;
      this.handlers.outcome?.(JSON.parse(utf8.decode(data)) as RunOutcome);
    }
  }

  #columns(group: RateGroup, topic: string, data: Uint8Array): void {
    const reader = this.#readers.get(topic);
    if (reader === undefined || (this.handlers.columns === undefined && !group.is_rows)) return;
    reader.read(data);
    if (group.is_rows && reader.rows > 0) this.#last_us = reader.tick_us[reader.rows - 1];
    this.handlers.columns?.(group, reader);
  }
}

const utf8 = new TextDecoder();

function hex(n: number): string {
  return n.toString(16).padStart(8, '0');
}

/** All samples of one rate group. */
export interface GroupColumns extends GroupBatch {
  readonly group: RateGroup;
}

/** A whole record in memory. */
export interface RunRecord {
  /** Null when the file was cut before its header was complete. */
  readonly header: RunHeader | null;
  readonly attachments: readonly RecordAttachment[];
  /** The rows group first, then slower ones. */
  readonly groups: readonly GroupColumns[];
  readonly events: readonly BenchEvent[];
  readonly outcome: RunOutcome | null;
  readonly end: RecordEnd;
}

/** Collects what a decoder delivers into a {@link RunRecord}. */
export class RecordCollector {
  #header: RunHeader | null = null;
  #groups: readonly RateGroup[] = [];
  #outcome: RunOutcome | null = null;
  readonly #attachments: RecordAttachment[] = [];
  readonly #events: BenchEvent[] = [];
  readonly #batches = new Map<RateGroup, GroupBatch[]>();
  readonly decoder = new RecordDecoder({
    header: (header, groups) => {
      this.#header = header;
      this.#groups = groups;
      for (const g of groups) this.#batches.set(g, []);
    },
    attachment: (a) => this.#attachments.push(a),
    batch: (group, batch) => this.#batches.get(group)?.push(batch),
    event: (e) => this.#events.push(e),
    outcome: (o) => { this.#outcome = o; },
  });

  finish(): RunRecord {
    return {
      header: this.#header,
      attachments: this.#attachments,
      groups: this.#groups.map((g) => joinBatches(g, this.#batches.get(g) ?? [])),
      events: this.#events,
      outcome: this.#outcome,
      end: this.decoder.end(),
    };
  }
}

/** Reads a record, or any beginning of one, from memory. Throws {@link NotARecord} when it is something else. */
export function readRecordBytes(bytes: Uint8Array): RunRecord {
  const collector = new RecordCollector();
  collector.decoder.push(bytes);
  return collector.finish();
}

function joinBatches(group: RateGroup, batches: readonly GroupBatch[]): GroupColumns {
  const rows = batches.reduce((n, b) => n + b.rows, 0);
  const join = <T extends Float64Array | Int32Array | Uint16Array | Uint8Array>(whole: T, part: (b: GroupBatch) => T | null): T => {
    let at = 0;
    for (const b of batches) {
      const piece = part(b);
      if (piece !== null) whole.set(piece, at);
      at += b.rows;
    }
    return whole;
  };
  return {
    group, rows,
    tick_us: join(new Float64Array(rows), (b) => b.tick_us),
    throttle: group.is_rows ? join(new Uint16Array(rows), (b) => b.throttle) : null,
    state: group.is_rows ? join(new Uint8Array(rows), (b) => b.state) : null,
    ordinal: group.is_rows ? join(new Uint16Array(rows), (b) => b.ordinal) : null,
    fresh: join(new Uint8Array(rows), (b) => b.fresh),
    valid: join(new Uint8Array(rows), (b) => b.valid),
    counts: group.channels.map((_, i) => join(new Int32Array(rows), (b) => b.counts[i])),
  };
}
