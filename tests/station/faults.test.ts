// Goal: whatever breaks, the motor is at zero in time, the first cause is told once, and nothing restarts by itself.
// Method: every fault injected into a running bench (real controller core, made-up drive, virtual time); both layers alone.
import { describe, expect, test } from 'vitest';
import type { RigLimits } from '../../src/model/files/rig';
import type { TripCode } from '../../src/model/trip';
import type { JudgeState } from '../../src/safety/judge';
import { limitsChecksum } from '../../src/link/checksum';
import { encodeFrame, FrameDecoder } from '../../src/link/codec';
import * as M from '../../src/wire/messages';
import { level, numbered, TestBench, type Plant } from './bench';

const LONG = [level(0.5, 20)];

/** Runs into a fault at 1 s and on for `seconds`. */
function into(fault: (bench: TestBench) => void, options: ConstructorParameters<typeof TestBench>[0] = {}, seconds = 3): TestBench {
  const bench = new TestBench(options).start(LONG);
  bench.run(1);
  expect(bench.trips).toEqual([]);
  fault(bench);
  bench.run(seconds);
  return bench;
}
const show = (change: (shown: Plant['truth']) => void) => (bench: TestBench) => (bench.plant.bend = change);
const atZero = (bench: TestBench) => bench.throttles.slice(-100).every((t) => t.raw === 0);

const physical: [TripCode, (bench: TestBench) => void][] = [
  ['CURRENT_PEAK', show((s) => (s.current = 42))],
  ['CURRENT_MEAN', show((s) => (s.current = 11))],
  ['VOLTAGE_LOW', show((s) => (s.voltage = 5))],
  ['VOLTAGE_HIGH', show((s) => (s.voltage = 10))],
  ['MOTOR_TEMPERATURE', show((s) => (s.motor_temperature = 95))],
  ['OVERSPEED', show((s) => (s.speed = 39_000))],
  ['THRUST', show((s) => (s.thrust = 2.6))],
  ['SENSOR_STALE', (b) => b.plant.silent.add('current')],
  ['SENSOR_IMPOSSIBLE', (b) => b.plant.impossible.add('voltage')],
  ['SENSOR_FROZEN', (b) => b.plant.frozen.add('current')],
  ['STALL', show((s) => { s.speed = 0; s.current = 8; })],
  ['DESYNC_SUSTAINED', show((s) => { s.speed = 0; s.current = 1; s.thrust = 0.4; })],
  ['STOP_INPUT', (b) => b.core.stopInput(1)],
];
const calm: Partial<Record<TripCode, Partial<RigLimits>>> = {
  VOLTAGE_LOW: { supply_sag: null },
  MOTOR_TEMPERATURE: { trend: null },
  CURRENT_PEAK: {},
  STALL: { desync: null },
};

/** Here the station's rule is the tighter one: an exact mean, and three impossible samples of ten. */
const SOONER: readonly TripCode[] = ['CURRENT_MEAN', 'SENSOR_IMPOSSIBLE'];

