// Goal: what is logged is what is read, exactly, by us and by readers that are not ours.
// Method: seeded blocks in reused memory, written, then read with our reader, @mcap/core's indexed reader and @mcap/support's protobuf decoder.
import fs from 'node:fs';
import { McapIndexedReader, McapStreamReader } from '@mcap/core';
import { protobufFromBinaryDescriptor } from '@mcap/support';
import { describe, expect, test } from 'vitest';
import type { SampleBlock } from '../../src/model/sample';
import { protoText } from '../../src/record/batch-schema';
import { rateGroups } from '../../src/record/layout';
import { readRecordBytes } from '../../src/record/reader';
import { recordedRows } from '../../src/record/timeline';
import { RecordWriter } from '../../src/record/writer';
import { decompressHandlers } from '../../src/record/zstd';
import { doneOutcome, emptyBlock, makeBlocks, makeHeader, makeRecord, yaml } from './make';

const text = new TextDecoder();

function joined(options: Parameters<typeof makeBlocks>[0]): SampleBlock {
  const all = emptyBlock(options.rows, 7);
  let at = 0;
  for (const b of makeBlocks(options)) {
    for (const key of ['tick_us', 'throttle', 'state', 'ordinal', 'fresh', 'valid'] as const) all[key].set(b[key].subarray(0, b.rows), at);
    b.counts.forEach((c, k) => { all.counts[k].set(c.subarray(0, b.rows), at); });
    at += b.rows;
  }
  return all;
}

describe('round trip', () => {
  test.each([[1, 1], [7, 3], [1000, 50], [1234, 333], [500, 500]])('%i rows in blocks of %i come back bit for bit, held values included', (rows, block) => {
    const options = { rows, block, seed: rows };
    const record = readRecordBytes(makeRecord(options).bytes);
    expect(recordedRows(record)).toEqual(joined(options));
    expect(record.end).toMatchObject({ status: 'complete', detail: '', problems: [], last_tick_us: 250_000 + (rows - 1) * 1000 });
  });

  test('header, attachments, events and outcome come back as they were given', () => {
    const record = readRecordBytes(makeRecord({ rows: 300 }).bytes);
    expect(record.header).toEqual(makeHeader());
    expect(record.attachments).toEqual([yaml]);
    expect(record.events.map((e) => e.type)).toEqual(['segment-started', 'segment-started', 'segment-started', 'link', 'ended']);
    expect(record.outcome).toEqual(doneOutcome);
  });

  test('headers that differ in some keys each say what they were given, whichever was read before', () => {
    const headers = [makeHeader(), makeHeader({ record_id: 'other', settings: { timing_advance: 8 } }), makeHeader({ limits: { current_peak: { above_A: 3 } }, environment: null })];
    for (const header of [...headers, ...headers.toReversed()]) expect(readRecordBytes(makeRecord({ rows: 3, header }).bytes).header).toEqual(header);
  });

  test('a slow channel is stored once per fresh sample, not once per row', () => {
    const record = readRecordBytes(makeRecord({ rows: 2000 }).bytes);
    const [rows, thrust, temperatures] = record.groups;
    expect(rows.rows).toBe(2000);
    expect(rows.group.channels.map((c) => c.kind)).toEqual(['current', 'voltage', 'speed', 'torque']);
    expect(thrust.rows).toBeGreaterThan(2000 / 13 - 2);
    expect(thrust.rows).toBeLessThan(2000 / 13 + 3);
    expect(temperatures.rows).toBeLessThan(23);
  });

  test('time that jumps further than a batch can hold, or runs backwards, still comes back exactly', () => {
    const ticks = [0, 1000, 3e12, 3e12 + 1000, 2e12, 2e12 - 1000, 5e12];
    const block = emptyBlock(ticks.length, 7);
    block.tick_us.set(ticks);
    block.counts[4].set(ticks.map((_, i) => i));
    const header = makeHeader();
    const pieces: number[] = [];
    const writer = new RecordWriter(header, [], (b) => pieces.push(...b));
    writer.block(block);
    writer.outcome(doneOutcome);
    writer.finish();
    expect(recordedRows(readRecordBytes(Uint8Array.from(pieces)))).toEqual(block);
  });

  test('the same run twice gives the same bytes; another seed does not', () => {
    const a = makeRecord({ rows: 500, seed: 3 }).bytes;
    expect(makeRecord({ rows: 500, seed: 3 }).bytes).toEqual(a);
    expect(makeRecord({ rows: 500, seed: 4 }).bytes).not.toEqual(a);
  });
});

