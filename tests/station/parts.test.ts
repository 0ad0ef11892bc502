// Goal: the small parts of the station convert, count and decide exactly, also where no run leads them.
// Method: each part alone, both sides of each decision.
import { describe, expect, test } from 'vitest';
import type { CommandResult } from '../../src/link/command-channel';
import type { RawSegment } from '../../src/link/commands';
import { boardGuards, boardLimits } from '../../src/model/board-limits';
import { channelFacts } from '../../src/model/channel-facts';
import type { BenchEvent } from '../../src/model/events';
import type { Segment } from '../../src/model/segment';
import { TRIP_CODES } from '../../src/model/trip';
import { Row } from '../../src/safety/row';
import { tripOf } from '../../src/station/board-trip';
import { planOf } from '../../src/station/config';
import { SegmentFeeder } from '../../src/station/feeder';
import { Intake } from '../../src/station/intake';
import { Liveness } from '../../src/station/liveness';
import { Progress } from '../../src/station/progress';
import { rawSegment } from '../../src/station/raw-segment';
import { UntilWatch } from '../../src/station/until';
import { codeOf, CODE_ON_WIRE } from '../../src/station/wire-tables';
import { encodeFrame } from '../../src/link/codec';
import * as M from '../../src/wire/messages';
import * as T from '../../src/wire/trip-codes';
import { ARTICLE, level, numbered, RIG } from './bench';
import { rowPayload } from '../link/build';

const facts = channelFacts(RIG);
const guards = boardGuards(RIG, facts);
const context = { facts, guards, supply_V: 7.6 };
const base = { duration_s: 1, label: 'a', role: 'b' };

describe('segments in raw numbers', () => {
  const cases: [Segment, Partial<RawSegment>][] = [
    [{ ...base, kind: 'rest' }, { kind: M.SEG_REST, target: 0, duration: 1_000_000 }],
    [{ ...base, kind: 'level', throttle: 0.12345 }, { kind: M.SEG_LEVEL, target: 1235, cap: 10_000, slew: 0 }],
    [{ ...base, kind: 'ramp', to: 1, cap: 0.5, slew_per_s: 2 }, { kind: M.SEG_RAMP, target: 10_000, cap: 5000, slew: 20 }],
    [{ ...base, kind: 'ramp', to: 1, slew_per_s: 0.001 }, { slew: 1 }],
    [{ ...base, kind: 'ramp', to: 1, slew_per_s: 1e9 }, { slew: 65_535 }],
    // 10 mA a count, whatever the zero: 1.4 A is 140 counts above it.
    [{ ...base, kind: 'hold-current', target_A: 1.4 }, { kind: M.SEG_HOLD_CURRENT, target: 140 }],
    [{ ...base, kind: 'hold-current', target_A: 1e-6 }, { target: 1 }],
    // 7.6 W at 7.6 V is 1 A: 100 counts · 6080 counts / 64 = 9500
    [{ ...base, kind: 'hold-power', target_W: 7.6 }, { kind: M.SEG_HOLD_POWER, target: 9500 }],
    // 20 000 rpm with 6 pole pairs: 60 s / (20 000 · 6) = 500 µs
    [{ ...base, kind: 'hold-speed', target_rpm: 20_000 }, { kind: M.SEG_HOLD_SPEED, target: 500 }],
    [{ ...base, kind: 'wait-until', throttle: 0.3, duration_s: 1e-9, until: { channel: 'speed', is: 'above', value: 1, for_s: 0 } }, { kind: M.SEG_LEVEL, target: 3000, duration: 1 }],
  ];
  test.each(cases)('%o', (segment, raw) => {
    expect(rawSegment(3, segment, false, context)).toMatchObject({ ordinal: 3, flags: 0, ...raw });
    expect(rawSegment(3, segment, true, context).flags).toBe(M.SEG_FLAG_LAST);
  });

  test('the cap of a segment cannot exceed that of the rig; a missing channel is named', () => {
    const capped = { ...context, guards: { ...guards, throttle_cap: 9000 } };
    expect(rawSegment(1, { ...base, kind: 'level', throttle: 1, cap: 1 }, false, capped).cap).toBe(9000);
    expect(() => rawSegment(1, { ...base, kind: 'hold-speed', target_rpm: 1 }, false, { ...context, facts: [] })).toThrow(/needs the speed channel/);
  });
});