describe('faults that both layers know', () => {
  test.each(physical)('%s: zero in the tick of the verdict, told once as the first cause, with numbers', (code, fault) => {
    const bench = into(fault, { limits: calm[code] ?? {} });
    const [first] = bench.trips;
    expect(first.code).toBe(code);
    expect(first.by).toBe(SOONER.includes(code) ? 'station' : 'controller');
    expect(first.ordinal).toBe(1);
    if (code !== 'STOP_INPUT') expect([first.value, first.limit].every((v) => typeof v === 'number' && Number.isFinite(v))).toBe(true);
    // The controller sets zero in the very tick that it reports.
    const latest = SOONER.includes(code) ? first.tick_us + 5000 : first.tick_us;
    expect(bench.throttles.filter((t) => t.at_us >= latest).every((t) => t.raw === 0)).toBe(true);
    expect(bench.throttles.some((t) => t.at_us === latest)).toBe(true);
    expect(bench.of('segment-ended')).toMatchObject([{ why: 'tripped', ordinal: 1 }]);
    expect(bench.of('ended')).toEqual([]);
    expect(bench.of('state').at(-1)!.state).toBe('tripped');
    expect(new Set(bench.trips.map((t) => `${t.code} ${t.channel}`)).size).toBe(bench.trips.length);
  });

  const alone = physical.filter(([code]) => code !== 'STOP_INPUT');
  test.each(alone)('%s: the station alone stops the motor when the board has no limits', (code, fault) => {
    const bench = new TestBench({ limits: calm[code] ?? {} });
    // A board that lies: it acknowledges limits but the frames that set them say "off". The checksum would tell; it lies too.
    const original = bench.core.receive;
    const decoder = new FrameDecoder((bytes, length) => {
      const payload = bytes.slice(0, length);
      if (payload[0] === M.CMD_SET_LIMIT) payload[3] = M.RULE_OFF;
      if (payload[0] === M.CMD_ARM) new DataView(payload.buffer).setUint32(4, bench.core.checksum(), true);
      original(encodeFrame(payload));
    });
    bench.line.toBoard = (bytes) => {
      decoder.push(bytes);
      return new Uint8Array(0);
    };
    bench.line.toStation = forgeChecksum(bench);
    bench.start(LONG);
    bench.run(1);
    expect(bench.trips).toEqual([]);
    fault(bench);
    bench.run(3);
    const [first] = bench.trips;
    expect(first).toMatchObject({ code, by: 'station', ordinal: 1 });
    expect(bench.core.getState()).toBe(M.STATE_TRIPPED);
    // The abort goes out within the call that delivered the row: at most one slice each way.
    const lastDriven = bench.throttles.filter((t) => t.raw > 0).at(-1)!.at_us;
    expect(lastDriven - first.tick_us).toBeLessThanOrEqual(5000);
    expect(atZero(bench)).toBe(true);
  });
});

/** Rewrites the checksum in every status so that a board without limits looks like one with ours. */
function forgeChecksum(bench: TestBench): (bytes: Uint8Array) => Uint8Array {
  return (bytes) => {
    const out: number[] = [];
    const decoder = new FrameDecoder((buffer, length) => {
      const payload = buffer.slice(0, length);
      const { session } = bench.station as unknown as { session: { plan: { limits: never; guards: never } } };
      if (payload[0] === M.MSG_STATUS) new DataView(payload.buffer).setUint32(20, limitsChecksum(session.plan.limits, session.plan.guards), true);
      out.push(...encodeFrame(payload));
    });
    decoder.push(bytes);
    return Uint8Array.from(out);
  };
}

