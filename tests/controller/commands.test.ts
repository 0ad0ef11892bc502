// Goal: each command does its one thing in the states that allow it, and nothing anywhere else.
// Method: every command in every state against a table, then each refusal beside its nearest acceptance.
import { describe, expect, test } from 'vitest';
import * as layout from '../../src/wire/layout';
import * as m from '../../src/wire/messages';
import { TRIP_HOST_FAULT, TRIP_LINK_LOST, TRIP_STOP_INPUT, TRIP_TREND } from '../../src/wire/trip-codes';
import type { SegmentSpec } from './kit';
import { Board, fields, frameOf, i32, jsCore, read16, read32, u16, u8 } from './kit';

const LEVEL: SegmentSpec = { kind: m.SEG_LEVEL, target: 3000, duration_us: 50_000 };
const armBody = (b: Board): number[] => [...u16(m.KEY_ARM), ...i32(b.core.checksum())];

/** A board in each state. */
const IN: Record<number, () => Board> = {
  [m.STATE_SAFE]: () => {
    const b = new Board(jsCore);
    b.must(m.CMD_SET_GUARDS, fields.guards());
    b.run();
    return b;
  },
  [m.STATE_READY]: () => {
    const b = new Board(jsCore);
    b.arm();
    b.permit(1_000_000);
    b.queue([LEVEL, LEVEL, LEVEL]);
    return b;
  },
  [m.STATE_DRIVING]: () => {
    const b = new Board(jsCore);
    b.drive([LEVEL, LEVEL, LEVEL]);
    b.run();
    return b;
  },
  [m.STATE_TRIPPED]: () => {
    const b = new Board(jsCore);
    b.must(m.CMD_TRIP, [TRIP_TREND]);
    return b;
  },
};
const STATES = [m.STATE_SAFE, m.STATE_READY, m.STATE_DRIVING, m.STATE_TRIPPED];
const enter = (state: number): Board => {
  const b = (IN[state])();
  expect(b.core.getState()).toBe(state);
  b.take();
  return b;
};

const OK = m.RESULT_OK;
const NO = m.RESULT_WRONG_STATE;
const S = m.STATE_SAFE, R = m.STATE_READY, D = m.STATE_DRIVING, T = m.STATE_TRIPPED;
/** Command → fields, result by state (safe, ready, driving, tripped), state afterwards. */
const TABLE: [string, number, (b: Board) => number[], number[], number[]][] = [
  ['HELLO', m.CMD_HELLO, () => u16(m.WIRE_VERSION), [OK, OK, OK, OK], [S, R, D, T]],
  ['DESCRIBE', m.CMD_DESCRIBE, () => [2], [OK, OK, OK, OK], [S, R, D, T]],
  ['SET_TELEMETRY', m.CMD_SET_TELEMETRY, () => u16(5), [OK, OK, OK, OK], [S, R, D, T]],
  ['SET_LIMIT', m.CMD_SET_LIMIT, () => fields.limit(0, { rule: m.RULE_ABOVE, threshold: 1000 }), [OK, NO, NO, NO], [S, R, D, T]],
  ['SET_GUARDS', m.CMD_SET_GUARDS, () => fields.guards(), [OK, NO, NO, NO], [S, R, D, T]],
  ['ARM', m.CMD_ARM, armBody, [OK, NO, NO, NO], [R, R, D, T]],
  ['DISARM', m.CMD_DISARM, () => [], [OK, OK, OK, NO], [S, S, S, T]],
  ['SEGMENT', m.CMD_SEGMENT, () => fields.segment(4, LEVEL), [NO, OK, OK, NO], [S, R, D, T]],
  ['START', m.CMD_START, () => [], [NO, OK, NO, NO], [S, D, D, T]],
  ['END_SEGMENT', m.CMD_END_SEGMENT, () => u16(1), [NO, NO, OK, NO], [S, R, D, T]],
  ['CLEAR_AFTER', m.CMD_CLEAR_AFTER, () => u16(1), [NO, NO, OK, NO], [S, R, D, T]],
  ['STOP', m.CMD_STOP, () => [], [OK, OK, OK, OK], [S, S, S, T]],
  ['TRIP', m.CMD_TRIP, () => [TRIP_LINK_LOST], [OK, OK, OK, OK], [T, T, T, T]],
  ['CLEAR_TRIP', m.CMD_CLEAR_TRIP, () => u16(m.KEY_CLEAR), [NO, NO, NO, OK], [S, R, D, S]],
  ['STATUS', m.CMD_STATUS, () => [], [OK, OK, OK, OK], [S, R, D, T]],
];

