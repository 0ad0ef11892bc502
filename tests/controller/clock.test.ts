// Goal: time does what the safety rules say, however the counter wraps: tick bounds, deadman, permit, longest run, stop input.
// Method: virtual ticks on both sides of every bound; the counter is driven past its wrap.
import { expect, test } from 'vitest';
import * as layout from '../../src/wire/layout';
import * as m from '../../src/wire/messages';
import { TRIP_HOST_SILENT, TRIP_LONGEST_RUN, TRIP_STOP_INPUT, TRIP_TICK } from '../../src/wire/trip-codes';
import type { SegmentSpec } from './kit';
import { Board, fields, i32, jsCore, read32, u16 } from './kit';

const LONG: SegmentSpec = { kind: m.SEG_LEVEL, target: 3000, duration_us: 600_000_000 };
const verdict = (b: Board): number[] => [b.core.getState(), b.core.getCause()];

test.each([[125, true], [124, false], [20_000, true], [20_001, false], [0, false], [-1, false], [2147483647, false], [-2147483648, false]])(
  'a tick of %i µs is accepted: %s', (dt, fine) => {
    for (const prepare of [(b: Board) => b.drive([LONG], [], { deadman_us: 2_000_000 }), (b: Board) => b.arm(), (b: Board) => b.run()]) {
      const b = new Board(jsCore);
      prepare(b);
      const state = b.core.getState();
      b.run(1, dt);
      expect(verdict(b)).toEqual(fine ? [state, 0] : [m.STATE_TRIPPED, TRIP_TICK]);
      if (!fine) {
        const [tripped = []] = b.take(m.MSG_TRIPPED);
        expect([read32(tripped, layout.TRIPPED_VALUE), read32(tripped, layout.TRIPPED_LIMIT)]).toEqual([dt, dt < 125 ? 125 : 20_000]);
        expect(b.core.getThrottle()).toBe(0);
      }
    }
  });

test('ticks may change from one to the next', () => {
  const b = new Board(jsCore);
  b.drive([{ ...LONG, kind: m.SEG_RAMP, target: 10_000, duration_us: 100_000 }]);
  for (const [dt, want] of [[1000, 0], [125, 13], [20_000, 2013], [10_000, 3013], [125, 3025]] as const) {
    expect(Math.abs(b.run(1, dt) - want)).toBeLessThanOrEqual(1);
  }
});

test('the host silent for exactly the deadman is fine, longer trips, while driving and while ready', () => {
  for (const driving of [true, false]) {
    const b = new Board(jsCore);
    if (driving) b.drive([LONG], [], { deadman_us: 50_000 });
    else b.arm([], { deadman_us: 50_000 });
    b.run();
    b.permit(1_000_000);
    b.permit_us = 0;
    b.run(50);
    expect(b.core.getState()).toBe(driving ? m.STATE_DRIVING : m.STATE_READY);
    expect(b.run(1)).toBe(0);
    expect(verdict(b)).toEqual([m.STATE_TRIPPED, TRIP_HOST_SILENT]);
  }
});

test('arming starts the silence anew; in safe nobody has to be heard', () => {
  const b = new Board(jsCore);
  b.permit_us = 0;
  b.run(5000);
  expect(b.core.getState()).toBe(m.STATE_SAFE);
  b.arm([], { deadman_us: 50_000 });
  b.run(50);
  expect(b.core.getState()).toBe(m.STATE_READY);
  b.run(1);
  expect(verdict(b)).toEqual([m.STATE_TRIPPED, TRIP_HOST_SILENT]);
});

test('a permit drives for its span and no longer; 0 or less withdraws it; ready does not need one', () => {
  const b = new Board(jsCore);
  b.drive([LONG], [], { deadman_us: 1_000_000 });
  b.permit(10_000);
  b.permit_us = 0;
  expect(b.run(9)).toBe(3000);
  expect(b.run(1)).toBe(0);
  expect(verdict(b)).toEqual([m.STATE_TRIPPED, TRIP_HOST_SILENT]);
  for (const span of [0, -5]) {
    const withdrawn = new Board(jsCore);
    withdrawn.drive([LONG], [], { deadman_us: 1_000_000 });
    withdrawn.run(2);
    withdrawn.permit_us = 0;
    withdrawn.permit(span);
    withdrawn.run(1);
    expect(verdict(withdrawn)).toEqual([m.STATE_TRIPPED, TRIP_HOST_SILENT]);
    const ready = new Board(jsCore);
    ready.arm([], { deadman_us: 1_000_000 });
    ready.permit_us = 0;
    ready.permit(span);
    ready.run(100);
    expect(ready.core.getState()).toBe(m.STATE_READY);
  }
});