describe('faults that only the station knows', () => {
  const own: [TripCode, (bench: TestBench) => void, Partial<RigLimits>][] = [
    ['SUPPLY_SAG', show((s) => (s.voltage = 6)), {}],
    ['SUPPLY_LIMITING', show((s) => { s.voltage = 7; s.current = 14.9; }), { current_mean: { above_A: 30, over_s: 0.5 } }],
    ['MISMATCH', show((s) => (s.thrust *= 0.4)), {}],
    ['PROPELLER_LOST', show((s) => { s.thrust = 0; s.current = 0.4; }), {}],
    ['DESYNC_COUNT', (b) => { let n = 0; b.plant.bend = (s) => { if (n++ % 200 < 50) s.speed = 0; }; }, {}],
    ['CANNOT_RECORD', (b) => b.station.cannotRecord('The disk is full.'), {}],
    ['SUPPLY_LIMITING', (b) => b.station.supplyLimiting('The supply reports constant current.'), {}],
    ['STOP_INPUT', (b) => b.station.stopInput(true), {}],
  ];
  test.each(own)('%s stops the motor within a slice', (code, fault, limits) => {
    const bench = into(fault, { limits });
    expect(bench.trips[0]).toMatchObject({ code, by: 'station' });
    expect(bench.core.getCause()).toBeGreaterThan(0);
    expect(bench.of('state').at(-1)!.state).toBe('tripped');
    const lastDriven = bench.throttles.filter((t) => t.raw > 0).at(-1)!.at_us;
    expect(lastDriven - bench.trips[0].tick_us).toBeLessThanOrEqual(5000);
    expect(bench.trips.filter((t) => t.code === code)).toHaveLength(1);
  });

  test('the abort is on its way before anybody is told, and before its words are made; once', () => {
    const order: string[] = [];
    const frames = new FrameDecoder((payload) => { if (payload[0] === M.CMD_TRIP) order.push('sent'); });
    const bench: TestBench = new TestBench({ config: {
      send: (bytes) => { frames.push(bytes); bench.toBoard.push(bytes); },
      onAbort: () => order.push('carried'),
      onEvent: (event) => { bench.events.push(event); if (event.type === 'tripped') order.push('told'); },
    } });
    const { judge } = (bench.station as unknown as { supervision: { judge: JudgeState } }).supervision;
    for (const rule of judge.rules.all) {
      const finding = rule.finding.bind(rule);
      rule.finding = (row) => { order.push('words'); return finding(row); };
    }
    bench.start(LONG);
    bench.run(1);
    expect(order).toEqual([]);
    bench.plant.bend = (s) => (s.voltage = 6);
    bench.run(0.1);
    expect(bench.trips.map((t) => t.code)).toEqual(['SUPPLY_SAG']);
    expect(order.slice(0, 4)).toEqual(['sent', 'carried', 'words', 'told']);
    expect(order.filter((what) => what !== 'words')).toEqual(['sent', 'carried', 'told']);
  });

  test('TREND: a temperature that rises too fast', () => {
    let t = 30;
    const bench = into((b) => (b.plant.bend = (s) => (s.motor_temperature = t += 0.025)));
    expect(bench.trips[0]).toMatchObject({ code: 'TREND', by: 'station', unit: 'K/s' });
  });

  test('PROTOCOL_TIMEOUT: the protocol takes longer than its bound', () => {
    const bench = new TestBench().start(LONG, 0.8);
    bench.run(2);
    expect(bench.trips[0]).toMatchObject({ code: 'PROTOCOL_TIMEOUT', by: 'station' });
    expect(atZero(bench)).toBe(true);
  });

  test('desyncs that end well are events, not trips', () => {
    let n = 0;
    const bench = into((b) => (b.plant.bend = (s) => { if (++n >= 100 && n < 150) s.speed = 0; }));
    expect(bench.trips).toEqual([]);
    expect(bench.of('desync')).toMatchObject([{ ordinal: 1, duration_us: 51_000 }]);
  });
});

describe('the host', () => {
  test('a main process that falls silent for 500 ms stops the motor', () => {
    const bench = into((b) => (b.mainAlive = false));
    expect(bench.trips[0]).toMatchObject({ code: 'HOST_STALLED', by: 'station' });
    expect(bench.trips[0].detail).toMatch(/^The main process was last heard 50\d(\.\d)? ms ago \(limit 500 ms\)\.$/);
    expect(bench.station.permit().granted).toBe(false);
    expect(atZero(bench)).toBe(true);
  });

  test('a guard process that dies leaves the board to its deadman', () => {
    const bench = new TestBench().start(LONG);
    bench.run(1);
    bench.line.toBoard = () => new Uint8Array(0);
    const cut = bench.now_us;
    bench.run(0.5);
    expect(bench.core.getState()).toBe(M.STATE_TRIPPED);
    const lastDriven = bench.throttles.filter((t) => t.raw > 0).at(-1)!.at_us;
    expect(lastDriven - cut).toBeLessThanOrEqual(100_000);
    expect(bench.trips[0]).toMatchObject({ code: 'HOST_SILENT', by: 'controller' });
  });

  test('this process pausing for longer than the silence is a stall, told as one', () => {
    const bench = new TestBench().start(LONG);
    bench.run(1);
    bench.station.hostTime(bench.now_us + 310_000);
    expect(bench.trips[0].detail).toBe('This process paused for 310 ms (limit 100 ms).');
    bench.run(1);
    expect(atZero(bench)).toBe(true);
  });

  test('ordinary slices up to the silence are no stall', () => {
    const bench = new TestBench({ slice_us: 20_000 }).start([level(0.5, 1)]);
    bench.run(5, () => bench.of('stopped').length > 0);
    expect(bench.trips).toEqual([]);
  });
});