describe("the board's trips in SI", () => {
  const limits = boardLimits(RIG, facts);
  const slotOf = (rule: string, cause?: string) => limits.find((l) => l.rule === rule && (cause === undefined || l.cause === cause))!.slot;
  const trip = (slot: number, value: number, limit: number, cause = 1) => tripOf({ cause, slot, value, limit, ordinal: 4 }, 99, limits, facts);

  test('counts become SI with their unit, times become ms, samples stay samples', () => {
    expect(trip(slotOf('above', 'CURRENT_PEAK'), 4300, 4100)).toMatchObject({
      code: 'CURRENT_PEAK', by: 'controller', tick_us: 99, ordinal: 4, value: 42, limit: 40, unit: 'A', channel: 'current_A',
      detail: 'The controller stopped the motor at 42 A (limit 40 A, 4 of 5 samples).',
    });
    expect(trip(slotOf('mean-above'), 1050, 1000, 2)).toMatchObject({ value: 9.5, limit: 9, detail: 'The controller stopped the motor at 9.5 A in the mean (limit 9 A, 500 ms).' });
    expect(trip(slotOf('stall'), 500, 400, 12).detail).toBe('The controller stopped the motor at 4 A and no rotation (limit 3 A, 300 ms).');
    expect(trip(slotOf('stale'), 6000, 5000, 9)).toMatchObject({ value: 6, limit: 5, unit: 'ms', channel: 'current_A' });
    expect(trip(slotOf('desync'), 201_000, 200_000, 13)).toMatchObject({ code: 'DESYNC_SUSTAINED', value: 201, unit: 'ms' });
    expect(trip(slotOf('invalid'), 4, 4, 10)).toMatchObject({ value: 4, unit: 'samples', detail: expect.stringContaining('4 impossible samples of current_A') as string });
    expect(trip(slotOf('frozen'), 200, 200, 11)).toMatchObject({ unit: 'samples', detail: expect.stringContaining('200 samples without a change') as string });
  });

  test('trips without a slot say what the board measured', () => {
    expect(trip(255, 101_000, 100_000, T.TRIP_HOST_SILENT)).toMatchObject({ code: 'HOST_SILENT', value: 101, limit: 100, unit: 'ms', channel: null });
    expect(trip(255, 61e6, 60e6, T.TRIP_LONGEST_RUN).detail).toContain('drove for 61 s');
    expect(trip(255, 30_000, 20_000, T.TRIP_TICK).detail).toBe('A tick of the controller took 30 ms (limit 20 ms).');
    expect(trip(255, 1, 0, T.TRIP_STOP_INPUT)).toMatchObject({ value: null, detail: 'The stop input is pressed.' });
    expect(trip(255, 0, 0, T.TRIP_TREND)).toMatchObject({ code: 'TREND', value: null });
    expect(trip(255, 0, 0, 200)).toMatchObject({ code: 'HOST_FAULT', detail: 'The controller stopped the motor for cause 200, without a number.' });
  });

  test('a slot on a channel that is not known keeps its counts', () => {
    expect(tripOf({ cause: 1, slot: 0, value: 5, limit: 4, ordinal: 0 }, 0, limits, [])).toMatchObject({ value: 5, unit: 'counts', channel: null });
    expect(tripOf({ cause: 10, slot: slotOf('invalid'), value: 5, limit: 4, ordinal: 0 }, 0, limits, []).detail).toContain('a channel');
  });

  test('every trip code has a number on the wire, and back', () => {
    for (const code of TRIP_CODES) expect(codeOf(CODE_ON_WIRE[code])).toBe(code);
    expect(new Set(Object.values(CODE_ON_WIRE)).size).toBe(TRIP_CODES.length);
  });
});