describe.each(TABLE)('%s', (_name, id, body, results, after) => {
  test.each(STATES)('in state %i does what the table says, and the ACK tells the state and cause', (state) => {
    const b = enter(state);
    const ack = b.command(id, body(b));
    expect(ack.result).toBe(results[state]);
    expect(b.core.getState()).toBe(after[state]);
    expect(ack.state).toBe(after[state]);
    expect(ack.cause).toBe(b.core.getCause());
    if (after[state] !== D) expect(b.core.getThrottle()).toBe(0);
  });
  test('of the wrong size is refused, one byte short or long', () => {
    const state = results.indexOf(OK);
    for (const change of [(f: number[]) => f.slice(0, -1), (f: number[]) => [...f, 0]]) {
      const b = enter(state);
      const changed = change(body(b));
      if (changed.length === body(b).length) continue; // no field to take away
      expect(b.command(id, changed).result).toBe(m.RESULT_BAD_VALUE);
      expect(b.core.getState()).toBe(state);
    }
  });
});

test('unknown ids are refused as unknown, while tripped as wrong state', () => {
  for (const id of [0, 17, 255]) {
    for (const state of STATES) expect(enter(state).command(id).result).toBe(state === T ? NO : m.RESULT_UNKNOWN);
  }
});

test('a permit is never answered; of the wrong size it counts as a damaged frame', () => {
  const b = enter(S);
  b.permit(1000);
  expect(b.take()).toEqual([]);
  b.bytes(frameOf([m.CMD_PERMIT, 0, 1, 2]));
  expect(b.take()).toEqual([]);
  b.command(m.CMD_STATUS);
  expect(read16(b.take(m.MSG_STATUS)[0] ?? [], layout.STATUS_BAD_FRAMES)).toBe(1);
});

test('a repeated command is answered again and not carried out again; a new number is carried out', () => {
  const b = enter(R);
  const body = fields.segment(4, LEVEL);
  expect(b.command(m.CMD_SEGMENT, body, 90).result).toBe(OK);
  expect(b.command(m.CMD_SEGMENT, body, 90).result).toBe(OK);
  expect(b.command(m.CMD_SEGMENT, body, 91).result).toBe(m.RESULT_BAD_VALUE); // ordinal 4 is taken
  expect(b.command(m.CMD_SEGMENT, fields.segment(5, LEVEL), 92).result).toBe(OK);
});

test('a refused command is tried again when it is repeated', () => {
  const b = enter(R);
  b.permit(0);
  expect(b.command(m.CMD_START, [], 90).result).toBe(m.RESULT_CONDITION);
  b.permit(1000);
  expect(b.command(m.CMD_START, [], 90).result).toBe(OK);
});

test('a permit between a command and its repetition changes nothing', () => {
  const b = enter(R);
  expect(b.command(m.CMD_START, [], 90).result).toBe(OK);
  b.permit(1000);
  expect(b.command(m.CMD_START, [], 90)).toMatchObject({ result: OK, state: D });
});

test('STOP and TRIP are carried out however often and with whatever number they come', () => {
  const b = enter(S);
  b.command(m.CMD_STOP, [], 7);
  b.run();
  b.must(m.CMD_ARM, armBody(b));
  expect(b.command(m.CMD_STOP, [], 7).state).toBe(S);
  b.command(m.CMD_STOP, [], 7);
  expect(b.core.getState()).toBe(S);
});

test('HELLO with another wire version is refused but still says which version this is', () => {
  const b = enter(S);
  expect(b.command(m.CMD_HELLO, u16(m.WIRE_VERSION + 1)).result).toBe(m.RESULT_BAD_VALUE);
  expect(read16(b.take(m.MSG_IDENTITY)[0] ?? [], layout.IDENTITY_VERSION)).toBe(m.WIRE_VERSION);
});