describe('the link', () => {
  test('a board that falls silent is a lost link, and its stop is unconfirmed', () => {
    const bench = into((b) => (b.boardAlive = false), {}, 8);
    expect(bench.trips[0]).toMatchObject({ code: 'LINK_LOST', by: 'station' });
    expect(bench.trips[0].detail).toMatch(/^Nothing came from the board for 1[01]\d ms/);
    expect(bench.of('stopped')).toMatchObject([{ confirmed: false }]);
    expect(bench.of('stopped')[0].detail).toMatch(/no row came since|Cut the power/);
  });

  test('rows that are lost for less than the silence are counted, not a trip', () => {
    const bench = into((b) => {
      const from = b.now_us;
      b.line.toStation = (bytes) => (b.now_us - from > 20_000 && b.now_us - from < 60_000 ? new Uint8Array(0) : bytes);
    });
    expect(bench.trips).toEqual([]);
    expect(bench.station.health().missing_frames).toBeGreaterThan(30);
    expect(bench.of('link').at(-1)!.health.missing_frames).toBe(bench.station.health().missing_frames);
  });

  test('garbage between frames is counted and costs nothing', () => {
    const bench = into((b) => (b.line.toStation = (bytes) => Uint8Array.from([...bytes, 0, 17, 4, 200])));
    expect(bench.trips).toEqual([]);
    expect(bench.station.health().bad_frames).toBeGreaterThan(100);
    expect(bench.station.health().missing_frames).toBe(0);
  });

  test('every tenth byte stream damaged towards the board: commands are sent again, permits outlive it', () => {
    const bench = new TestBench();
    let n = 0;
    bench.line.toBoard = (bytes) => (++n % 10 === 0 ? bytes.map((b, i) => (i === 2 ? b ^ 1 : b)) : bytes);
    bench.start(Array.from({ length: 40 }, () => level(0.4, 0.2)));
    bench.run(12, () => bench.of('stopped').length > 0);
    expect(bench.trips).toEqual([]);
    expect(bench.of('ended')).toMatchObject([{ how: 'complete', ordinal: 40 }]);
    expect(bench.station.health().resent_commands).toBeGreaterThan(3);
  });

  test('a frame that comes twice is dropped, and counted', () => {
    const bench = into((b) => (b.line.toStation = twice));
    expect(bench.trips).toEqual([]);
    bench.station.flush();
    const ticks = bench.blocks.flatMap((b) => [...b.tick_us]);
    expect(new Set(ticks).size).toBe(ticks.length);
    // Row after row came twice for three seconds, and nothing is missing for it.
    expect(bench.station.health()).toMatchObject({ bad_frames: 0, missing_frames: 0, doubled_frames: expect.any(Number) as number });
    expect(bench.station.health().doubled_frames).toBeGreaterThan(2900);
    expect(bench.of('link').at(-1)!.health.doubled_frames).toBeGreaterThan(0);
  });

  test('rows that change places are out of order: a trip', () => {
    const bench = into((b) => (b.line.toStation = (bytes) => swapped(bytes)));
    expect(bench.trips[0]).toMatchObject({ code: 'OUT_OF_ORDER', by: 'station' });
    expect(atZero(bench)).toBe(true);
    bench.station.flush();
    const ticks = bench.blocks.flatMap((b) => [...b.tick_us]);
    expect(ticks).toEqual([...ticks].sort((a, b) => a - b));
  });

  const EVENTS = [M.MSG_SEGMENT_STARTED, M.MSG_ENDED];
  test('lost event frames are made up for from rows: every segment starts and ends once', () => {
    const bench = new TestBench();
    bench.line.toStation = without(EVENTS);
    bench.start([level(0.3, 0.2), level(0.4, 0.2), level(0.5, 0.2)]);
    bench.run(4, () => bench.of('stopped').length > 0);
    expect(bench.of('segment-started').map((e) => e.ordinal)).toEqual([1, 2, 3]);
    expect(bench.of('segment-ended').map((e) => [e.ordinal, e.why])).toEqual([[1, 'time'], [2, 'time'], [3, 'time']]);
    expect(bench.of('ended')).toMatchObject([{ how: 'complete', ordinal: 3 }]);
  });

  test('a lost end is told as what it was: starved, stopped, cleared', () => {
    const starved = new TestBench();
    starved.line.toStation = without(EVENTS);
    starved.connect();
    starved.arm();
    starved.station.feed(numbered([level(0.3, 0.2)], 1, false));
    starved.station.start(10);
    starved.run(3);
    expect(starved.of('ended')).toMatchObject([{ how: 'starved' }]);
    for (const [verb, how] of [['stopNow', 'stopped'], ['finishSegment', 'cleared']] as const) {
      const bench = new TestBench();
      bench.line.toStation = without(EVENTS);
      bench.start([level(0.3, 0.5), level(0.4, 0.5)]);
      bench.run(0.2);
      bench.station[verb]();
      bench.run(3);
      expect(bench.of('ended')).toMatchObject([{ how }]);
    }
  });

  test('a lost trip frame is asked for again: cause and numbers are told all the same', () => {
    const bench = new TestBench();
    bench.line.toStation = without([M.MSG_TRIPPED]);
    bench.start(LONG);
    bench.run(1);
    bench.core.stopInput(1);
    bench.run(1);
    expect(bench.trips).toMatchObject([{ code: 'STOP_INPUT', by: 'controller' }]);
    const deaf = new TestBench();
    deaf.line.toStation = without([M.MSG_TRIPPED, M.MSG_STATUS]);
    // Without any status the handshake cannot end; so it is let through until the run.
    deaf.line.toStation = (b) => b;
    deaf.start(LONG);
    deaf.line.toStation = without([M.MSG_TRIPPED, M.MSG_STATUS]);
    deaf.run(1);
    deaf.core.stopInput(1);
    deaf.run(2);
    expect(deaf.trips).toMatchObject([{ code: 'STOP_INPUT', by: 'controller', value: null }]);
  });

  test('a lost stop is sent again until rows show it', () => {
    const bench = new TestBench().start(LONG);
    bench.run(0.5);
    const asked = bench.now_us;
    bench.line.toBoard = (b) => (bench.now_us - asked < 60_000 ? new Uint8Array(0) : b);
    bench.station.stopNow();
    bench.run(3);
    const lastDriven = bench.throttles.filter((t) => t.raw > 0).at(-1)!.at_us;
    expect(lastDriven - asked).toBeLessThan(100_000);
    expect(bench.of('ended')).toMatchObject([{ how: 'stopped' }]);
  });

  test('a lost abort is sent again until rows show it', () => {
    const bench = new TestBench().start(LONG);
    bench.run(0.5);
    const from = bench.now_us;
    bench.line.toBoard = (b) => (bench.now_us - from < 60_000 ? new Uint8Array(0) : b);
    bench.station.cannotRecord('The disk is full.');
    bench.run(1);
    const lastDriven = bench.throttles.filter((t) => t.raw > 0).at(-1)!.at_us;
    expect(lastDriven - from).toBeLessThan(100_000);
    expect(bench.trips.map((t) => t.code)).toEqual(['CANNOT_RECORD']);
  });

  test('a board that restarts in the middle of a run ends it; nothing starts again by itself', () => {
    const bench = into((b) => b.powerOn(3), {}, 8);
    expect(bench.trips[0].code).toBe('LINK_LOST');
    expect(atZero(bench)).toBe(true);
    expect(bench.core.getState()).not.toBe(M.STATE_DRIVING);
    bench.connectAgain();
    expect(bench.station.permit().granted).toBe(false);
    expect(bench.station.permit().reasons.join()).toMatch(/Tripped: LINK_LOST/);
    expect(bench.core.getState()).toBe(M.STATE_TRIPPED);
    // The first attempt finds the stop unconfirmed and has it measured anew; only then can the trip be cleared.
    const answers: boolean[] = [];
    for (let i = 0; i < 2; i++) {
      bench.station.clearTrip({ by: 'operator', note: 'cable fixed' }, (p) => answers.push(p.granted));
      bench.run(3);
    }
    expect(answers).toEqual([false, true]);
    bench.connect();
    bench.again([level(0.3, 0.2)]);
    bench.run(3, () => bench.of('ended').length > 0);
    expect(bench.of('ended')).toMatchObject([{ how: 'complete' }]);
    bench.station.flush();
    const ticks = bench.blocks.flatMap((b) => [...b.tick_us]);
    expect(ticks).toEqual([...ticks].sort((a, b) => a - b));
  });
});