describe('readers that are not ours', () => {
  const options = { rows: 1000, block: 64, seed: 5 };
  const { bytes } = makeRecord(options);
  const readable = {
    size: () => Promise.resolve(BigInt(bytes.length)),
    read: (offset: bigint, size: bigint) => Promise.resolve(bytes.slice(Number(offset), Number(offset + size))),
  };

  test('the file starts and ends with the MCAP magic 89 4D 43 41 50 30 0D 0A (mcap.dev/spec), first record opcode 01', () => {
    const magic = [0x89, 0x4d, 0x43, 0x41, 0x50, 0x30, 0x0d, 0x0a];
    expect([...bytes.subarray(0, 8)]).toEqual(magic);
    expect([...bytes.subarray(-8)]).toEqual(magic);
    expect(bytes[8]).toBe(1);
  });

  test('@mcap/core reads it by index, in time order, and decodes every batch with the schema in the file', async () => {
    const reader = await McapIndexedReader.Initialize({ readable, decompressHandlers });
    const expected = joined(options);
    const current: number[] = [];
    const ticks: number[] = [];
    let before = 0n;
    for await (const m of reader.readMessages({ topics: ['/rows'] })) {
      expect(m.logTime).toBeGreaterThanOrEqual(before);
      before = m.logTime;
      const schema = reader.schemasById.get(reader.channelsById.get(m.channelId)?.schemaId ?? -1);
      expect(schema).toMatchObject({ name: 'spoolbench.Rows', encoding: 'protobuf' });
      const root = protobufFromBinaryDescriptor(schema?.data ?? new Uint8Array());
      const rows = root.lookupType('spoolbench.Rows');
      const batch = rows.toObject(rows.decode(m.data), { longs: Number }) as { first_tick_us: number; step_us: number[]; current_counts: number[]; state: Uint8Array };
      let tick = batch.first_tick_us;
      for (const step of batch.step_us) ticks.push((tick += step));
      current.push(...batch.current_counts);
      expect(batch.state.length).toBe(batch.step_us.length);
    }
    expect(ticks).toEqual([...expected.tick_us]);
    expect(current).toEqual([...expected.counts[0]]);
    expect(reader.statistics).toMatchObject({ metadataCount: 19, attachmentCount: 1, schemaCount: 6, channelCount: 6 });
    expect(reader.statistics?.chunkCount).toBe(reader.chunkIndexes.length);
  });

  test('@mcap/core finds metadata, attachment and a slice of time by index alone', async () => {
    const reader = await McapIndexedReader.Initialize({ readable, decompressHandlers });
    const found: string[] = [];
    for await (const m of reader.readMetadata({ name: 'spoolbench/seed' })) found.push(m.metadata.get('json') ?? '');
    for await (const a of reader.readAttachments()) found.push(text.decode(a.data));
    expect(found).toEqual(['7', text.decode(yaml.data)]);
    const epoch = BigInt(makeHeader().epoch_us);
    const times: bigint[] = [];
    for await (const m of reader.readMessages({ topics: ['/events'], startTime: (epoch + 600_000n) * 1000n })) times.push(m.logTime / 1000n - epoch);
    expect(times).toEqual([917_000n, 1_249_000n]);
  });

  test('docs/record.md shows the message of a rig with current and voltage as it is', () => {
    const two = makeHeader().channels.slice(0, 2);
    const page = fs.readFileSync(new URL('../../docs/record.md', import.meta.url), 'utf8');
    expect(page).toContain('```proto\n' + protoText(rateGroups({ channels: two, row_period_us: 1000 })) + '```');
  });

  test('events and outcome are JSON with a JSON Schema that names every type of event', () => {
    const reader = new McapStreamReader({ decompressHandlers });
    reader.append(bytes);
    const schemas = new Map<string, { properties: Record<string, { enum?: string[] }> }>();
    for (let r = reader.nextRecord(); r !== undefined; r = reader.nextRecord()) {
      if (r.type === 'Schema' && r.encoding === 'jsonschema') schemas.set(r.name, JSON.parse(text.decode(r.data)) as never);
    }
    expect([...schemas.keys()]).toEqual(['spoolbench event', 'spoolbench link health', 'spoolbench outcome']);
    expect(schemas.get('spoolbench event')?.properties.type.enum).toContain('segment-started');
    expect(schemas.get('spoolbench outcome')?.properties.outcome.enum).toContain('stop-unconfirmed');
  });
});