describe('feeding', () => {
  const ack = (result: number): CommandResult => ({ ok: false, why: 'refused', tries: 1, ack: { type: 'ack', sequence: 0, command: M.CMD_SEGMENT, commandSequence: 0, result, state: 1, cause: 0 } });
  const OK: CommandResult = { ok: true, tries: 1, reply: { type: 'ack', sequence: 0, command: M.CMD_SEGMENT, commandSequence: 0, result: 0, state: 1, cause: 0 } };

  function feeding(n: number) {
    const sent: { raw: RawSegment; done: (r: CommandResult) => void }[] = [];
    const faults: string[] = [];
    const feeder: SegmentFeeder = new SegmentFeeder({
      request: (raw, done) => sent.push({ raw, done }),
      convert: (s) => rawSegment(s.ordinal, s.segment, s.last, context),
      fault: (d) => faults.push(d),
      taken: () => undefined,
    });
    feeder.add(numbered(Array.from({ length: n }, () => level(0.3, 1, 'x'))));
    return { feeder, sent, faults };
  }

  test('one at a time, sixteen ahead of the one being played', () => {
    const { feeder, sent } = feeding(40);
    for (let i = 0; i < 40; i++) {
      feeder.pump(0);
      feeder.pump(0);
      if (sent.length > i) sent[i].done(OK);
    }
    expect(sent.map((s) => s.raw.ordinal)).toEqual(Array.from({ length: 16 }, (_, i) => i + 1));
    feeder.pump(3);
    sent.at(-1)!.done(OK);
    expect(feeder.taken).toBe(17);
    expect(feeder.idle).toBe(false);
  });

  test('a full queue is tried again when the next segment plays', () => {
    const { feeder, sent, faults } = feeding(2);
    feeder.pump(0);
    sent[0].done(ack(M.RESULT_QUEUE_FULL));
    feeder.pump(0);
    expect(sent).toHaveLength(1);
    feeder.pump(1);
    expect(sent).toHaveLength(2);
    expect(faults).toEqual([]);
  });

  test('a refusal or silence is a fault with its reason; of what was dropped or is of an earlier run it is none', () => {
    const refused = feeding(1);
    refused.feeder.pump(0);
    refused.sent[0].done(ack(M.RESULT_BAD_VALUE));
    expect(refused.faults).toEqual(['The board did not take segment 1 "x": value out of range (board is ready).']);
    const silent = feeding(1);
    silent.feeder.pump(0);
    silent.sent[0].done({ ok: false, why: 'no-answer', tries: 5 });
    expect(silent.faults[0]).toContain('no answer to 5 tries');
    const dropped = feeding(2);
    dropped.feeder.pump(0);
    dropped.feeder.drop();
    dropped.sent[0].done(ack(M.RESULT_BAD_VALUE));
    const earlier = feeding(2);
    earlier.feeder.pump(0);
    earlier.feeder.clear();
    earlier.sent[0].done(ack(M.RESULT_BAD_VALUE));
    const taken = feeding(1);
    taken.feeder.pump(0);
    taken.feeder.drop();
    taken.sent[0].done(OK);
    expect(taken.feeder.idle).toBe(true);
    expect([...dropped.faults, ...earlier.faults, ...taken.faults]).toEqual([]);
  });
});

