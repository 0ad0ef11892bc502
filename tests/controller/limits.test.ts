// Goal: every limit rule trips on one side of its boundary and not on the other, in the tick that brings the sample.
// Method: a driving board, samples tick by tick; the trip frame tells tick, value, limit and segment.
import { describe, expect, test } from 'vitest';
import * as layout from '../../src/wire/layout';
import * as m from '../../src/wire/messages';
import { TRIP_NONE } from '../../src/wire/trip-codes';
import type { LimitSpec, SegmentSpec } from './kit';
import { Board, i32, fields, jsCore, read16, read32, u16 } from './kit';

const CAUSE = 7;
const LONG: SegmentSpec = { kind: m.SEG_LEVEL, target: 4000, duration_us: 600_000_000 };
const PERIOD = 2;

/** Driving at 40 % with one limit in slot 0. */
function driving(limit: LimitSpec, tick_us = 1000): Board {
  const b = new Board(jsCore, tick_us);
  b.drive([LONG], [{ cause: CAUSE, ...limit }]);
  b.run(2);
  expect(b.core.getThrottle()).toBe(4000);
  b.take();
  return b;
}
/** Sends counts on a channel, one a tick; returns at which of them (0-based) the board tripped, -1 when it did not. */
function feed(b: Board, channel: number, values: readonly (number | 'impossible' | null)[]): number {
  for (let k = 0; k < values.length; k++) {
    const v = values[k] ?? null;
    b.samples[channel] = v === null ? null : v === 'impossible' ? { counts: 100_000, valid: false } : { counts: v, valid: true };
    const throttle = b.run();
    if (b.core.getState() === m.STATE_TRIPPED) {
      expect(throttle).toBe(0);
      expect(b.core.getCause()).toBe(CAUSE);
      return k;
    }
    expect(throttle).toBe(4000);
  }
  return -1;
}
const repeat = <T>(n: number, ...values: T[]): T[] => Array.from({ length: n }, () => values).flat();

describe('above and below', () => {
  test('one sample on the threshold does not trip, one count beyond does, in the same tick', () => {
    expect(feed(driving({ rule: m.RULE_ABOVE, threshold: 500 }), 0, [500])).toBe(-1);
    expect(feed(driving({ rule: m.RULE_ABOVE, threshold: 500 }), 0, [501])).toBe(0);
    expect(feed(driving({ rule: m.RULE_BELOW, channel: 1, threshold: 100 }), 1, [100])).toBe(-1);
    expect(feed(driving({ rule: m.RULE_BELOW, channel: 1, threshold: 100 }), 1, [99])).toBe(0);
  });
  test('works at the ends of i32', () => {
    expect(feed(driving({ rule: m.RULE_ABOVE, threshold: 2147483646 }), 0, [2147483646, 2147483647])).toBe(1);
    expect(feed(driving({ rule: m.RULE_BELOW, threshold: -2147483647 }), 0, [-2147483647, -2147483648])).toBe(1);
  });
  test('with m of n, m - 1 bad samples never trip and the m-th does', () => {
    const limit = { rule: m.RULE_ABOVE, threshold: 500, bad: 3, window: 8 };
    expect(feed(driving(limit), 0, [900, 900, 100])).toBe(-1);
    expect(feed(driving(limit), 0, [900, 900, 900])).toBe(2);
  });
  test('alternating good and bad samples still trip: the window counts, it does not start over', () => {
    expect(feed(driving({ rule: m.RULE_ABOVE, threshold: 500, bad: 4, window: 8 }), 0, repeat(20, 900, 100))).toBe(6);
  });
  test.each([2, 8, 31, 32, 33, 100, 256])('a window of %i forgets a bad sample after exactly that many', (window) => {
    const limit = { rule: m.RULE_ABOVE, threshold: 500, bad: 2, window };
    expect(feed(driving(limit), 0, [900, ...repeat(window - 2, 100), 900])).toBe(window - 1);
    expect(feed(driving(limit), 0, [900, ...repeat(window - 1, 100), 900])).toBe(-1);
    expect(feed(driving(limit), 0, [...repeat(3, 900, ...repeat(window, 100)), 900, 900])).toBe(3 * (window + 1) + 1);
  });
  test('all of a full window of 256', () => {
    const limit = { rule: m.RULE_ABOVE, threshold: 500, bad: 256, window: 256 };
    expect(feed(driving(limit), 0, repeat(255, 900))).toBe(-1);
    expect(feed(driving(limit), 0, repeat(256, 900))).toBe(255);
  });
  test('ticks without a sample neither count nor forget', () => {
    expect(feed(driving({ rule: m.RULE_ABOVE, threshold: 500, bad: 2, window: 2 }), 0, [900, null, null, null, 900])).toBe(4);
  });
  test('impossible samples do not enter the window of a value', () => {
    expect(feed(driving({ rule: m.RULE_ABOVE, channel: 3, threshold: 500 }), 3, repeat(5, 'impossible' as const))).toBe(-1);
    const b = driving({ rule: m.RULE_ABOVE, threshold: 500, bad: 2, window: 2 });
    expect(feed(b, 0, [900, 'impossible', 900])).toBe(2);
  });
});

