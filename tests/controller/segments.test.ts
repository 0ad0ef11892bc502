// Goal: the throttle at every tick is the one that the queued segments ask for, and never more than the caps allow.
// Method: short runs tick by tick against hand-computed throttles and events.
import { describe, expect, test } from 'vitest';
import * as layout from '../../src/wire/layout';
import * as m from '../../src/wire/messages';
import type { GuardSpec, SegmentSpec } from './kit';
import { Board, fields, jsCore, read16, read32, u16 } from './kit';

function started(segments: readonly SegmentSpec[], guards: GuardSpec = {}, tick_us = 1000): Board {
  const b = new Board(jsCore, tick_us);
  b.drive(segments, [], guards);
  b.take();
  return b;
}
/** Throttle at each of n ticks. */
const play = (b: Board, n: number, dt_us?: number): number[] => Array.from({ length: n }, () => b.run(1, dt_us));
const level = (target: number, ms: number, more: Partial<SegmentSpec> = {}): SegmentSpec => ({ kind: m.SEG_LEVEL, target, duration_us: ms * 1000, ...more });
const ramp = (target: number, ms: number, more: Partial<SegmentSpec> = {}): SegmentSpec => ({ kind: m.SEG_RAMP, target, duration_us: ms * 1000, ...more });
const rest = (ms: number, more: Partial<SegmentSpec> = {}): SegmentSpec => ({ kind: m.SEG_REST, duration_us: ms * 1000, ...more });
const ended = (b: Board): { ordinal: number; how: number | undefined } | undefined => {
  const [e] = b.take(m.MSG_ENDED);
  return e && { ordinal: read16(e, layout.ENDED_ORDINAL), how: e[layout.ENDED_HOW] };
};

describe('levels, rests and ramps', () => {
  test('each owns the ticks from its start up to its duration', () => {
    expect(play(started([level(1000, 3), rest(2), level(500, 2, { last: true })]), 9)).toEqual([1000, 1000, 1000, 0, 0, 500, 500, 0, 0]);
  });
  test('a ramp starts at the throttle in force and meets its target exactly', () => {
    expect(play(started([ramp(1000, 4), level(1000, 1), ramp(0, 5, { last: true })]), 11)).toEqual([0, 250, 500, 750, 1000, 1000, 800, 600, 400, 200, 0]);
  });
  test('a long ramp stays within one raw step of the straight line', () => {
    for (const [ms, dt] of [[60, 125], [65.535, 125], [65.536, 125], [131.1, 1000], [600_000, 20_000]] as const) {
      const b = started([ramp(10_000, ms, { last: true })], {}, dt);
      const n = Math.min(30_000, Math.ceil((ms * 1000) / dt));
      for (let k = 0; k < n; k++) {
        const got = b.run();
        expect(Math.abs(got - (10_000 * k * dt) / (ms * 1000))).toBeLessThanOrEqual(1);
      }
      expect(b.core.getState()).toBe(m.STATE_DRIVING);
    }
  });
  test('ramp down, and a ramp after a ramp', () => {
    expect(play(started([level(9000, 1), ramp(1000, 4), ramp(9000, 4, { last: true })]), 10)).toEqual([9000, 9000, 7000, 5000, 3000, 1000, 3000, 5000, 7000, 0]);
  });
  test('what a tick overshoots is credited to the next segment: a train does not drift', () => {
    // 2.5 ms each at 1 ms ticks: starts at 0, 2.5, 5, 7.5 ms
    const b = started([level(1, 2.5), level(2, 2.5), level(3, 2.5), level(4, 2.5, { last: true })]);
    expect(play(b, 11)).toEqual([1, 1, 1, 2, 2, 3, 3, 3, 4, 4, 0]);
  });
  test('segments shorter than a tick pass, all announced, the whole queue in one tick if need be', () => {
    const b = started([...Array.from({ length: 15 }, (_, k) => level(k + 1, 0.05)), level(77, 5, { last: true })]);
    expect(play(b, 2)).toEqual([1, 77]);
    expect(b.take(m.MSG_SEGMENT_STARTED).map((f) => read16(f, layout.STARTED_ORDINAL))).toEqual(Array.from({ length: 16 }, (_, k) => k + 1));
    const all = started(Array.from({ length: 16 }, () => level(5, 0.001, { })));
    expect(play(all, 2)).toEqual([5, 0]);
    expect(ended(all)).toEqual({ ordinal: 16, how: m.END_STARVED });
  });
  test('the announcement tells ordinal, tick, throttle so far and how the one before ended', () => {
    const b = started([level(1000, 2), level(500, 2, { last: true })]);
    b.run(3);
    const tick = 1000; // one tick was played before arming
    expect(b.take(m.MSG_SEGMENT_STARTED).map((f) => [
      read16(f, layout.STARTED_ORDINAL), read32(f, layout.STARTED_TICK) - tick, read16(f, layout.STARTED_THROTTLE), f[layout.STARTED_WHY],
    ])).toEqual([[1, 1000, 0, m.END_START], [2, 3000, 1000, m.END_TIME]]);
  });
});

