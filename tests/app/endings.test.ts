// Goal: however and whenever a run is ended early, the motor is off at once and for good, and the outcome is written.
// Method: the operator's requests and a disk that fills up, at every phase of whole runs in virtual time, throttle watched tick by tick.
import fs from 'node:fs';
import { afterAll, describe, expect, test } from 'vitest';
import { CannotRecord } from '../../src/record/errors';
import { readRecord } from '../../src/record/file-reader';
import type { FileCalls } from '../../src/record/file-writer';
import { FLUSH_US } from '../../src/record/writer';
import { cleanUp, eventsOf, type Played } from './kit';
import { playScene, protocolText, SLICE_US } from './scenes';

afterAll(cleanUp);

/** One of each kind of segment, 2.4 s. */
const MIXED = protocolText([
  'rest: { for: 200 ms }', 'ramp: { to: 40 %, in: 300 ms }', 'level: { throttle: 40 %, for: 300 ms }', 'hold-current: { target: 1 A, for: 400 ms }',
  'hold-speed: { target: 12000 rpm, for: 400 ms }', 'wait-until: { throttle: 30 %, channel: speed, below: 100 rpm, for: 20 ms, within: 300 ms }',
  'hold-power: { target: 4 W, for: 300 ms }', 'ramp: { to: 0 %, in: 200 ms }',
]);
const LENGTH_S = 2.4;

/** From `at_us` plus one slice of bytes on, every tick is at zero. */
function expectZeroFrom(played: Played, at_us: number): void {
  const { ticks, ready } = played;
  const late = ticks.end_us.findIndex((t, i) => t > at_us + SLICE_US + ready.rig.tick_us && ticks.throttle[i] > 0);
  expect(late, `throttle at ${ticks.end_us[late]} µs, although the stop was asked for at ${at_us} µs`).toBe(-1);
}

describe('stop now', () => {
  const times = [0, 0.005, 0.01, 0.015, 0.02, ...Array.from({ length: 20 }, (_, i) => 0.05 + (i * (LENGTH_S + 0.2)) / 20)];

  test.each(times)('asked for %f s after the beginning', async (at_s) => {
    const played = await playScene(MIXED, { asks: [[at_s, 'stop-now']] });
    const { outcome } = played.result;
    const before = played.record.events.some((e) => e.type === 'ended' && e.how === 'complete');
    expect(outcome.outcome).toBe(before ? 'done' : 'stopped');
    expect(before).toBe(at_s > LENGTH_S);
    expect(outcome.trip).toBeNull();
    expect(played.record.outcome).toEqual(outcome);
    expect(played.record.end.status).toBe('complete');
    expectZeroFrom(played, played.began_us + at_s * 1e6);
    if (at_s > 0.05) {
      expect(outcome.stop_confirmed).toBe(true);
      expect(played.still_rpm).toBeLessThan(1500);
      expect(eventsOf(played.record, 'operator')).toMatchObject([{ what: 'stop-now' }]);
    }
  });

  test('ten times in one instant, and ten times in a row: one stop, one outcome', async () => {
    const once = await playScene(MIXED, { asks: [[1, 'stop-now']] });
    const together = await playScene(MIXED, { asks: Array.from({ length: 10 }, () => [1, 'stop-now'] as const) });
    const hammered = await playScene(MIXED, { asks: Array.from({ length: 10 }, (_, i) => [1 + i * 0.07, 'stop-now'] as const) });
    for (const played of [together, hammered]) {
      expect(played.result.outcome).toMatchObject({ outcome: 'stopped', stop_confirmed: true, trip: null });
      expect(eventsOf(played.record, 'stopped')).toHaveLength(1);
      expect(eventsOf(played.record, 'stopped')[0].took_us).toBe(eventsOf(once.record, 'stopped')[0].took_us);
      expectZeroFrom(played, played.began_us + 1e6);
    }
    expect(eventsOf(together.record, 'operator')).toHaveLength(10);
  });
});

