// A run as record bytes: header first, then chunks by device time, then the summary. Pure: bytes go to a sink.
import type { BenchEvent, RunOutcome } from '../model/events';
import type { SampleBlock } from '../model/sample';
import type { RunLog } from '../sequencer/ports';
import { BatchCollector } from './batch';
import { descriptorSet, PACKAGE } from './batch-schema';
import { headerEntries, type RecordAttachment, type RunHeader } from './header';
import { EVENT_SCHEMA, LINK_SCHEMA, OUTCOME_SCHEMA } from './json-schemas';
import { METADATA_PREFIX, PROFILE, rateGroups, type RateGroup, TOPIC_EVENTS, TOPIC_LINK, TOPIC_OUTCOME } from './layout';
import { type ByteSink, McapOut } from './mcap-out';

export interface WriterOptions {
  /** Longest device time that stays unwritten, microseconds. */
  readonly flush_us?: number;
}

/** Default for {@link WriterOptions.flush_us}. */
export const FLUSH_US = 100_000;

const utf8 = new TextEncoder();

/**
 * Writes one run. Same calls, same bytes: times are the header's epoch plus device time.
 * Whatever the sink throws comes out of the call that made it write; the bytes accepted before stay a readable record.
 */
export class RecordWriter implements RunLog {
  readonly #out: McapOut;
  readonly #groups: readonly RateGroup[];
  readonly #rows: BatchCollector;
  readonly #slow: readonly SlowCollector[];
  readonly #channelOf: ReadonlyMap<string, number>;
  readonly #flush_us: number;
  /** Device time of the oldest thing that is not written yet, and of the newest; null when all is written. */
  #oldest_us: number | null = null;
  #newest_us = 0;

  constructor(
    private readonly header: RunHeader,
    attachments: readonly RecordAttachment[],
    sink: ByteSink,
    options: WriterOptions = {},
  ) {
    this.#flush_us = options.flush_us ?? FLUSH_US;
    this.#groups = rateGroups(header);
    this.#rows = new BatchCollector(this.#groups[0]);
    this.#slow = this.#groups.slice(1).map((g) => new SlowCollector(g));
    this.#out = new McapOut(sink, PROFILE, `spoolbench ${header.versions.spoolbench}`);
    for (const [key, json] of headerEntries(header)) this.#out.metadata(METADATA_PREFIX + key, new Map([['json', json]]));
    const time = this.#ns(0);
    for (const a of attachments) this.#out.attachment({ name: a.name, mediaType: a.media_type, logTime: time, createTime: time, data: a.data });
    this.#channelOf = declareChannels(this.#out, this.#groups);
    this.#out.flushHead();
  }

  /** Bytes that the sink has accepted. */
  get position(): number {
    return this.#out.position;
  }

  /** Takes a copy of the block. Throws when it has fewer channels than the header declares. */
  block(block: SampleBlock): void {
    if (block.rows === 0) return;
    if (block.counts.length < this.header.channels.length) {
      throw new RangeError(`a block of ${block.counts.length} channels cannot be recorded: the header declares ${this.header.channels.length}`);
    }
    for (const slow of this.#slow) slow.append(block, (c) => { this.#seal(c); });
    appendAll(this.#rows, block, 0, block.rows, (c) => { this.#seal(c); });
    const first = block.tick_us[0];
    const last = block.tick_us[block.rows - 1];
    this.#touch(first);
    this.#touch(last);
    // A block as long as this one will probably come next: write now if waiting for it would be too late.
    this.#flushWhenDue(Math.max(0, last - first));
  }

  event(event: BenchEvent): void {
    const topic = event.type === 'link' ? TOPIC_LINK : TOPIC_EVENTS;
    this.#json(topic, event.tick_us, event);
    if (event.type === 'tripped') this.flush();
    else this.#flushWhenDue(0);
  }

  /** Written at once. */
  outcome(outcome: RunOutcome): void {
    this.#json(TOPIC_OUTCOME, this.#newest_us, outcome);
    this.flush();
  }

  /** Hands over everything taken so far. */
  flush(): void {
    this.#oldest_us = null;
    for (const slow of this.#slow) this.#seal(slow.collector);
    this.#seal(this.#rows);
    this.#out.flushChunk();
  }

  /** Ends the file with its summary. Nothing may follow. */
  finish(): void {
    this.flush();
    this.#out.finish();
  }

  #flushWhenDue(ahead_us: number): void {
    if (this.#oldest_us !== null && this.#newest_us + ahead_us - this.#oldest_us >= this.#flush_us) this.flush();
  }

  #touch(tick_us: number): void {
    if (this.#oldest_us === null || tick_us < this.#oldest_us) this.#oldest_us = tick_us;
    if (tick_us > this.#newest_us) this.#newest_us = tick_us;
  }

  #seal(c: BatchCollector): void {
    if (c.rows === 0) return;
    const first = this.#ns(c.first_us);
    const last = this.#ns(c.last_us);
    this.#out.message(this.#id(c.group.topic), last, first, c.take());
  }

  #json(topic: string, tick_us: number, value: unknown): void {
    this.#touch(tick_us);
    const time = this.#ns(tick_us);
    this.#out.message(this.#id(topic), time, time, utf8.encode(JSON.stringify(value)));
  }

  #id(topic: string): number {
    const id = this.#channelOf.get(topic);
    if (id === undefined) throw new Error(`record: no channel ${topic}`);
    return id;
  }

  #ns(tick_us: number): bigint {
    return BigInt(this.header.epoch_us + Math.round(tick_us)) * 1000n;
  }
}

