// Goal: a record read piece by piece gives the samples of the whole record in memory, and a very long one keeps its means within its bound.
// Method: one simulated run read both ways; columns filled past their bound beside the plain average, on both sides of it.
import fs from 'node:fs';
import os from 'node:os';
import path from 'node:path';
import { afterAll, beforeAll, describe, expect, test } from 'vitest';
import { runMetrics } from '../../src/analysis/metrics/run-metrics';
import { NumberColumn, ReusedMemory } from '../../src/app/number-column';
import { readRun } from '../../src/app/record-run';
import { runDataOf } from '../../src/app/run-data';
import { readOneRun } from '../../src/app/run-reads';
import { readRunsOnThreads } from '../../src/app/run-threads';
import { readRecord } from '../../src/record/file-reader';
import { playCampaign } from '../analysis/honesty-kit';

let folder = '';
let files: string[] = [];
beforeAll(async () => {
  folder = fs.mkdtempSync(path.join(os.tmpdir(), 'spoolbench-read-'));
  files = (await playCampaign(folder, { protocols: ['kv: { supply: 3 V }', 'response: { dwell: 100 ms }', 'thrust-curve'], repeats: 1 })).files;
}, 60_000);
afterAll(() => { fs.rmSync(folder, { recursive: true }); });

describe('a record read piece by piece', () => {
  test('has every channel, time, segment and event of the record in memory', () => {
    for (const file of files) expect(readRun(file).data()).toEqual(runDataOf(readRecord(file)));
  });

  test('in memory that an earlier run has filled it is the same, whichever run that was', () => {
    const memory = new ReusedMemory();
    for (const file of [...files, ...files.toReversed()]) {
      memory.reuse();
      expect(readRun(file, undefined, memory).data()).toEqual(readRun(file).data());
    }
    const held = readRun(files[0], undefined, memory).data();
    const before = structuredClone(held.throttle.value);
    readRun(files[1], undefined, memory).data();
    expect(held.throttle.value).toEqual(before);
  });

  test('metrics hold nothing of the memory that their run lay in', () => {
    const planned = new Set(files.map((f) => readRecord(f).header?.record_id ?? ''));
    const read = (file: string) => readOneRun({ path: file, name: file }, planned).metrics;
    const all = files.map(read);
    const before = structuredClone(all);
    [...files.slice(1), ...files].forEach(read);
    expect(all).toEqual(before);
    expect(all).toEqual(files.map((file) => runMetrics(readRun(file).data())));
    expect(all.map((run) => [run?.curve !== null, run?.steps.length])).toContainEqual([true, 0]);
  });

  test('beyond its bound samples are averaged in blocks: means stay, memory is bounded, and a flag says so', () => {
    const kv = files.find((file) => path.basename(file).includes('kv')) ?? '';
    const whole = readRun(kv).data();
    const short = readRun(kv, 1024).data();
    expect(whole.block).toBe(1);
    expect(short.block).toBeGreaterThan(1);
    expect(Math.max(...short.channels.map((c) => c.value.length))).toBeLessThanOrEqual(1024);
    const value = (data: typeof whole) => runMetrics(data).metrics.find((m) => m.name === 'kv_rpm_per_V')?.value ?? NaN;
    expect(Math.abs(value(short) / value(whole) - 1)).toBeLessThan(0.002);
    expect(runMetrics(short).flags.join()).toContain(`averaged in blocks of ${short.block}`);
    expect(runMetrics(whole).flags.join()).not.toContain('averaged in blocks');
  });

  test('threads give what one thread gives, in the order of the files, unreadable ones named', async () => {
    const junk = path.join(folder, 'junk.mcap');
    fs.writeFileSync(junk, 'not a record');
    const list = Array.from({ length: 13 }, () => [...files, junk]).flat().map((file, i) => ({ path: file, name: `${i}` }));
    const planned = files.map((f) => readRecord(f).header?.record_id ?? '');
    const shared = await readRunsOnThreads(list, planned);
    expect(shared).toEqual(list.map((f) => readOneRun(f, new Set(planned))));
    expect(shared[files.length].note).toMatchObject({ status: 'unreadable', record_id: null });
  }, 60_000);
});

describe('a column', () => {
  test('holds numbers as they came up to its bound, and means of pairs from the next on', () => {
    const column = new NumberColumn(8);
    for (let i = 0; i < 8; i++) column.push(i);
    expect([column.block, [...column.copy().values()]]).toEqual([1, [0, 1, 2, 3, 4, 5, 6, 7]]);
    column.push(8);
    expect([column.block, [...column.values()]]).toEqual([2, [0.5, 2.5, 4.5, 6.5, 8]]);
  });

  test('filled at once it holds what it holds when pushed, up to its bound; beyond, each has to be pushed', () => {
    const pushed = new NumberColumn(64);
    const filled = new NumberColumn(64);
    let next = 0;
    for (const count of [1, 0, 40, 23]) {
      const room = filled.room(count)!;
      expect(room.length).toBe(count);
      for (let i = 0; i < count; i++, next++) {
        pushed.push(next);
        room[i] = next;
      }
    }
    expect(filled.copy().values()).toEqual(pushed.copy().values());
    expect(filled.room(1)).toBeNull();
    filled.push(next);
    pushed.push(next);
    expect([filled.block, filled.room(1)]).toEqual([2, null]);
    expect(filled.values()).toEqual(pushed.values());
  });

  test('gets an array again once it is free, and one of more than 1 MB never', () => {
    const memory = new ReusedMemory();
    const [small, large, longer] = [8, 131_072, 131_073].map((length) => memory.array(length));
    expect(memory.array(8) === small).toBe(false);
    memory.reuse();
    expect([memory.array(8), memory.array(8)].filter((array) => array === small).length).toBe(1);
    expect([memory.array(131_072) === large, memory.array(131_073) === longer]).toEqual([true, false]);
  });

  test('lies in memory that was used before as in new memory, also while it grows and where it is copied', () => {
    const memory = new ReusedMemory();
    memory.array(16_384).fill(7);
    memory.array(32_768).fill(7);
    memory.reuse();
    const used = new NumberColumn(65_536, memory);
    const fresh = new NumberColumn(65_536);
    for (let i = 0; i < 20_000; i++) for (const column of [used, fresh]) column.push(i);
    const copy = used.copy();
    copy.push(1);
    expect(used.values()).toEqual(fresh.values());
    expect([copy.values().length, copy.values()[19_999], copy.values()[20_000]]).toEqual([20_001, 19_999, 1]);
  });

  test('keeps the mean of all blocks, whatever the length', () => {
    for (const n of [4096, 4097, 10_000, 65_536]) {
      const column = new NumberColumn(4096);
      for (let i = 0; i < n; i++) column.push(i);
      const values = column.values();
      expect(values.length).toBeLessThanOrEqual(4096);
      const whole = Math.floor(n / column.block);
      expect(values.slice(0, whole).reduce((a, b) => a + b, 0) / whole).toBeCloseTo((whole * column.block - 1) / 2, 6);
    }
  });
});