describe('slew and caps', () => {
  test('slew limits both directions, in raw throttle per millisecond, whatever the tick', () => {
    const up = started([level(1000, 5, { slew: 300 }), rest(5, { slew: 400, last: true })]);
    expect(play(up, 9)).toEqual([0, 300, 600, 900, 1000, 1000, 600, 200, 0]);
    const fine = started([level(1000, 50, { slew: 3 })], {}, 125);
    expect(play(fine, 17).filter((_, k) => k % 8 === 0)).toEqual([0, 3, 6]);
  });
  test('a rest without slew is zero at once', () => {
    expect(play(started([level(9000, 1), rest(1, { last: true })]), 2)).toEqual([9000, 0]);
  });
  test('the segment’s cap and the guards’ cap both hold, the smaller wins, for every kind', () => {
    for (const [kind, target] of [[m.SEG_LEVEL, 9000], [m.SEG_RAMP, 9000], [m.SEG_HOLD_CURRENT, 60_000], [m.SEG_HOLD_POWER, 60_000], [m.SEG_HOLD_SPEED, 1]] as const) {
      for (const [cap, guard] of [[700, 2000], [2000, 700]] as const) {
        const b = started([{ kind, target, duration_us: 400_000, cap }], { cap: guard });
        const seen = play(b, 399);
        expect(Math.max(...seen)).toBe(700);
      }
    }
  });
  test('a cap below the present throttle wins over the slew limit', () => {
    expect(play(started([level(9000, 1), level(9000, 3, { slew: 1, cap: 100, last: true })]), 3)).toEqual([9000, 100, 100]);
  });
  test('without guards nothing turns: the cap starts at 0', () => {
    const b = new Board(jsCore);
    b.run();
    b.must(m.CMD_ARM, [...u16(m.KEY_ARM), ...[0, 8, 16, 24].map((s) => (b.core.checksum() >>> s) & 255)]);
    b.queue([level(9000, 10)]);
    b.start();
    expect(play(b, 5)).toEqual([0, 0, 0, 0, 0]);
  });
});

