// Goal: whatever happens to a file, everything whole in it is read, and it never passes for complete.
// Method: a small record cut at every single byte, read and recovered; flipped bytes; files that are something else.
import fs from 'node:fs';
import os from 'node:os';
import path from 'node:path';
import { McapIndexedReader } from '@mcap/core';
import { afterAll, describe, expect, test } from 'vitest';
import { NotARecord } from '../../src/record/errors';
import { recoveredPath, recoverRecord } from '../../src/record/file-recover';
import { readRecordBytes, RecordDecoder, type RecordEnd } from '../../src/record/reader';
import { RecordRepair } from '../../src/record/recover';
import { readRecord } from '../../src/record/file-reader';
import { decompressHandlers } from '../../src/record/zstd';
import { doneOutcome, makeHeader, makeRecord, seeded } from './make';

const header = makeHeader({ channels: makeHeader().channels.slice(0, 2), row_period_us: 10_000 });
const whole = makeRecord({ rows: 40, block: 2, header });
const chunkEnds = whole.writes.slice(1, -1);
const folder = fs.mkdtempSync(path.join(os.tmpdir(), 'spoolbench-cut-'));
afterAll(() => { fs.rmSync(folder, { recursive: true }); });

function rowsIn(bytes: Uint8Array): { rows: number; end: RecordEnd } {
  let rows = 0;
  const decoder = new RecordDecoder({ batch: (group, batch) => { if (group.is_rows) rows += batch.rows; } });
  decoder.push(bytes);
  return { rows, end: decoder.end() };
}

const rowsAfter = chunkEnds.map((end) => rowsIn(whole.bytes.subarray(0, end)).rows);

describe('a record cut off', () => {
  test('the whole one is complete, and has several chunks', () => {
    expect(readRecordBytes(whole.bytes).end).toMatchObject({ status: 'complete', chunks: chunkEnds.length });
    expect(chunkEnds.length).toBeGreaterThan(3);
  });

  test('at every byte: every whole chunk is read, the rest is reported as cut off', () => {
    expect(rowsAfter.at(-1)).toBe(40);
    for (let i = 1; i < rowsAfter.length; i++) expect(rowsAfter[i]).toBeGreaterThanOrEqual(rowsAfter[i - 1]);
    for (let cut = 0; cut < whole.bytes.length; cut++) {
      const { rows, end } = rowsIn(whole.bytes.subarray(0, cut));
      const mustHave = chunkEnds.findLastIndex((e) => e <= cut);
      const mayHave = Math.min(mustHave + 1, chunkEnds.length - 1); // its index may be missing while the chunk itself is whole
      expect(end.status, `cut at ${cut}`).toBe('cut-off');
      expect(end.problems, `cut at ${cut}`).toEqual([]);
      expect(rows, `cut at ${cut}`).toBeGreaterThanOrEqual(mustHave < 0 ? 0 : rowsAfter[mustHave]);
      expect(rows, `cut at ${cut}`).toBeLessThanOrEqual(rowsAfter[mayHave]);
      expect(end.used_bytes).toBeLessThanOrEqual(cut);
    }
  });

  test('at every byte of the chunks, and at every 16th of the summary: what is recovered is a closed file with the same rows, marked as cut off', () => {
    for (let cut = whole.writes[0]; cut < whole.bytes.length; cut += cut < chunkEnds[chunkEnds.length - 1] + 13 ? 1 : 16) {
      const part = whole.bytes.subarray(0, cut);
      const pieces: Uint8Array[] = [];
      const repair = new RecordRepair((b) => pieces.push(b.slice()), '', '', { used_bytes: cut, original_bytes: cut, original_sha256: '' });
      repair.push(part);
      repair.finish();
      const again = rowsIn(Buffer.concat(pieces));
      expect(again.end, `cut at ${cut}`).toMatchObject({ closed: true, status: 'cut-off', problems: [] });
      const ends = chunkEnds.findLastIndex((e) => e <= cut);
      expect(again.rows, `cut at ${cut}`).toBeGreaterThanOrEqual(ends < 0 ? 0 : rowsAfter[ends]);
    }
  });

  test('fed one byte at a time it reads the same as fed at once', () => {
    const part = whole.bytes.subarray(0, whole.bytes.length - 1000);
    let rows = 0;
    const decoder = new RecordDecoder({ batch: (group, batch) => { if (group.is_rows) rows += batch.rows; } });
    for (let i = 0; i < part.length; i++) decoder.push(part.subarray(i, i + 1));
    expect({ rows, end: decoder.end() }).toEqual(rowsIn(part));
  });

  test('closed, but without an outcome, it reads as cut off and says so', () => {
    const { end, outcome } = readRecordBytes(makeRecord({ rows: 10, header, outcome: false }).bytes);
    expect(outcome).toBeNull();
    expect(end).toMatchObject({ status: 'cut-off', closed: true, has_outcome: false, detail: 'no outcome was written' });
  });

  test('a flipped bit before the summary never throws, never passes for complete, and leaves the chunks before it', () => {
    const random = seeded(11);
    for (let n = 0; n < 1000; n++) {
      const at = 8 + Math.floor(random() * (chunkEnds[chunkEnds.length - 1] - 8));
      const bad = whole.bytes.slice();
      bad[at] ^= 1 << Math.floor(random() * 8);
      const before = chunkEnds.findLastIndex((e) => e <= at);
      const { rows, end } = rowsIn(bad);
      expect(end.status, `byte ${at}`).not.toBe('complete');
      expect(rows, `byte ${at}`).toBeGreaterThanOrEqual(before < 0 ? 0 : rowsAfter[before]);
    }
  });

  test('bytes of something else are refused, the beginning of the magic is not', () => {
    expect(() => readRecordBytes(new TextEncoder().encode('PAR1 and so on'))).toThrow(NotARecord);
    expect(() => readRecordBytes(Uint8Array.of(0x89, 0x50))).toThrow(NotARecord);
    expect(readRecordBytes(Uint8Array.of(0x89, 0x4d)).end).toMatchObject({ status: 'cut-off', bytes: 2 });
    expect(readRecordBytes(new Uint8Array(0)).end.status).toBe('cut-off');
  });
});