describe('finish this segment', () => {
  test('plays the segment to its end and drops the others', async () => {
    const played = await playScene(MIXED, { asks: [[0.65, 'finish-segment']] });
    expect(played.result.outcome).toMatchObject({ outcome: 'finished-early', stop_confirmed: true, trip: null, segments_played: 3 });
    expect(eventsOf(played.record, 'segment-ended').map((e) => [e.ordinal, e.why])).toEqual([[1, 'time'], [2, 'time'], [3, 'time']]);
    const [start, end] = [eventsOf(played.record, 'segment-started')[2], eventsOf(played.record, 'segment-ended')[2]];
    expect(end.tick_us - start.tick_us).toBe(300_000);
    expectZeroFrom(played, end.tick_us);
  });

  test('gives way to a stop', async () => {
    const played = await playScene(MIXED, { asks: [[0.55, 'finish-segment'], [0.65, 'stop-now']] });
    expect(played.result.outcome).toMatchObject({ outcome: 'stopped', stop_confirmed: true, segments_played: 2 });
    expectZeroFrom(played, played.began_us + 0.65e6);
  });

  test('a stop does not give way to it', async () => {
    const played = await playScene(MIXED, { asks: [[0.55, 'stop-now'], [0.56, 'finish-segment']] });
    expect(played.result.outcome).toMatchObject({ outcome: 'stopped', stop_confirmed: true, segments_played: 2 });
    expectZeroFrom(played, played.began_us + 0.55e6);
  });
});

/** A disk on which the n-th write fails for lack of room; from there on, or that one only. `wrote` counts. */
function fullDisk(n: number, forever: boolean): FileCalls & { wrote: number; failed_us: () => number; clock: (now: () => number) => void } {
  let now = (): number => 0;
  let failed_us = -1;
  const calls = {
    wrote: 0,
    failed_us: () => failed_us,
    clock: (clock: () => number) => { now = clock; },
    write: (fd: number, bytes: Uint8Array, offset: number, length: number) => {
      calls.wrote++;
      if (calls.wrote === n || (forever && calls.wrote > n)) {
        if (failed_us < 0) failed_us = now();
        throw Object.assign(new Error('no space left on device'), { code: 'ENOSPC' });
      }
      return fs.writeSync(fd, bytes, offset, length);
    },
    truncate: (fd: number, length: number) => fs.ftruncateSync(fd, length),
    sync: () => undefined,
  };
  return calls;
}

describe('a disk that fills up', () => {
  const SHORT = protocolText(['ramp: { to: 40 %, in: 200 ms }', 'level: { throttle: 40 %, for: 400 ms }', 'ramp: { to: 0 %, in: 200 ms }']);

  test.each([['from there on', true], ['once', false]] as const)('at any write, %s: the motor stops, the run has tripped, what was written reads back', async (_how, forever) => {
    let refused = 0;
    let tripped = 0;
    for (let n = 1; ; n++) {
      const disk = fullDisk(n, forever);
      let played: Played;
      try {
        played = await playScene(SHORT, { open: { calls: disk, flush_us: FLUSH_US }, before: (world) => disk.clock(() => world.simulated.now_us) });
      } catch (error) {
        // Without a header there is no record, and without a record nothing turns.
        expect(error).toBeInstanceOf(CannotRecord);
        expect(tripped).toBe(0);
        refused++;
        continue;
      }
      const { result, record } = played;
      if (disk.wrote < n) {
        expect(result).toMatchObject({ outcome: { outcome: 'done' }, record: { complete: true } });
        break;
      }
      expect(result.record.complete, `write ${n}`).toBe(false);
      tripped++;
      expect(result.outcome).toMatchObject({ outcome: 'tripped', trip: { code: 'CANNOT_RECORD' }, stop_confirmed: true });
      expect(result.outcome.detail).toContain('the disk is full');
      expectZeroFrom(played, disk.failed_us());
      expect(readRecord(result.record.path).header).not.toBeNull();
      expect(record.end.status).not.toBe('damaged');
    }
    expect(refused).toBeGreaterThan(0);
    expect(tripped).toBeGreaterThan(8);
  });
});
