// An MCAP file as a stream of bytes that can be cut anywhere: head, chunks, summary. Format: mcap.dev/spec.
import { McapChunkBuilder, McapConstants, McapRecordBuilder, type McapTypes } from '@mcap/core';
import { crc32 } from './file-crc';
import { compress } from './zstd';

/** Takes bytes to be appended. Throws when it could not take all of them. */
export type ByteSink = (bytes: Uint8Array) => void;

const { Opcode } = McapConstants;
/** Footer up to its last field: opcode, length, two offsets. The summary's checksum covers these too. */
const FOOTER_BEFORE_CRC = 1 + 8 + 8 + 8;

/**
 * Builds an MCAP file. Each call that completes something hands whole records to the sink at once; what the sink refused is
 * forgotten, so position, indexes and summary always describe the bytes that are there.
 */
export class McapOut {
  readonly #records = new McapRecordBuilder();
  readonly #chunk = new McapChunkBuilder({ useMessageIndex: true });
  readonly #schemas: McapTypes.Schema[] = [];
  readonly #channels: McapTypes.Channel[] = [];
  readonly #attachmentIndexes: McapTypes.AttachmentIndex[] = [];
  readonly #metadataIndexes: McapTypes.MetadataIndex[] = [];
  readonly #chunkIndexes: McapTypes.ChunkIndex[] = [];
  readonly #messagesOf = new Map<number, number>();
  readonly #pendingOf = new Map<number, number>();
  readonly #sequence = new Map<number, number>();
  #crc = 0;
  #position = 0;

  constructor(
    private readonly sink: ByteSink,
    profile: string,
    library: string,
  ) {
    this.#records.writeMagic();
    this.#records.writeHeader({ profile, library });
  }

  /** Bytes that the sink has accepted. */
  get position(): number {
    return this.#position;
  }

  get pendingMessages(): number {
    return this.#chunk.numMessages;
  }

  schema(schema: McapTypes.Schema): void {
    this.#schemas.push(schema);
    this.#records.writeSchema(schema);
  }

  channel(channel: McapTypes.Channel): void {
    this.#channels.push(channel);
    this.#records.writeChannel(channel);
  }

  metadata(name: string, members: Map<string, string>): void {
    const offset = this.#offset();
    this.#records.writeMetadata({ name, metadata: members });
    this.#metadataIndexes.push({ offset, length: this.#offset() - offset, name });
  }