describe('wait-until', () => {
  const row = (tick_us: number, value: number, ordinal = 2, good = true) =>
    Object.assign(new Row(), { tick_us, ordinal, fresh: 1, good: good ? 1 : 0, si: Float64Array.of(value) });
  const watch = () => {
    const w = new UntilWatch(facts);
    w.begin(2, { channel: 'current', is: 'below', value: 1, for_s: 0.01 });
    return w;
  };

  test('holds only on possible samples, without a break, in its own segment, and is told once', () => {
    const w = watch();
    expect([w.step(row(0, 0.5)), w.step(row(5000, 2)), w.step(row(6000, 0.5)), w.step(row(15_999, 0.5)), w.step(row(16_000, 0.5)), w.step(row(17_000, 0.5))]).toEqual([0, 0, 0, 0, 2, 0]);
    const broken = watch();
    expect([broken.step(row(0, 0.5)), broken.step(row(9000, 0.5, 2, false)), broken.step(row(10_000, 0.5)), broken.step(row(19_999, 0.5))]).toEqual([0, 0, 0, 0]);
    expect(watch().step(row(0, 0.5, 3))).toBe(0);
    const unknown = new UntilWatch([]);
    unknown.begin(2, { channel: 'current', is: 'below', value: 1, for_s: 0 });
    expect(unknown.step(row(0, 0))).toBe(0);
  });
});

describe('progress', () => {
  function progress(n: number) {
    const events: BenchEvent[] = [];
    const p = new Progress((e) => events.push(e), () => undefined);
    p.know(numbered(Array.from({ length: n }, () => level(0.3, 1))));
    return { p, events, told: () => events.map((e) => ('ordinal' in e ? `${e.type} ${e.ordinal}` : e.type)) };
  }

  test('segments whose events were lost are told, in order, once', () => {
    const { p, told } = progress(4);
    p.started(1, 0, 0, M.END_START);
    p.row(10, 4, 0.3, M.STATE_DRIVING);
    p.started(3, 9, 0, M.END_TIME);
    expect(told()).toEqual(['segment-started 1', 'segment-ended 1', 'segment-started 2', 'segment-ended 2', 'segment-started 3', 'segment-ended 3', 'segment-started 4']);
  });

  test('an early end that was asked for is told as asked, also for the last segment and by a row', () => {
    const { p, events } = progress(1);
    p.started(1, 0, 0, M.END_START);
    p.ask(1);
    p.ended(5, M.END_COMPLETE);
    p.ended(6, M.END_COMPLETE);
    expect(events.slice(1)).toMatchObject([{ type: 'segment-ended', why: 'asked' }, { type: 'ended', how: 'complete' }]);
    const tripped = progress(1);
    tripped.p.started(1, 0, 0, M.END_START);
    tripped.p.row(5, 0, 0, M.STATE_TRIPPED);
    expect(tripped.told()).toEqual(['segment-started 1', 'segment-ended 1']);
  });

  test('a segment that nobody announced is followed without an event', () => {
    const { p, told } = progress(0);
    p.started(1, 0, 0, M.END_START);
    expect(p.playing).toBe(1);
    expect(told()).toEqual([]);
    p.begin();
    expect(p.playing).toBe(0);
  });
});

describe('liveness', () => {
  test('without a beat the main process was never heard; device time alone ages it too', () => {
    const live = new Liveness(100_000);
    expect(live.beatAge_us()).toBe(Infinity);
    live.beat();
    expect(live.beatAge_us()).toBe(0);
    live.row(1000);
    live.beat();
    live.row(501_001);
    expect(live.beatAge_us()).toBe(500_001);
    expect(live.beats(true)).toMatchObject([{ code: 'HOST_STALLED', detail: expect.stringContaining('500 ms ago') as string }]);
    expect(live.beats(true)).toEqual([]);
    live.beat();
    expect(live.beats(true)).toEqual([{ code: 'HOST_STALLED', detail: null }]);
  });

  test('at rest the link is lost after 500 ms, armed after the silence; hearing again ends it', () => {
    for (const [armed, limit] of [[true, 100_000], [false, 500_000]] as const) {
      const live = new Liveness(100_000);
      live.beat();
      live.time(0, armed, true);
      live.heard();
      let at = 0;
      let lost = 0;
      while (lost === 0) {
        at += 1000;
        live.beat();
        if (live.time(at, armed, true).length > 0) lost = at;
      }
      expect(lost).toBe(limit + 2000);
      live.heard();
      expect(live.time(at + 1000, armed, true)).toEqual([{ code: 'LINK_LOST', detail: null }]);
      expect(live.time(at + 1e7, false, false)).toEqual([]);
    }
  });
});