test('DESCRIBE and SET_TELEMETRY refuse what does not exist', () => {
  const b = enter(S);
  expect(b.command(m.CMD_DESCRIBE, [3]).result).toBe(OK);
  expect(b.command(m.CMD_DESCRIBE, [4]).result).toBe(m.RESULT_BAD_VALUE);
  expect(b.command(m.CMD_SET_TELEMETRY, u16(1)).result).toBe(OK);
  expect(b.command(m.CMD_SET_TELEMETRY, u16(0)).result).toBe(m.RESULT_BAD_VALUE);
});

test('rows come every `divider` ticks, not before the first SET_TELEMETRY, and carry only what is fresh', () => {
  const b = enter(S);
  b.run(10);
  expect(b.take(m.MSG_ROW)).toEqual([]);
  expect(b.core.getRowInterval()).toBe(0);
  b.must(m.CMD_SET_TELEMETRY, u16(3));
  expect(b.core.getRowInterval()).toBe(3000);
  b.samples = [{ counts: 5, valid: true }, null, { counts: 65535, valid: false }, null];
  b.run(1);
  b.samples = [{ counts: 6, valid: true }, null, null, null];
  b.run(1);
  expect(b.take(m.MSG_ROW)).toEqual([]);
  b.samples = [null, null, null, null];
  b.run(1);
  const [row = []] = b.take(m.MSG_ROW);
  expect(row[layout.ROW_FRESH]).toBe(0b0101);
  expect(row[layout.ROW_VALID]).toBe(0b1011);
  expect(row.length).toBe(layout.ROW_VALUES + 8);
  expect([read32(row, layout.ROW_VALUES), read32(row, layout.ROW_VALUES + 4)]).toEqual([6, 65535]);
  b.run(3);
  expect(b.take(m.MSG_ROW)[0]?.[layout.ROW_FRESH]).toBe(0);
});

test('a bench that rests may tick coarsely: rows keep their time, not their number of ticks', () => {
  const b = enter(S);
  b.must(m.CMD_SET_TELEMETRY, u16(30));
  b.run(3, 10_000);
  expect(b.take(m.MSG_ROW).length).toBe(1);
  b.run(4, 20_000);
  expect(b.take(m.MSG_ROW).length).toBe(2);
});

test('samples of channels that do not exist are ignored', () => {
  const b = enter(S);
  b.must(m.CMD_SET_TELEMETRY, u16(1));
  b.core.setInput(-1, 5, 1);
  b.core.setInput(4, 5, 1);
  b.core.takeInputs(~15, ~15);
  b.samples = [null, null, null, null];
  b.run();
  expect(b.take(m.MSG_ROW)[0]?.[layout.ROW_FRESH]).toBe(0);
});

describe('ARM', () => {
  const arm = (b: Board, key = m.KEY_ARM, checksum = b.core.checksum()): number =>
    b.command(m.CMD_ARM, [...u16(key), ...i32(checksum)]).result;

  test('needs the key and the checksum, each exact', () => {
    for (let bit = 0; bit < 16; bit++) expect(arm(enter(S), m.KEY_ARM ^ (1 << bit))).toBe(m.RESULT_BAD_VALUE);
    for (let bit = 0; bit < 32; bit++) {
      const b = enter(S);
      expect(arm(b, m.KEY_ARM, b.core.checksum() ^ (1 << bit))).toBe(m.RESULT_CHECKSUM);
    }
    expect(arm(enter(S))).toBe(OK);
  });
  test('refuses while a limit is broken, and accepts when it no longer is', () => {
    const b = enter(S);
    b.must(m.CMD_SET_LIMIT, fields.limit(9, { rule: m.RULE_ABOVE, threshold: 100 }));
    b.samples[0] = { counts: 101, valid: true };
    b.run();
    expect(arm(b)).toBe(m.RESULT_CONDITION);
    b.samples[0] = { counts: 100, valid: true };
    b.run();
    expect(arm(b)).toBe(OK);
  });
  test('refuses while a channel with a period has not sampled for ten periods, 50 ms at least', () => {
    const never = new Board(jsCore);
    expect(arm(never)).toBe(m.RESULT_CONDITION);
    const b = enter(S);
    b.samples[3] = null;
    b.run(50);
    const later = enter(S);
    later.samples[3] = null;
    later.run(51);
    expect(arm(later)).toBe(m.RESULT_CONDITION);
    const fine = enter(S);
    fine.samples[3] = null;
    fine.run(50);
    expect(arm(fine)).toBe(OK);
  });
  test('slow channels get ten of their own periods; channels without a period do not block', () => {
    for (const [period, ticks, result] of [[10_000, 100, OK], [10_000, 101, m.RESULT_CONDITION], [0, 3000, OK], [200_000_000, 3000, OK]] as const) {
      const b = new Board(jsCore, 1000, []);
      b.core.declareChannel(0, m.KIND_THRUST, 1, 0, 0, period);
      b.samples = [{ counts: 1, valid: true }];
      b.run();
      b.samples = [null];
      b.run(ticks);
      expect(arm(b)).toBe(result);
    }
  });
  test('refuses while the stop input is pressed, which also trips at the next tick', () => {
    const b = enter(S);
    b.core.stopInput(1);
    expect(arm(b)).toBe(m.RESULT_CONDITION);
    b.run();
    expect([b.core.getState(), b.core.getCause()]).toEqual([T, TRIP_STOP_INPUT]);
    expect(b.command(m.CMD_CLEAR_TRIP, u16(m.KEY_CLEAR)).result).toBe(m.RESULT_CONDITION);
    b.core.stopInput(0);
    expect(b.command(m.CMD_CLEAR_TRIP, u16(m.KEY_CLEAR)).result).toBe(OK);
  });
  test('empties the queue and starts ordinals at 1', () => {
    const b = enter(R);
    b.must(m.CMD_DISARM);
    b.must(m.CMD_ARM, armBody(b));
    expect(b.command(m.CMD_START).result).toBe(m.RESULT_CONDITION);
    expect(b.command(m.CMD_SEGMENT, fields.segment(1, LEVEL)).result).toBe(OK);
  });
});

