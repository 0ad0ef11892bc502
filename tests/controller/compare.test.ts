// Goal: the JavaScript run and the wasm build of the one source are the same machine, bit for bit.
// Method: a million random ticks in lockstep with commands and damaged frames; again, shorter, with checked arrays.
import { afterEach, expect, test, vi } from 'vitest';
import { instantiateCore } from '../../src/controller/wasm';
import * as m from '../../src/wire/messages';
import type { Core } from './kit';
import { frameOf, jsCore, wasmCore } from './kit';
import { lockstep } from './random-session';

const SEEDS = [11, 22, 33, 44, 55, 66, 77, 88, 99, 110];
const TICKS = 100_000;

test('a million random ticks: throttle, output bytes and memory of both are identical', () => {
  const wasm = wasmCore();
  const seen = { states: new Set<number>(), causes: new Set<number>(), kinds: new Set<number>(), results: new Set<number>(), ends: new Set<number>() };
  let frames = 0, ticks = 0;
  for (const seed of SEEDS) {
    const tally = lockstep(jsCore, wasm, seed, TICKS);
    frames += tally.frames;
    ticks += tally.ticks;
    for (const key of Object.keys(seen) as (keyof typeof seen)[]) tally[key].forEach((v) => seen[key].add(v));
  }
  expect(ticks).toBeGreaterThanOrEqual(1_000_000);
  expect(frames).toBeGreaterThan(300_000);
  // the session must have been somewhere, or the comparison says little
  expect([...seen.states].sort()).toEqual([0, 1, 2, 3]);
  expect([0, 1, 2, 3, 4, 5, 6, 7].filter((r) => !seen.results.has(r))).toEqual([]);
  expect([m.SEG_REST, m.SEG_LEVEL, m.SEG_RAMP, m.SEG_HOLD_CURRENT, m.SEG_HOLD_POWER, m.SEG_HOLD_SPEED].filter((k) => !seen.kinds.has(k))).toEqual([]);
  expect([m.END_COMPLETE, m.END_STARVED, m.END_STOPPED, m.END_TRIPPED].filter((e) => !seen.ends.has(e))).toEqual([]);
  expect(seen.causes.size).toBeGreaterThan(15);
});

test('the comparison notices one count in one sample of a thousand', () => {
  const wasm = wasmCore();
  let calls = 0;
  const off: Core = { ...wasm, view: wasm.view, setInput: (c, v, p) => { wasm.setInput(c, ++calls % 1000 === 0 ? v + 1 : v, p); } };
  expect(() => lockstep(jsCore, off, 11, 20_000)).toThrow(/differs at tick/);
});

test('a tick that skips idle slots finds what a look at every slot finds', async () => {
  vi.resetModules();
  const js = await import('../../src/controller/main');
  const board = await import('../../src/controller/board');
  const { firstBroken } = await import('../../src/controller/rules');
  let quiet = 0, trips = 0;
  const checked: Core = {
    ...js,
    checksum: () => js.getChecksum() >>> 0,
    view: js.out,
    tick: (dt_us) => {
      const before = js.getState();
      const throttle = js.tick(dt_us);
      if (before !== m.STATE_READY && before !== m.STATE_DRIVING) return throttle;
      if (js.getState() !== m.STATE_TRIPPED) {
        if (firstBroken() !== -1) throw new Error(`slot ${String(firstBroken())} is broken and nothing tripped`);
        quiet++;
      } else if (board.tripSlot !== board.NO_SLOT) {
        if (firstBroken() !== board.tripSlot) throw new Error(`slot ${String(firstBroken())} is the first broken one, ${String(board.tripSlot)} tripped`);
        trips++;
      }
      return throttle;
    },
  };
  const wasm = wasmCore();
  for (const seed of [5, 6, 7]) lockstep(checked, wasm, seed, 60_000);
  expect(quiet).toBeGreaterThan(10_000);
  expect(trips).toBeGreaterThan(100);
});

afterEach(() => {
  delete process.env.SUBSET_STRICT;
  vi.resetModules();
});

test('with checked arrays nothing reads or stores out of bounds or stores a non-integer', async () => {
  process.env.SUBSET_STRICT = '1';
  vi.resetModules();
  const js = await import('../../src/controller/main');
  const strict: Core = { ...js, checksum: () => js.getChecksum() >>> 0, view: js.out };
  expect(() => js.out[99_999]).toThrow(RangeError); // the arrays really are the checked ones
  const tally = lockstep(strict, wasmCore(), 7, 40_000);
  expect(tally.states.size).toBe(4);
});

test('instances share nothing, and drain copies whole slices without losing a byte', () => {
  const a = instantiateCore();
  const b = instantiateCore();
  a.init(1000, 1, 1);
  b.init(1000, 2, 1);
  a.receive(Uint8Array.from(frameOf([m.CMD_TRIP, 1, 40])));
  expect([a.getState(), b.getState()]).toEqual([m.STATE_TRIPPED, m.STATE_SAFE]);
  const n = a.outLength();
  const all = [...a.view.slice(0, n)];
  const parts: number[] = [];
  const into = new Uint8Array(7);
  for (let k = a.drain(into); k > 0; k = a.drain(into)) parts.push(...into.slice(0, k));
  expect(parts).toEqual(all);
  expect(a.drain(into)).toBe(0);
  expect(a.getRowInterval()).toBe(0);
});