test('START needs a live permit and something queued', () => {
  const b = new Board(jsCore);
  b.permit_us = 0;
  b.arm();
  expect(b.command(m.CMD_START).result).toBe(m.RESULT_CONDITION);
  b.permit(5000);
  expect(b.command(m.CMD_START).result).toBe(m.RESULT_CONDITION);
  b.queue([LONG]);
  b.run(4);
  expect(b.command(m.CMD_START).result).toBe(m.RESULT_OK);
  const late = new Board(jsCore);
  late.permit_us = 0;
  late.arm();
  late.queue([LONG]);
  late.permit(5000);
  late.run(5);
  expect(late.command(m.CMD_START).result).toBe(m.RESULT_CONDITION);
});

test('a permit while tripped changes nothing', () => {
  const b = new Board(jsCore);
  b.must(m.CMD_TRIP, [40]);
  b.permit(1_000_000);
  b.must(m.CMD_CLEAR_TRIP, u16(m.KEY_CLEAR));
  b.permit_us = 0;
  b.arm();
  b.queue([LONG]);
  expect(b.command(m.CMD_START).result).toBe(m.RESULT_CONDITION);
});

test('the longest run is allowed, a tick more trips; the next run starts from zero', () => {
  const b = new Board(jsCore);
  b.drive([LONG], [], { longestRun_us: 30_000 });
  expect(b.run(30)).toBe(3000);
  expect(b.run(1)).toBe(0);
  expect(verdict(b)).toEqual([m.STATE_TRIPPED, TRIP_LONGEST_RUN]);
  const twice = new Board(jsCore);
  for (let k = 0; k < 2; k++) {
    twice.arm([], { longestRun_us: 30_000 });
    twice.queue([{ ...LONG, duration_us: 20_000, last: true }]);
    twice.start();
    twice.run(21);
    expect(verdict(twice)).toEqual([m.STATE_SAFE, 0]);
  }
});

test('the stop input trips in every state, and wins over limits', () => {
  for (const prepare of [(b: Board) => b.run(), (b: Board) => b.arm(), (b: Board) => b.drive([LONG], [{ rule: m.RULE_ABOVE, threshold: 500 }])]) {
    const b = new Board(jsCore);
    prepare(b);
    b.core.stopInput(1);
    b.samples[0] = { counts: 900, valid: true };
    expect(b.run()).toBe(0);
    expect(verdict(b)).toEqual([m.STATE_TRIPPED, TRIP_STOP_INPUT]);
  }
});

test('nothing notices the tick counter wrapping at 2^31 and 2^32 µs: no trip, no missed trip, labels go on', () => {
  let ticks = 0;
  const counting = { ...jsCore, tick: (dt: number): number => { ticks++; return jsCore.tick(dt); } };
  const b = new Board(counting, 20_000);
  b.must(m.CMD_SET_GUARDS, fields.guards({ longestRun_us: 1_800_000_000, deadman_us: 100_000 }));
  b.must(m.CMD_SET_LIMIT, fields.limit(0, { rule: m.RULE_STALE, channel: 3, span_us: 60_000, cause: 9 }));
  const start = (): void => {
    b.run();
    b.must(m.CMD_ARM, [...u16(m.KEY_ARM), ...i32(b.core.checksum())]);
    b.queue([{ ...LONG, duration_us: 1_000_000 }]);
    b.start();
  };
  for (const wrap of [2 ** 31, 2 ** 32]) {
    const before = Math.floor(wrap / 20_000) - 20;
    while (ticks < before) b.core.tick(20_000);
    start();
    expect(b.run(40)).toBe(3000);
    b.must(m.CMD_STOP);
  }
  b.must(m.CMD_SET_TELEMETRY, u16(1));
  b.take();
  b.run(2);
  const labels = b.take(m.MSG_ROW).map((r) => read32(r, layout.ROW_TICK) >>> 0);
  expect(labels).toEqual([(ticks - 1) * 20_000, ticks * 20_000].map((t) => t % 2 ** 32));
  start();
  b.run(3);
  b.samples[3] = null;
  b.run(5);
  expect(verdict(b)).toEqual([m.STATE_TRIPPED, 9]);
});
test('an age of more than 2000 s stays old: it never wraps back to fresh', () => {
  const b = new Board(jsCore, 20_000);
  b.run();
  for (let k = 0; k < 220_000; k++) b.core.tick(20_000); // 4400 s
  expect(b.command(m.CMD_ARM, [...u16(m.KEY_ARM), ...i32(b.core.checksum())]).result).toBe(m.RESULT_CONDITION);
});

test('init holds the nominal tick within what ticks may be', () => {
  for (const [asked, told] of [[1, 125], [1000, 1000], [99_999, 20_000]] as const) {
    const b = new Board(jsCore, asked);
    b.must(m.CMD_HELLO, u16(m.WIRE_VERSION));
    expect(read32(b.take(m.MSG_IDENTITY)[0] ?? [], layout.IDENTITY_TICK)).toBe(told);
  }
});