/** Keeps the rows in which a slow channel is new. */
class SlowCollector {
  readonly collector: BatchCollector;
  readonly #mask: number;
  readonly #last: number[];
  #started = false;

  constructor(group: RateGroup) {
    this.collector = new BatchCollector(group);
    this.#mask = group.channels.reduce((m, c) => m | (1 << c.id), 0);
    this.#last = group.channels.map(() => 0);
  }

  /** The first row is kept as well (a value held from before), and a row whose count changed without being marked fresh. */
  append(block: SampleBlock, seal: (c: BatchCollector) => void): void {
    const { rows } = block;
    for (let row = this.#next(block, 0); row < rows; row = this.#next(block, row + 1)) {
      this.#started = true;
      if (this.collector.add(block, row)) continue;
      seal(this.collector);
      this.collector.add(block, row);
    }
  }

  /** The next row from `from` on that is kept; the number of rows when none is. */
  #next(block: SampleBlock, from: number): number {
    const { channels } = this.collector.group;
    let next = this.#started ? nextMarked(block.fresh, this.#mask, from, block.rows) : from;
    for (let i = 0; i < channels.length; i++) next = nextChange(block.counts[channels[i].id], this.#last[i], from, next);
    if (next < block.rows) for (let i = 0; i < channels.length; i++) this.#last[i] = block.counts[channels[i].id][next];
    return next;
  }
}

/** First of [from, to) that has a bit of the mask, else `to`. */
function nextMarked(masks: Uint8Array, mask: number, from: number, to: number): number {
  let i = from;
  while (i < to && (masks[i] & mask) === 0) i++;
  return i;
}

/** First of [from, to) that is another count, else `to`. */
function nextChange(counts: Int32Array, last: number, from: number, to: number): number {
  let i = from;
  while (i < to && counts[i] === last) i++;
  return i;
}

function appendAll(c: BatchCollector, block: SampleBlock, from: number, to: number, seal: (c: BatchCollector) => void): void {
  for (let row = from; row < to; ) {
    const next = c.append(block, row, to);
    if (next < to) seal(c);
    row = next;
  }
}

function declareChannels(out: McapOut, groups: readonly RateGroup[]): Map<string, number> {
  const ids = new Map<string, number>();
  const declare = (topic: string, name: string, encoding: 'protobuf' | 'jsonschema', data: Uint8Array, metadata: Map<string, string>): void => {
    const id = ids.size + 1;
    out.schema({ id, name, encoding, data });
    out.channel({ id, schemaId: id, topic, messageEncoding: encoding === 'protobuf' ? 'protobuf' : 'json', metadata });
    ids.set(topic, id);
  };
  for (const g of groups) {
    const facts = new Map([['period_us', String(g.period_us)], ['channels', JSON.stringify(g.channels)]]);
    declare(g.topic, `${PACKAGE}.${g.message}`, 'protobuf', descriptorSet(g), facts);
  }
  for (const [topic, schema] of [[TOPIC_EVENTS, EVENT_SCHEMA], [TOPIC_LINK, LINK_SCHEMA], [TOPIC_OUTCOME, OUTCOME_SCHEMA]] as const) {
    declare(topic, schema.title, 'jsonschema', utf8.encode(JSON.stringify(schema)), new Map());
  }
  return ids;
}