describe('how a run ends', () => {
  test('after the last segment: zero, ENDED complete, safe, and the next run needs arming again', () => {
    const b = started([level(1000, 2, { last: true })]);
    expect(play(b, 3)).toEqual([1000, 1000, 0]);
    expect(ended(b)).toEqual({ ordinal: 1, how: m.END_COMPLETE });
    expect([b.core.getState(), b.core.getOrdinal()]).toEqual([m.STATE_SAFE, 0]);
    expect(b.command(m.CMD_START).result).toBe(m.RESULT_WRONG_STATE);
  });
  test('an empty queue without a last segment ends at zero as starved; it never keeps the output', () => {
    const b = started([level(1000, 2)]);
    expect(play(b, 3)).toEqual([1000, 1000, 0]);
    expect(ended(b)).toEqual({ ordinal: 1, how: m.END_STARVED });
    expect(b.core.getState()).toBe(m.STATE_SAFE);
  });
  test('a segment queued while driving is played', () => {
    const b = started([level(1000, 2)]);
    b.run(2);
    b.queue([level(2000, 1, { last: true })], 2);
    expect(play(b, 2)).toEqual([2000, 0]);
    expect(ended(b)).toEqual({ ordinal: 2, how: m.END_COMPLETE });
  });
  test('END_SEGMENT moves on at the next tick, and names the segment', () => {
    const b = started([level(1000, 600_000), level(2000, 2, { last: true })]);
    b.run(3);
    expect(b.command(m.CMD_END_SEGMENT, u16(2)).result).toBe(m.RESULT_NOT_CURRENT);
    b.must(m.CMD_END_SEGMENT, u16(1));
    expect(b.core.getThrottle()).toBe(1000);
    expect(play(b, 3)).toEqual([2000, 2000, 0]);
    expect(b.take(m.MSG_SEGMENT_STARTED).map((f) => f[layout.STARTED_WHY])).toEqual([m.END_START, m.END_ASKED]);
  });
  test('END_SEGMENT of the only segment completes or starves as its flag says', () => {
    for (const [last, how] of [[true, m.END_COMPLETE], [false, m.END_STARVED]] as const) {
      const b = started([level(1000, 600_000, { last })]);
      b.run(2);
      b.must(m.CMD_END_SEGMENT, u16(1));
      expect(play(b, 1)).toEqual([0]);
      expect(ended(b)).toEqual({ ordinal: 1, how });
    }
  });
  test('END_SEGMENT before the first tick finds nothing to end', () => {
    const b = started([level(1000, 5)]);
    expect(b.command(m.CMD_END_SEGMENT, u16(1)).result).toBe(m.RESULT_NOT_CURRENT);
  });
  test('CLEAR_AFTER lets the named segment finish, drops the later ones, then completes', () => {
    for (const [named, wanted] of [[1, [1000, 1000, 0, 0]], [2, [1000, 1000, 2000, 0]]] as const) {
      const b = started([level(1000, 3), level(2000, 1), level(3000, 9)]);
      b.run(1);
      b.must(m.CMD_CLEAR_AFTER, u16(named));
      expect(play(b, 4)).toEqual(wanted);
      expect(ended(b)).toEqual({ ordinal: named, how: m.END_COMPLETE });
    }
  });
  test('CLEAR_AFTER refuses what is over or not queued, and seals the queue', () => {
    const b = started([level(1000, 1), level(2000, 50), level(3000, 9)]);
    b.run(2);
    expect(b.command(m.CMD_CLEAR_AFTER, u16(1)).result).toBe(m.RESULT_NOT_CURRENT);
    expect(b.command(m.CMD_CLEAR_AFTER, u16(4)).result).toBe(m.RESULT_NOT_CURRENT);
    b.must(m.CMD_CLEAR_AFTER, u16(3));
    expect(b.command(m.CMD_SEGMENT, fields.segment(4, level(1, 1))).result).toBe(m.RESULT_BAD_VALUE);
  });
  test('CLEAR_AFTER finds its place when the ring has wrapped', () => {
    const b = started(Array.from({ length: 16 }, () => level(10, 1)));
    b.run(13);
    b.queue(Array.from({ length: 10 }, () => level(20, 1)), 17);
    b.must(m.CMD_CLEAR_AFTER, u16(18));
    b.run(10);
    expect(ended(b)).toEqual({ ordinal: 18, how: m.END_COMPLETE });
  });
  test('STOP is zero at once, ENDED stopped, safe', () => {
    const b = started([level(1000, 50)]);
    b.run(2);
    b.must(m.CMD_STOP);
    expect([b.core.getThrottle(), b.core.getState()]).toEqual([0, m.STATE_SAFE]);
    expect(ended(b)).toEqual({ ordinal: 1, how: m.END_STOPPED });
    expect(play(b, 2)).toEqual([0, 0]);
  });
  test('rows name the played segment, 0 when nothing is played', () => {
    const b = new Board(jsCore);
    b.must(m.CMD_SET_TELEMETRY, u16(1));
    b.drive([level(1000, 2), level(500, 1, { last: true })]);
    b.take();
    b.run(4);
    expect(b.take(m.MSG_ROW).map((r) => [read16(r, layout.ROW_ORDINAL), (r[layout.ROW_STATE] ?? 0) >> 4])).toEqual([[1, 1], [1, 1], [2, 0], [0, 0]]);
  });
});