describe('SET_LIMIT', () => {
  const result = (slot: number, spec: Parameters<typeof fields.limit>[1], kinds?: number[]): number =>
    new Board(jsCore, 1000, kinds).command(m.CMD_SET_LIMIT, fields.limit(slot, spec)).result;
  const BAD = m.RESULT_BAD_VALUE;
  test.each<[string, number, Parameters<typeof fields.limit>[1], number]>([
    ['last slot', 23, { rule: m.RULE_ABOVE }, OK], ['slot too high', 24, { rule: m.RULE_ABOVE }, BAD],
    ['off in a slot too high', 24, { rule: m.RULE_OFF }, BAD],
    ['last rule', 0, { rule: m.RULE_FROZEN }, OK], ['rule too high', 0, { rule: 9 }, BAD],
    ['last channel', 0, { rule: m.RULE_ABOVE, channel: 3 }, OK], ['channel too high', 0, { rule: m.RULE_ABOVE, channel: 4 }, BAD],
    ['no cause', 0, { rule: m.RULE_ABOVE, cause: 0 }, BAD],
    ['window 256', 0, { rule: m.RULE_ABOVE, bad: 256, window: 256 }, OK], ['window 257', 0, { rule: m.RULE_ABOVE, window: 257 }, BAD],
    ['window 0', 0, { rule: m.RULE_BELOW, window: 0 }, BAD],
    ['bad 0', 0, { rule: m.RULE_INVALID, bad: 0, window: 4 }, BAD], ['bad above window', 0, { rule: m.RULE_INVALID, bad: 5, window: 4 }, BAD],
    ['stale without span', 0, { rule: m.RULE_STALE, span_us: 0 }, BAD], ['stale 1 µs', 0, { rule: m.RULE_STALE, span_us: 1 }, OK],
    ['mean 30 s', 0, { rule: m.RULE_MEAN_ABOVE, span_us: 30_000_000 }, OK], ['mean longer', 0, { rule: m.RULE_MEAN_ABOVE, span_us: 30_000_001 }, BAD],
    ['mean without span', 0, { rule: m.RULE_MEAN_ABOVE, span_us: 0 }, BAD],
    ['stall', 0, { rule: m.RULE_STALL, span_us: 1 }, OK], ['stall without span', 0, { rule: m.RULE_STALL }, BAD],
    ['desync on the period channel', 0, { rule: m.RULE_DESYNC, channel: 2, span_us: 1 }, OK],
    ['desync on another channel', 0, { rule: m.RULE_DESYNC, channel: 0, span_us: 1 }, BAD],
    ['desync without span', 0, { rule: m.RULE_DESYNC, channel: 2 }, BAD],
    ['frozen without window', 0, { rule: m.RULE_FROZEN, window: 0 }, BAD],
  ])('%s', (_name, slot, spec, wanted) => {
    expect(result(slot, spec)).toBe(wanted);
  });
  test('stall needs a period channel', () => {
    expect(result(0, { rule: m.RULE_STALL, span_us: 1 }, [m.KIND_CURRENT])).toBe(BAD);
  });
});