  attachment(a: McapTypes.Attachment): void {
    const offset = this.#offset();
    this.#records.writeAttachment(a);
    this.#attachmentIndexes.push({
      offset, length: this.#offset() - offset, logTime: a.logTime, createTime: a.createTime, dataSize: BigInt(a.data.length), name: a.name, mediaType: a.mediaType,
    });
  }

  /** Hands everything before the first chunk to the sink. */
  flushHead(): void {
    this.#send();
  }

  /** Adds a message to the chunk being built. Times in nanoseconds; the data is copied. */
  message(channelId: number, logTime: bigint, publishTime: bigint, data: Uint8Array): void {
    const sequence = this.#sequence.get(channelId) ?? 0;
    this.#sequence.set(channelId, sequence + 1);
    this.#pendingOf.set(channelId, (this.#pendingOf.get(channelId) ?? 0) + 1);
    this.#chunk.addMessage({ channelId, sequence, logTime, publishTime, data });
  }

  /** Compresses the chunk being built and hands it to the sink with its index. Nothing happens when it is empty. */
  flushChunk(): void {
    if (this.#chunk.numMessages === 0) return;
    const plain = this.#chunk.buffer;
    const records = compress(plain);
    const times = { messageStartTime: this.#chunk.messageStartTime, messageEndTime: this.#chunk.messageEndTime };
    const sizes = { compression: 'zstd', uncompressedSize: BigInt(plain.length) };
    const chunkStartOffset = this.#offset();
    this.#records.writeChunk({ ...times, ...sizes, uncompressedCrc: crc32(plain), records });
    const indexStart = this.#offset();
    const messageIndexOffsets = new Map<number, bigint>();
    for (const index of this.#chunk.indices) {
      messageIndexOffsets.set(index.channelId, this.#offset());
      this.#records.writeMessageIndex(index);
    }
    const entry: McapTypes.ChunkIndex = {
      ...times, ...sizes, chunkStartOffset, chunkLength: indexStart - chunkStartOffset, messageIndexOffsets,
      messageIndexLength: this.#offset() - indexStart, compressedSize: BigInt(records.length),
    };
    const counts = [...this.#pendingOf];
    this.#chunk.reset();
    this.#pendingOf.clear();
    this.#send();
    this.#chunkIndexes.push(entry);
    for (const [id, n] of counts) this.#messagesOf.set(id, (this.#messagesOf.get(id) ?? 0) + n);
  }

  /** Writes the last chunk, the summary and the end of the file. */
  finish(): void {
    this.flushChunk();
    const r = this.#records;
    r.writeDataEnd({ dataSectionCrc: this.#crc });
    const dataEndLength = r.length;
    const summaryStart = this.#offset();
    const groups: McapTypes.SummaryOffset[] = [];
    const group = (groupOpcode: number, write: () => void): void => {
      const groupStart = this.#offset();
      write();
      if (this.#offset() > groupStart) groups.push({ groupOpcode, groupStart, groupLength: this.#offset() - groupStart });
    };
    group(Opcode.SCHEMA, () => { for (const s of this.#schemas) r.writeSchema(s); });
    group(Opcode.CHANNEL, () => { for (const c of this.#channels) r.writeChannel(c); });
    group(Opcode.STATISTICS, () => { r.writeStatistics(this.#statistics()); });
    group(Opcode.METADATA_INDEX, () => { for (const m of this.#metadataIndexes) r.writeMetadataIndex(m); });
    group(Opcode.ATTACHMENT_INDEX, () => { for (const a of this.#attachmentIndexes) r.writeAttachmentIndex(a); });
    group(Opcode.CHUNK_INDEX, () => { for (const c of this.#chunkIndexes) r.writeChunkIndex(c); });
    const summaryOffsetStart = this.#offset();
    for (const g of groups) r.writeSummaryOffset(g);
    r.writeFooter({ summaryStart, summaryOffsetStart, summaryCrc: 0 });
    r.writeMagic();
    const bytes = r.buffer.slice();
    const footer = bytes.length - McapConstants.MCAP_MAGIC.length - FOOTER_BEFORE_CRC - 4;
    const crcAt = footer + FOOTER_BEFORE_CRC;
    new DataView(bytes.buffer).setUint32(crcAt, crc32(bytes.subarray(dataEndLength, crcAt)), true);
    this.#send(bytes);
  }

  #statistics(): McapTypes.Statistics {
    const starts = this.#chunkIndexes.map((c) => c.messageStartTime);
    const ends = this.#chunkIndexes.map((c) => c.messageEndTime);
    const counts = [...this.#messagesOf].sort(([a], [b]) => a - b).map(([id, n]) => [id, BigInt(n)] as const);
    return {
      messageCount: counts.reduce((sum, [, n]) => sum + n, 0n),
      schemaCount: this.#schemas.length,
      channelCount: this.#channels.length,
      attachmentCount: this.#attachmentIndexes.length,
      metadataCount: this.#metadataIndexes.length,
      chunkCount: this.#chunkIndexes.length,
      messageStartTime: starts.reduce((a, b) => (b < a ? b : a), starts[0] ?? 0n),
      messageEndTime: ends.reduce((a, b) => (b > a ? b : a), 0n),
      channelMessageCounts: new Map(counts),
    };
  }

  #offset(): bigint {
    return BigInt(this.#position + this.#records.length);
  }

  #send(bytes: Uint8Array = this.#records.buffer): void {
    this.#records.reset();
    if (bytes.length === 0) return;
    this.sink(bytes);
    this.#position += bytes.length;
    this.#crc = crc32(bytes, this.#crc);
  }
}