describe('invalid', () => {
  test('counts impossible samples, possible ones push them out', () => {
    const limit = { rule: m.RULE_INVALID, channel: 3, bad: 2, window: 3 };
    expect(feed(driving(limit), 3, ['impossible', 5, 5, 'impossible'])).toBe(-1);
    expect(feed(driving(limit), 3, ['impossible', 5, 'impossible'])).toBe(2);
  });
});

describe('stale', () => {
  test('a sample exactly as old as the span is fine, one tick more trips', () => {
    expect(feed(driving({ rule: m.RULE_STALE, channel: 3, span_us: 5000 }), 3, repeat(5, null))).toBe(-1);
    expect(feed(driving({ rule: m.RULE_STALE, channel: 3, span_us: 5000 }), 3, repeat(6, null))).toBe(5);
    expect(feed(driving({ rule: m.RULE_STALE, channel: 3, span_us: 5000 }), 3, repeat(9, null, null, null, null, null, 1))).toBe(-1);
  });
  test('an impossible sample is still a sample', () => {
    expect(feed(driving({ rule: m.RULE_STALE, channel: 3, span_us: 5000 }), 3, repeat(9, 'impossible' as const))).toBe(-1);
  });
});

describe('mean', () => {
  const limit = { rule: m.RULE_MEAN_ABOVE, threshold: 500, span_us: 160_000 };
  test('a mean on the threshold does not trip, one count more does, after one whole span and at most one block', () => {
    expect(feed(driving(limit), 0, repeat(400, 500))).toBe(-1);
    const at = feed(driving(limit), 0, repeat(400, 501));
    expect(at).toBeGreaterThanOrEqual(150);
    expect(at).toBeLessThanOrEqual(170);
  });
  test('a peak of a tenth of the span trips only when the mean over the span says so', () => {
    const base = repeat(200, 400);
    // 16 ms at 1400 add 100 to the mean over 160 ms: 500 is not above 500
    expect(feed(driving(limit), 0, [...base, ...repeat(16, 1400), ...repeat(300, 400)])).toBe(-1);
    expect(feed(driving(limit), 0, [...base, ...repeat(18, 1450), ...repeat(300, 400)])).toBeGreaterThan(200);
  });
  test('alternating samples trip by their mean', () => {
    expect(feed(driving(limit), 0, repeat(200, 0, 1000))).toBe(-1);
    expect(feed(driving(limit), 0, repeat(200, 0, 1004))).toBeGreaterThan(0);
  });
  test('nothing is judged before a whole span has passed', () => {
    const b = new Board(jsCore);
    b.samples[0] = { counts: 90_000, valid: true };
    b.drive([LONG], [{ cause: CAUSE, ...limit }]);
    b.run(100);
    expect(b.core.getState()).toBe(m.STATE_DRIVING);
    b.run(60);
    expect(b.core.getState()).toBe(m.STATE_TRIPPED);
  });
  test('blocks without a sample repeat the one before: a slow channel is judged too', () => {
    const slow = [900, ...repeat<number | null>(39, null)];
    expect(feed(driving({ ...limit, channel: 3 }), 3, repeat(20, ...slow))).toBeGreaterThan(0);
    const fine = [480, ...repeat<number | null>(39, null)];
    expect(feed(driving({ ...limit, channel: 3 }), 3, repeat(20, ...fine))).toBe(-1);
  });
  test('a channel that never sampled has no mean', () => {
    const b = new Board(jsCore, 1000, [m.KIND_CURRENT]);
    b.core.declareChannel(1, m.KIND_THRUST, 1, 0, 0, 0);
    b.drive([LONG], [{ cause: CAUSE, ...limit, channel: 1, threshold: -5 }]);
    b.run(500);
    expect(b.core.getState()).toBe(m.STATE_DRIVING);
  });
  test('spans shorter than 16 ticks, and than one, use as many blocks as fit', () => {
    for (const [span_us, last] of [[4000, 3], [1000, 0], [500, 0]] as const) {
      expect(feed(driving({ ...limit, span_us }), 0, repeat(20, 500))).toBe(-1);
      expect(feed(driving({ ...limit, span_us }), 0, repeat(20, 100_000))).toBeLessThanOrEqual(last);
    }
  });
  test('does not overflow: full-scale 24-bit counts and far thresholds keep their sign', () => {
    const wide = { ...limit, threshold: 8_388_607, span_us: 1_600_000 };
    expect(feed(driving(wide), 0, repeat(1700, -8_388_608))).toBe(-1);
    expect(feed(driving({ ...wide, threshold: -8_388_608 }), 0, repeat(1700, 8_388_607))).toBeGreaterThan(0);
    expect(feed(driving({ ...wide, threshold: -2147483648 }), 0, repeat(1700, 2147483647))).toBeGreaterThan(0);
    expect(feed(driving({ ...wide, threshold: 2147483647 }), 0, repeat(1700, -2147483648))).toBe(-1);
  });
  test('reports the mean as the value', () => {
    const b = driving(limit);
    feed(b, 0, repeat(400, 600));
    const [tripped = []] = b.take(m.MSG_TRIPPED);
    const value = read32(tripped, layout.TRIPPED_VALUE);
    expect(value).toBeGreaterThan(500);
    expect(value).toBeLessThanOrEqual(600);
    expect(read32(tripped, layout.TRIPPED_LIMIT)).toBe(500);
  });
});

