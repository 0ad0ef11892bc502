// Goal: work shared with threads is done once each, in the order asked for, whatever becomes of the threads.
// Method: real threads with programs of a few lines; one that adds, one that fails at its first item, one that does not exist.
import { spawnSync } from 'node:child_process';
import path from 'node:path';
import { threadId } from 'node:worker_threads';
import { describe, expect, test } from 'vitest';
import { shareWork, startCrew } from '../../src/host/threads';

type Added = { readonly sum: number; readonly thread: number };
const items = Array.from({ length: 50 }, (_, i) => i);
const crewOf = (name: string, helpers: number) => startCrew({ name, base: import.meta.url }, helpers);
const here = (item: number): Added => ({ sum: item + 7, thread: threadId });
const sums = (results: readonly Added[]): number[] => results.map((r) => r.sum);
/** Plain data for the helpers; `taken` turns 1 when one of them has taken an item. */
const sharedData = () => ({ add: 7, taken: new Int32Array(new SharedArrayBuffer(4)) });
/** Work here that waits until a helper has taken an item. */
const after = (taken: Int32Array) => (item: number): Added => {
  if (Atomics.wait(taken, 0, 0, 60_000) === 'timed-out') throw new Error('no helper took an item');
  return here(item);
};

describe('shared work', () => {
  test('comes back in order, and a crew that waits takes part in it', async () => {
    const shared = sharedData();
    const results = await shareWork(crewOf('child-adds', 2), items, shared, after(shared.taken));
    expect(sums(results)).toEqual(items.map((i) => i + 7));
    expect(new Set(results.map((r) => r.thread)).size).toBeGreaterThan(1);
  });

  test.each([['no crew', 'child-adds', 0], ['a crew whose program is missing', 'child-missing', 2]])('is all done here with %s', async (_what, name, helpers) => {
    const results = await shareWork(crewOf(name, helpers), items, sharedData(), here);
    expect(sums(results)).toEqual(items.map((i) => i + 7));
    expect(new Set(results.map((r) => r.thread))).toEqual(new Set([threadId]));
  });

  test('what a thread took and failed at is done here', async () => {
    const shared = sharedData();
    const results = await shareWork(crewOf('child-fails', 2), items, shared, after(shared.taken));
    expect(sums(results)).toEqual(items.map((i) => i + 7));
    expect(new Set(results.map((r) => r.thread))).toEqual(new Set([threadId]));
  });

  test('a crew that was given nothing keeps no program from ending', () => {
    const program = path.join(import.meta.dirname, 'child-waits.ts');
    expect(spawnSync(process.execPath, ['--import', 'tsx', program], { encoding: 'utf8', timeout: 60_000 })).toMatchObject({ status: 0, signal: null, stderr: '' });
  });

  test('of nothing is nothing', async () => {
    expect(await shareWork(crewOf('child-adds', 1), [], sharedData(), here)).toEqual([]);
  });
});