describe('recover on disk', () => {
  test('writes a new file that @mcap/core reads by index, and leaves the original as it was', async () => {
    const file = path.join(folder, 'run.mcap');
    fs.writeFileSync(file, whole.bytes.subarray(0, chunkEnds[2] + 37));
    const original = fs.readFileSync(file);
    const recovery = recoverRecord(file);
    expect(fs.readFileSync(file)).toEqual(original);
    expect(recovery).toMatchObject({ path: path.join(folder, 'run.recovered.mcap'), chunks: 3 });
    const record = readRecord(recoveredPath(file));
    expect(record.header).toEqual(header);
    expect(record.groups[0].rows).toBe(recovery.rows);
    expect(record.end.recovered).toMatchObject({ original_bytes: original.length, used_bytes: recovery.original.used_bytes });
    expect(record.end.detail).toContain('recovered from a file that was cut off');
    const bytes = fs.readFileSync(recoveredPath(file));
    const reader = await McapIndexedReader.Initialize({
      readable: { size: () => Promise.resolve(BigInt(bytes.length)), read: (o, n) => Promise.resolve(new Uint8Array(bytes.subarray(Number(o), Number(o + n)))) },
      decompressHandlers,
    });
    let messages = 0;
    for await (const _ of reader.readMessages()) messages++;
    expect(messages).toBe(Number(reader.statistics?.messageCount));
  });

  test('a record that lost only its summary keeps its outcome, and stays marked as cut off', () => {
    const file = path.join(folder, 'late.mcap');
    fs.writeFileSync(file, whole.bytes.subarray(0, chunkEnds[chunkEnds.length - 1]));
    recoverRecord(file);
    const record = readRecord(recoveredPath(file));
    expect(record.outcome).toEqual(doneOutcome);
    expect(record.end.status).toBe('cut-off');
  });

  test('refuses to write over a file, has nothing to do for a whole one, and says so for a file without a header', () => {
    const file = path.join(folder, 'twice.mcap');
    fs.writeFileSync(file, whole.bytes.subarray(0, chunkEnds[1]));
    recoverRecord(file);
    expect(() => recoverRecord(file)).toThrow(/never overwritten/);
    fs.writeFileSync(path.join(folder, 'whole.mcap'), whole.bytes);
    expect(recoverRecord(path.join(folder, 'whole.mcap'))).toMatchObject({ path: null, rows: 40 });
    expect(fs.existsSync(path.join(folder, 'whole.recovered.mcap'))).toBe(false);
    fs.writeFileSync(path.join(folder, 'stub.mcap'), whole.bytes.subarray(0, 100));
    expect(() => recoverRecord(path.join(folder, 'stub.mcap'))).toThrow(/before its header was complete/);
  });
});