describe('rotation', () => {
  const still = { counts: 65535, valid: false };
  const turns = { counts: 400, valid: true };
  const drive = (limit: LimitSpec, segments: readonly SegmentSpec[] = [LONG]): Board => {
    const b = new Board(jsCore);
    b.samples[PERIOD] = still;
    b.drive(segments, [{ cause: CAUSE, ...limit }]);
    return b;
  };
  const tripsAfter = (b: Board, ticks: number): number => {
    for (let k = 1; k <= ticks; k++) {
      b.run();
      if (b.core.getState() === m.STATE_TRIPPED) return k;
    }
    return -1;
  };
  test('stall: current above the threshold and no rotation for the span of drive', () => {
    const limit = { rule: m.RULE_STALL, threshold: 300, span_us: 20_000 };
    const b = drive(limit);
    b.samples[0] = { counts: 301, valid: true };
    expect(tripsAfter(b, 100)).toBe(21); // the first tick starts the drive
    const weak = drive(limit);
    weak.samples[0] = { counts: 300, valid: true };
    expect(tripsAfter(weak, 100)).toBe(-1);
    weak.samples[0] = { counts: 301, valid: true };
    expect(tripsAfter(weak, 1)).toBe(1);
  });
  test('stall: a turning rotor is none, and noise on the current does not reset the time', () => {
    const limit = { rule: m.RULE_STALL, threshold: 300, span_us: 20_000 };
    const b = drive(limit);
    b.samples[0] = { counts: 900, valid: true };
    b.samples[PERIOD] = turns;
    expect(tripsAfter(b, 100)).toBe(-1);
    const noisy = drive(limit);
    for (let k = 0; k < 19; k++) {
      noisy.samples[0] = { counts: k % 2 === 0 ? 100 : 900, valid: true };
      noisy.run();
    }
    noisy.samples[0] = { counts: 900, valid: true };
    expect(tripsAfter(noisy, 9)).toBe(2);
  });
  test('a period longer than the still period, or impossible, is no rotation', () => {
    const limit = { rule: m.RULE_STALL, threshold: 50, span_us: 20_000 };
    for (const [counts, valid, wanted] of [[20_000, true, -1], [20_001, true, 21], [400, false, 21]] as const) {
      const b = drive(limit);
      b.samples[PERIOD] = { counts, valid };
      expect(tripsAfter(b, 60)).toBe(wanted);
    }
  });
  test('desync: no rotation for the span, only after rotation was seen, only with throttle', () => {
    const limit = { rule: m.RULE_DESYNC, channel: PERIOD, span_us: 20_000 };
    const never = drive(limit);
    expect(tripsAfter(never, 200)).toBe(-1);
    const b = drive(limit);
    b.run(2);
    b.samples[PERIOD] = turns;
    b.run(5);
    b.samples[PERIOD] = still;
    expect(tripsAfter(b, 200)).toBe(20);
    const recovered = drive(limit);
    for (let k = 0; k < 10; k++) {
      recovered.samples[PERIOD] = turns;
      recovered.run(2);
      recovered.samples[PERIOD] = still;
      recovered.run(19);
    }
    expect(recovered.core.getState()).toBe(m.STATE_DRIVING);
  });
  test('desync: silence of the period channel counts like a lost rotor', () => {
    const b = drive({ rule: m.RULE_DESYNC, channel: PERIOD, span_us: 20_000 });
    b.samples[PERIOD] = turns;
    b.run(5);
    b.samples[PERIOD] = null;
    expect(tripsAfter(b, 200)).toBe(20);
  });
  test('a rest starts both anew', () => {
    const b = drive({ rule: m.RULE_DESYNC, channel: PERIOD, span_us: 20_000 }, [
      { kind: m.SEG_LEVEL, target: 4000, duration_us: 10_000 }, { kind: m.SEG_REST, duration_us: 100_000 }, LONG,
    ]);
    b.samples[PERIOD] = turns;
    b.run(9);
    b.samples[PERIOD] = still;
    expect(tripsAfter(b, 300)).toBe(-1);
    expect(b.core.getOrdinal()).toBe(3);
  });
  test('without a period channel nothing is known to turn', () => {
    const b = new Board(jsCore, 1000, [m.KIND_CURRENT]);
    b.drive([LONG], [{ rule: m.RULE_ABOVE, threshold: 1000 }]);
    b.run(100);
    expect(b.core.getState()).toBe(m.STATE_DRIVING);
  });
});