describe('after a trip', () => {
  test('the stop is measured; arming is refused; clearing is an act of its own and starts nothing', () => {
    const bench = into(show((s) => (s.voltage = 10)), {}, 0.1);
    let cleared: boolean | undefined;
    bench.station.clearTrip({ by: 'operator', note: 'too soon' }, (p) => (cleared = p.granted));
    expect(cleared).toBe(false);
    bench.run(5, () => bench.of('stopped').length > 0);
    expect(bench.of('stopped')).toMatchObject([{ confirmed: true }]);
    expect(bench.arm().reasons.join('\n')).toMatch(/Tripped: VOLTAGE_HIGH/);
    bench.plant.bend = () => undefined;
    bench.run(1);
    bench.station.clearTrip({ by: 'operator', note: 'sink connected' }, (p) => (cleared = p.granted));
    bench.run(1);
    expect(cleared).toBe(true);
    expect(bench.core.getState()).toBe(M.STATE_SAFE);
    expect(atZero(bench)).toBe(true);
    bench.again([level(0.3, 0.3)]);
    bench.run(5, () => bench.of('stopped').length > 1);
    expect(bench.of('ended')).toMatchObject([{ how: 'complete' }]);
  });

  test('a pressed stop input keeps the trip; an unheard board keeps it too', () => {
    const bench = into((b) => b.core.stopInput(1), {}, 4);
    let reasons: readonly string[] = [];
    bench.station.clearTrip({ by: 'operator', note: 'try' }, (p) => (reasons = p.reasons));
    bench.run(1);
    expect(reasons).toEqual(['The board did not clear its trip. Release the stop input, check the link.']);
    expect(bench.core.getState()).toBe(M.STATE_TRIPPED);
  });

  test('later causes come behind the first; the tail of rows is delivered', () => {
    const bench = into(show((s) => { s.current = 50; s.voltage = 11; }), {}, 0.3);
    bench.station.flush();
    expect(bench.trips[0].code).toBe('VOLTAGE_HIGH');
    expect(bench.trips.slice(1).map((t) => t.code)).toContain('CURRENT_PEAK');
    const tripped = bench.blocks.flatMap((b) => [...b.state]).filter((s) => s === M.STATE_TRIPPED);
    expect(tripped.length).toBeGreaterThan(250);
  });

  test('connecting to a board that is tripped from before does not clear it', () => {
    const bench = into((b) => b.core.stopInput(1), {}, 1);
    bench.core.stopInput(0);
    const second = new TestBench();
    second.adopt(bench);
    let message = '';
    second.station.connect((e) => (message = e?.message ?? 'none'));
    second.run(1);
    expect(message).toMatch(/tripped from before \(cause 17/);
    expect(second.trips).toHaveLength(1);
    expect(second.of('stopped')).toMatchObject([{ confirmed: true }]);
    let cleared = false;
    second.station.clearTrip({ by: 'operator', note: 'input released' }, (p) => (cleared = p.granted));
    second.run(0.5);
    expect(cleared).toBe(true);
    second.connect();
    expect(second.arm().granted).toBe(true);
  });
});

/** Doubles every frame. */
function twice(bytes: Uint8Array): Uint8Array {
  return rewritten(bytes, (frames) => frames.flatMap((f) => [f, f]));
}
/** Swaps the second and third row of a piece. */
function swapped(bytes: Uint8Array): Uint8Array {
  return rewritten(bytes, (frames) => [frames[0], frames[2], frames[1], ...frames.slice(3)].filter((f) => f !== undefined));
}
/** Loses messages of some kinds. */
function without(ids: readonly number[]): (bytes: Uint8Array) => Uint8Array {
  return (bytes) => rewritten(bytes, (frames) => frames.filter((f) => !ids.includes(f[0])));
}
function rewritten(bytes: Uint8Array, change: (payloads: Uint8Array[]) => Uint8Array[]): Uint8Array {
  const payloads: Uint8Array[] = [];
  new FrameDecoder((buffer, length) => payloads.push(buffer.slice(0, length))).push(bytes);
  return Uint8Array.from(change(payloads).flatMap((p) => [...encodeFrame(p)]));
}