test.each<[string, Parameters<typeof fields.guards>[0], number]>([
  ['deadman 1 ms', { deadman_us: 1000 }, OK], ['deadman below', { deadman_us: 999 }, m.RESULT_BAD_VALUE],
  ['deadman 2 s', { deadman_us: 2_000_000 }, OK], ['deadman above', { deadman_us: 2_000_001 }, m.RESULT_BAD_VALUE],
  ['run 1 µs', { longestRun_us: 1 }, OK], ['run 0', { longestRun_us: 0 }, m.RESULT_BAD_VALUE],
  ['run 1800 s', { longestRun_us: 1_800_000_000 }, OK], ['run longer', { longestRun_us: 1_800_000_001 }, m.RESULT_BAD_VALUE],
  ['cap full', { cap: 10_000 }, OK], ['cap above', { cap: 10_001 }, m.RESULT_BAD_VALUE],
  ['still period 1', { stillPeriod: 1 }, OK], ['still period 0', { stillPeriod: 0 }, m.RESULT_BAD_VALUE],
])('SET_GUARDS: %s', (_name, guards, wanted) => {
  expect(new Board(jsCore).command(m.CMD_SET_GUARDS, fields.guards(guards)).result).toBe(wanted);
});

describe('SEGMENT', () => {
  const BAD = m.RESULT_BAD_VALUE;
  test.each<[string, SegmentSpec, number]>([
    ['level full', { kind: m.SEG_LEVEL, target: 10_000 }, OK], ['level above', { kind: m.SEG_LEVEL, target: 10_001 }, BAD],
    ['ramp to 0', { kind: m.SEG_RAMP, target: 0 }, OK], ['ramp below 0', { kind: m.SEG_RAMP, target: -1 }, BAD],
    ['rest ignores its target', { kind: m.SEG_REST, target: -5 }, OK], ['kind 0', { kind: 0 }, BAD], ['kind 7', { kind: 7, target: 1 }, BAD],
    ['hold target 0', { kind: m.SEG_HOLD_CURRENT, target: 0 }, BAD], ['hold target 1', { kind: m.SEG_HOLD_CURRENT, target: 1 }, OK],
    ['hold power', { kind: m.SEG_HOLD_POWER, target: 1 }, OK], ['hold speed', { kind: m.SEG_HOLD_SPEED, target: 1 }, OK],
    ['duration 0', { ...LEVEL, duration_us: 0 }, BAD], ['duration 1', { ...LEVEL, duration_us: 1 }, OK],
    ['duration 600 s', { ...LEVEL, duration_us: 600_000_000 }, OK], ['duration longer', { ...LEVEL, duration_us: 600_000_001 }, BAD],
    ['cap above', { ...LEVEL, cap: 10_001 }, BAD], ['unknown flag', { ...LEVEL, flags: 2 }, BAD], ['last', { ...LEVEL, last: true }, OK],
  ])('%s', (_name, spec, wanted) => {
    const b = new Board(jsCore);
    b.arm();
    expect(b.command(m.CMD_SEGMENT, fields.segment(1, spec)).result).toBe(wanted);
  });
  test('holds need their channels', () => {
    for (const [kinds, current, power, speed] of [
      [[m.KIND_THRUST], BAD, BAD, BAD], [[m.KIND_CURRENT], OK, BAD, BAD], [[m.KIND_CURRENT, m.KIND_VOLTAGE], OK, OK, BAD],
      [[m.KIND_PERIOD], BAD, BAD, OK],
    ] as const) {
      [m.SEG_HOLD_CURRENT, m.SEG_HOLD_POWER, m.SEG_HOLD_SPEED].forEach((kind, k) => {
        const b = new Board(jsCore, 1000, kinds);
        b.arm();
        expect(b.command(m.CMD_SEGMENT, fields.segment(1, { kind, target: 9 })).result).toBe([current, power, speed][k]);
      });
    }
  });
  test('ordinals rise by one from 1', () => {
    const b = new Board(jsCore);
    b.arm();
    for (const [ordinal, wanted] of [[0, BAD], [2, BAD], [1, OK], [1, BAD], [3, BAD], [2, OK]] as const) {
      expect(b.command(m.CMD_SEGMENT, fields.segment(ordinal, LEVEL)).result).toBe(wanted);
    }
  });
  test('sixteen wait in ready; the seventeenth is refused until one is being played', () => {
    const b = new Board(jsCore);
    b.arm();
    b.queue(new Array<SegmentSpec>(16).fill(LEVEL));
    expect(b.command(m.CMD_SEGMENT, fields.segment(17, LEVEL)).result).toBe(m.RESULT_QUEUE_FULL);
    b.must(m.CMD_SET_TELEMETRY, u16(1));
    b.start();
    b.run();
    expect(b.command(m.CMD_SEGMENT, fields.segment(17, LEVEL)).result).toBe(OK);
    b.take();
    b.run();
    expect((b.take(m.MSG_ROW)[0]?.[layout.ROW_STATE] ?? 0) >> 4).toBe(15);
  });
  test('nothing may follow the last one', () => {
    const b = new Board(jsCore);
    b.arm();
    b.queue([{ ...LEVEL, last: true }]);
    expect(b.command(m.CMD_SEGMENT, fields.segment(2, LEVEL)).result).toBe(BAD);
  });
});