describe('frozen', () => {
  const limit = { rule: m.RULE_FROZEN, channel: 0, window: 10 };
  test('ten samples without a change trip, nine do not', () => {
    const b = driving(limit);
    expect(feed(b, 0, [7, ...repeat(9, 7), 8, ...repeat(9, 8)])).toBe(-1);
    expect(feed(b, 0, [9, ...repeat(10, 9)])).toBe(10);
  });
  test('one count of change starts over; ticks without a sample do not count', () => {
    const b = driving(limit);
    expect(feed(b, 0, [7, ...repeat(5, 7), 8, ...repeat(5, 8), ...repeat<null>(30, null)])).toBe(-1);
  });
  test('at rest nothing is frozen', () => {
    const b = new Board(jsCore);
    b.drive([{ kind: m.SEG_REST, duration_us: 600_000_000 }], [{ cause: CAUSE, ...limit }]);
    b.run(100);
    expect(b.core.getState()).toBe(m.STATE_DRIVING);
  });
});

describe('where and how', () => {
  test('limits trip in ready too, not in safe', () => {
    const b = new Board(jsCore);
    b.arm([{ rule: m.RULE_ABOVE, threshold: 500, cause: CAUSE }]);
    b.samples[0] = { counts: 501, valid: true };
    b.run();
    expect([b.core.getState(), b.core.getCause()]).toEqual([m.STATE_TRIPPED, CAUSE]);
    const safe = new Board(jsCore);
    safe.must(m.CMD_SET_LIMIT, fields.limit(0, { rule: m.RULE_ABOVE, threshold: 50 }));
    safe.run(5);
    expect([safe.core.getState(), safe.core.getCause()]).toEqual([m.STATE_SAFE, TRIP_NONE]);
  });
  test('the lowest broken slot is the cause; a later one does not replace it', () => {
    const b = new Board(jsCore);
    b.drive([LONG], [
      { rule: m.RULE_ABOVE, channel: 3, threshold: 500, cause: 8 }, { rule: m.RULE_ABOVE, threshold: 500, cause: 1 },
      { rule: m.RULE_BELOW, channel: 1, threshold: 50, cause: 3 },
    ]);
    b.run(3);
    b.samples[0] = { counts: 900, valid: true };
    b.samples[1] = { counts: 1, valid: true };
    b.run();
    b.samples[3] = { counts: 900, valid: true };
    b.run(3);
    expect(b.core.getCause()).toBe(1);
    const trips = b.take(m.MSG_TRIPPED);
    expect(trips.length).toBe(1);
    expect(trips[0]?.[layout.TRIPPED_SLOT]).toBe(1);
  });
  test('zero throttle, TRIPPED, ENDED and a row with the guilty sample leave in the tick of the verdict, whatever the divider', () => {
    const b = new Board(jsCore);
    b.must(m.CMD_SET_TELEMETRY, u16(1000));
    b.drive([LONG], [{ rule: m.RULE_ABOVE, threshold: 500, cause: CAUSE }]);
    b.run(4);
    b.take();
    b.samples[0] = { counts: 777, valid: true };
    expect(b.run()).toBe(0);
    expect(b.frames.map((f) => f[0])).toEqual([m.MSG_TRIPPED, m.MSG_ENDED, m.MSG_ROW]);
    const [tripped = [], , row = []] = b.frames;
    expect([read32(tripped, layout.TRIPPED_VALUE), read32(tripped, layout.TRIPPED_LIMIT), read16(tripped, layout.TRIPPED_ORDINAL)]).toEqual([777, 500, 1]);
    expect(read32(tripped, layout.TRIPPED_TICK)).toBe(read32(row, layout.ROW_TICK));
    expect([read16(row, layout.ROW_THROTTLE), (row[layout.ROW_STATE] ?? 0) & 15, row[layout.ROW_CAUSE], read32(row, layout.ROW_VALUES)]).toEqual([0, m.STATE_TRIPPED, CAUSE, 777]);
    b.take();
    b.run(3);
    expect(b.take(m.MSG_ROW)).toEqual([]);
  });
  test.each<[string, LimitSpec, (b: Board) => void, number, number]>([
    ['stale', { rule: m.RULE_STALE, channel: 3, span_us: 5000 }, (b) => { b.samples[3] = null; }, 6000, 5000],
    ['invalid', { rule: m.RULE_INVALID, channel: 3, bad: 2, window: 5 }, (b) => { b.samples[3] = { counts: 3, valid: false }; }, 2, 2],
    ['desync', { rule: m.RULE_DESYNC, channel: 2, span_us: 5000 }, (b) => { b.samples[2] = { counts: 65535, valid: false }; }, 5000, 5000],
    ['stall', { rule: m.RULE_STALL, threshold: 50, span_us: 5000 }, (b) => { b.samples[2] = { counts: 65535, valid: false }; }, 100, 50],
    ['frozen', { rule: m.RULE_FROZEN, window: 20 }, () => undefined, 20, 20],
  ])('the report of a %s trip tells what was measured against what', (_name, limit, spoil, value, bound) => {
    const b = driving(limit);
    spoil(b);
    b.run(40);
    const [tripped = []] = b.take(m.MSG_TRIPPED);
    expect([read32(tripped, layout.TRIPPED_VALUE), read32(tripped, layout.TRIPPED_LIMIT)]).toEqual([value, bound]);
  });
  test('a cleared slot no longer trips, and setting a limit forgets what its slot had seen', () => {
    const b = new Board(jsCore);
    const limit = { rule: m.RULE_ABOVE, threshold: 50, bad: 3, window: 3 };
    b.must(m.CMD_SET_GUARDS, fields.guards());
    b.must(m.CMD_SET_LIMIT, fields.limit(5, limit));
    b.must(m.CMD_SET_LIMIT, fields.limit(2, limit));
    b.run(5);
    b.must(m.CMD_SET_LIMIT, fields.limit(5, { rule: m.RULE_OFF }));
    b.must(m.CMD_SET_LIMIT, fields.limit(2, limit));
    const arm = (): number => b.command(m.CMD_ARM, [...u16(m.KEY_ARM), ...i32(b.core.checksum())]).result;
    expect(arm()).toBe(m.RESULT_OK);
    b.run(2);
    expect(b.core.getState()).toBe(m.STATE_READY);
    b.run(1);
    expect(b.core.getState()).toBe(m.STATE_TRIPPED);
  });
});