describe('intake', () => {
  test('frames that are whole but make no sense are counted, not passed on', () => {
    const rows: number[] = [];
    const intake = new Intake(1, 1000, { row: (t) => rows.push(t), late: (t) => rows.push(-t), message: () => rows.push(0) });
    intake.push(encodeFrame(Uint8Array.of(M.MSG_ACK)));
    intake.push(encodeFrame(Uint8Array.of(0x42, 0, 0)));
    intake.push(encodeFrame(rowPayload({ sequence: 1, tick: 5, fresh: 2, counts: [1] })));
    expect(intake.bad).toBe(3);
    expect(rows).toEqual([]);
    intake.push(encodeFrame(rowPayload({ sequence: 2, tick: 6, fresh: 1, counts: [1] })));
    intake.push(encodeFrame(rowPayload({ sequence: 3, tick: 6, fresh: 1, counts: [1] })));
    expect(rows).toEqual([6, -6]);
    expect([intake.frames, intake.missing]).toEqual([5, 0]);
  });
});

test('a board that restarts counts from zero; after connecting again our time goes on rising', () => {
  const rows: number[] = [];
  const intake = new Intake(1, 1000, { row: (t) => rows.push(t), late: (t) => rows.push(-t), message: () => undefined });
  const row = (sequence: number, tick: number) => intake.push(encodeFrame(rowPayload({ sequence, tick, fresh: 0 })));
  row(900, 5_000_000);
  intake.expectRestart();
  row(901, 5_001_000);
  intake.expectRestart();
  row(0, 3000);
  row(1, 4000);
  expect(rows).toEqual([5_000_000, 5_001_000, 5_002_000, 5_003_000]);
  expect(intake.timeOf(3500)).toBe(5_002_500);
  row(2, 4000);
  expect(rows.at(-1)).toBe(-5_003_000);
  expect(intake.missing).toBe(0);
});

describe('the plan of a station', () => {
  const silent = { send: () => undefined, onBlock: () => undefined, onEvent: () => undefined };
  const plan = (over: object) => planOf({ rig: RIG, article: ARTICLE, facts, ...silent, ...over });

  test('says what the judge and the handshake work with', () => {
    expect(plan({})).toMatchObject({ fast: 1, slow: 100, supply_V: 7.6, judge: { supply_V: 7.6, supplyLimit_A: 15, propeller_m: 0.0762, idle: 0.04 }, session: { uid: null, divider: 100 } });
    expect(plan({ supply_V: 3, uid: 5 })).toMatchObject({ supply_V: 3, judge: { supply_V: 3 }, session: { uid: 5 } });
    expect(plan({ supply_V: null })).toMatchObject({ supply_V: 7.6, judge: { supply_V: null } });
    expect(plan({ propeller: false }).judge.propeller_m).toBeNull();
    expect(plan({ article: null }).judge.propeller_m).toBeNull();
    expect(plan({ rig: { ...RIG, sink: { kind: 'battery', holds_V: 9 } } }).judge.supplyLimit_A).toBeNull();
    expect(plan({ rig: { ...RIG, row_rate_Hz: 1 } })).toMatchObject({ fast: 1000, slow: 1000 });
    const spans = RIG.channels.map((c) => ({ ...c, span: c.kind === 'current' ? { from: -1, to: 60 } : null }));
    expect(plan({ rig: { ...RIG, channels: spans } }).judge.spans).toEqual({ current: { from: -1, to: 60 } });
  });
});