test('CLEAR_TRIP needs its exact key, and forgets the record', () => {
  const b = enter(T);
  for (let bit = 0; bit < 16; bit++) expect(b.command(m.CMD_CLEAR_TRIP, u16(m.KEY_CLEAR ^ (1 << bit))).result).toBe(m.RESULT_BAD_VALUE);
  expect(b.core.getState()).toBe(T);
  b.must(m.CMD_CLEAR_TRIP, u16(m.KEY_CLEAR));
  b.must(m.CMD_STATUS);
  const [status = []] = b.take(m.MSG_STATUS);
  expect([status[layout.STATUS_STATE], status[layout.STATUS_CAUSE], status[layout.STATUS_SLOT]]).toEqual([S, 0, 255]);
});

test('TRIP keeps the first cause; a cause of 0 becomes host-fault', () => {
  const b = enter(D);
  const ordinal = b.core.getOrdinal();
  b.must(m.CMD_TRIP, u8(TRIP_LINK_LOST));
  expect(b.core.getThrottle()).toBe(0);
  const [tripped = []] = b.take(m.MSG_TRIPPED);
  expect([tripped[layout.TRIPPED_CAUSE], tripped[layout.TRIPPED_SLOT], read16(tripped, layout.TRIPPED_ORDINAL)]).toEqual([TRIP_LINK_LOST, 255, ordinal]);
  const [ended = []] = b.take(m.MSG_ENDED);
  expect([read16(ended, layout.ENDED_ORDINAL), ended[layout.ENDED_HOW]]).toEqual([ordinal, m.END_TRIPPED]);
  b.must(m.CMD_TRIP, u8(TRIP_TREND));
  expect(b.core.getCause()).toBe(TRIP_LINK_LOST);
  const other = enter(S);
  other.must(m.CMD_TRIP, u8(0));
  expect(other.core.getCause()).toBe(TRIP_HOST_FAULT);
  expect(other.take(m.MSG_ENDED)).toEqual([]);
});

test('STATUS tells the latched trip: cause, slot, tick, value, limit, ordinal, checksum', () => {
  const b = new Board(jsCore);
  b.drive([LEVEL], [{ rule: m.RULE_ABOVE, threshold: 100, cause: 1 }]);
  b.run(3);
  b.samples[0] = { counts: 170, valid: true };
  b.run(2);
  b.must(m.CMD_STATUS);
  const [s = []] = b.take(m.MSG_STATUS);
  expect([s[layout.STATUS_STATE], s[layout.STATUS_CAUSE], s[layout.STATUS_SLOT]]).toEqual([T, 1, 0]);
  expect([read32(s, layout.STATUS_TICK), read32(s, layout.STATUS_VALUE), read32(s, layout.STATUS_LIMIT)]).toEqual([5000, 170, 100]);
  expect([read16(s, layout.STATUS_ORDINAL), read32(s, layout.STATUS_CHECKSUM) >>> 0]).toEqual([1, b.core.checksum()]);
});
