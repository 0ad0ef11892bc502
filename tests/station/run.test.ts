// Goal: a run goes from greeting to a measured standstill, with every row judged and every segment told.
// Method: the station against the real controller core and a small made-up drive, in virtual time.
import { describe, expect, test } from 'vitest';
import { ARTICLE, level, numbered, rest, RIG, TestBench } from './bench';
import type { Segment } from '../../src/model/segment';
import { toSI } from '../../src/model/channel';
import { channelFacts } from '../../src/model/channel-facts';
import { Station } from '../../src/station/station';

describe('a run', () => {
  test('connects, arms, plays its segments in order and ends measured still', () => {
    const bench = new TestBench().start([level(0.3, 0.2, 'low'), { kind: 'ramp', to: 0.6, duration_s: 0.3, label: 'up', role: 'ramp-up' }, level(0.6, 0.2), rest(0.1)]);
    bench.run(6, () => bench.of('stopped').length > 0);
    expect(bench.trips).toEqual([]);
    expect(bench.of('segment-started').map((e) => [e.ordinal, e.segment.label])).toEqual([[1, 'low'], [2, 'up'], [3, 'level 60 %'], [4, 'rest']]);
    expect(bench.of('segment-ended').map((e) => [e.ordinal, e.why])).toEqual([[1, 'time'], [2, 'time'], [3, 'time'], [4, 'time']]);
    expect(bench.of('ended')).toMatchObject([{ how: 'complete', ordinal: 4 }]);
    expect(bench.of('stopped')).toMatchObject([{ confirmed: true }]);
    expect(bench.of('state').map((e) => e.state)).toEqual(['ready', 'driving', 'safe']);
    const starts = bench.of('segment-started').map((e) => e.tick_us);
    expect(starts.slice(1).map((t, i) => t - starts[i])).toEqual([200_000, 300_000, 200_000]);
  });

  test('delivers every row once and in order, fast while armed, slow at rest, in blocks', () => {
    const bench = new TestBench().start([level(0.3, 1)]);
    bench.run(6, () => bench.of('stopped').length > 0);
    bench.run(2);
    bench.station.flush();
    const ticks = bench.blocks.flatMap((b) => [...b.tick_us]);
    expect(ticks).toEqual([...ticks].sort((a, b) => a - b));
    expect(new Set(ticks).size).toBe(ticks.length);
    const driving = bench.blocks.flatMap((b) => [...b.tick_us].filter((_, i) => b.state[i] === 2));
    expect(driving.slice(1).every((t, i) => t - driving[i] === 1000)).toBe(true);
    expect(driving.length).toBe(1000);
    const resting = ticks.slice(-10);
    expect(resting.slice(1).every((t, i) => t - resting[i] === 100_000)).toBe(true);
    const during = bench.blocks.filter((b) => b.state.some((s) => s === 2));
    expect(during.length).toBeLessThanOrEqual(1000 / 32 + 4);
    expect(bench.station.health()).toEqual({ frames: expect.any(Number) as number, bad_frames: 0, missing_frames: 0, doubled_frames: 0, resent_commands: 0 });
  });

  test('blocks hold what the sensors showed', () => {
    const bench = new TestBench().start([level(0.5, 1)]);
    bench.run(0.8);
    const block = bench.blocks.at(-1)!;
    const si = channelFacts(RIG).map((f) => toSI(f.conversion, block.counts[f.id][block.rows - 1]));
    expect(si[0]).toBeCloseTo(bench.plant.truth.current, 1);
    expect(si[1]).toBeCloseTo(bench.plant.truth.voltage, 2);
    expect(si[2] / bench.plant.rpm).toBeCloseTo(1, 1);
    expect(bench.station.latest(0)).toBeCloseTo(bench.plant.truth.current, 1);
    expect(bench.station.now_us()).toBeGreaterThan(0);
  });

  test('events come after the rows that lie before them', () => {
    const order: string[] = [];
    const bench = new TestBench({
      config: {
        onBlock: (b) => order.push(`rows to ${b.tick_us[b.rows - 1]}`),
        onEvent: (e) => {
          if (e.type === 'segment-ended' || e.type === 'ended') order.push(`event at ${e.tick_us}`);
        },
      },
    });
    bench.connect();
    bench.arm();
    bench.station.feed(numbered([level(0.3, 0.1), level(0.4, 0.1)]));
    bench.station.start(10);
    bench.run(1);
    const times = order.map((o) => Number(o.split(' ').pop()));
    for (let i = 1; i < order.length; i++) if (order[i].startsWith('event')) expect(times[i - 1]).toBe(order[i - 1].startsWith('event') ? times[i] : times[i] - 1000);
    expect(order.filter((o) => o.startsWith('event'))).toHaveLength(3);
  });

  test('feeds a protocol far longer than the queue of the board without a gap', () => {
    const steps = Array.from({ length: 100 }, (_, i) => level(i % 2 === 0 ? 0.3 : 0.4, 0.03, `step ${i}`));
    const bench = new TestBench().start(steps);
    bench.run(8, () => bench.of('ended').length > 0);
    expect(bench.of('ended')).toMatchObject([{ how: 'complete', ordinal: 100 }]);
    const starts = bench.of('segment-started').map((e) => e.tick_us);
    expect(starts).toHaveLength(100);
    expect(starts.slice(1).every((t, i) => t - starts[i] === 30_000)).toBe(true);
    expect(bench.trips).toEqual([]);
  });

  test('segments fed while it plays follow on', () => {
    const bench = new TestBench();
    bench.connect();
    bench.arm();
    bench.station.feed(numbered([level(0.3, 0.3), level(0.35, 0.3)], 1, false));
    bench.station.start(10);
    bench.run(0.3);
    bench.station.feed(numbered([level(0.4, 0.2)], 3));
    bench.run(5, () => bench.of('stopped').length > 0);
    expect(bench.of('ended')).toMatchObject([{ how: 'complete', ordinal: 3 }]);
  });

  test('a queue that runs dry in the middle ends at zero as starved', () => {
    const bench = new TestBench();
    bench.connect();
    bench.arm();
    bench.station.feed(numbered([level(0.3, 0.2)], 1, false));
    bench.station.start(10);
    bench.run(5, () => bench.of('stopped').length > 0);
    expect(bench.of('ended')).toMatchObject([{ how: 'starved', ordinal: 1 }]);
    expect(bench.throttles.at(-1)!.raw).toBe(0);
    expect(bench.of('stopped')).toMatchObject([{ confirmed: true }]);
  });

  test('a second run follows the first on the same station; closest approaches are those of the run', () => {
    const bench = new TestBench().start([level(0.6, 0.5)]);
    bench.run(6, () => bench.of('stopped').length > 0);
    const first = bench.station.closest().find((c) => c.limit === 'speed')!;
    expect(first.value).toBeCloseTo(19_200, -3);
    expect(bench.station.closest().map((c) => c.ratio)).toEqual(bench.station.closest().map((c) => c.ratio).sort((a, b) => b - a));
    bench.again([level(0.3, 0.5)]);
    bench.run(6, () => bench.of('stopped').length > 1);
    expect(bench.of('ended').map((e) => e.how)).toEqual(['complete', 'complete']);
    expect(bench.station.closest().find((c) => c.limit === 'speed')!.value).toBeLessThan(11_000);
    expect(bench.trips).toEqual([]);
  });

  const holds: [string, Segment, (b: TestBench) => number, number][] = [
    ['hold-current', { kind: 'hold-current', target_A: 2, duration_s: 2.5, label: 'h', role: 'hold' }, (b) => b.plant.truth.current, 2],
    ['hold-power', { kind: 'hold-power', target_W: 15, duration_s: 2.5, label: 'h', role: 'hold' }, (b) => b.plant.truth.current * b.plant.truth.voltage, 15],
    ['hold-speed', { kind: 'hold-speed', target_rpm: 16_000, duration_s: 2.5, label: 'h', role: 'hold' }, (b) => b.plant.rpm, 16_000],
  ];
  test.each(holds)('%s reaches its target: conversions to counts are right', (_name, segment, read, target) => {
    const bench = new TestBench().start([level(0.3, 0.3), segment]);
    bench.run(2.6);
    expect(bench.trips).toEqual([]);
    expect(read(bench) / target).toBeCloseTo(1, 1);
  });

  test('at 8 kHz rows and a tick of 125 µs blocks stay blocks and nothing trips', () => {
    const bench = new TestBench({ rig: { tick_us: 125, row_rate_Hz: 8000 } }).start([level(0.5, 0.3)]);
    bench.run(5, () => bench.of('stopped').length > 0);
    expect(bench.trips).toEqual([]);
    expect(Math.max(...bench.blocks.map((b) => b.rows))).toBe(200);
    expect(bench.of('ended')).toMatchObject([{ how: 'complete' }]);
  });

  test('two equal runs give equal events and blocks', () => {
    const once = () => {
      const bench = new TestBench().start([level(0.3, 0.2), level(0.5, 0.2)]);
      bench.run(3);
      return JSON.stringify([bench.events, bench.blocks.map((b) => [...b.tick_us, ...b.counts.flatMap((c) => [...c])])]);
    };
    expect(once()).toBe(once());
  });
});

describe('wait-until', () => {
  const wait = (value: number, for_s: number, duration_s: number): Segment => ({
    kind: 'wait-until', throttle: 0.4, duration_s, label: 'wait', role: 'settle', until: { channel: 'speed', is: 'above', value, for_s },
  });

  test('ends when its condition has held for its time', () => {
    const bench = new TestBench().start([wait(10_000, 0.1, 5), level(0.3, 0.2)]);
    bench.run(4, () => bench.of('ended').length > 0);
    const [first, second] = bench.of('segment-started');
    const took = (second.tick_us - first.tick_us) / 1e6;
    // 10 000 of 12 800 rpm after 1.52 τ = 61 ms, then 100 ms, then a slice or two
    expect(took).toBeGreaterThan(0.155);
    expect(took).toBeLessThan(0.19);
    expect(bench.of('segment-ended')[0].why).toBe('asked');
    expect(bench.of('ended')).toMatchObject([{ how: 'complete' }]);
  });

  test('ends at its bound when the condition never comes', () => {
    const bench = new TestBench().start([wait(20_000, 0, 0.5), level(0.3, 0.1)]);
    bench.run(4, () => bench.of('ended').length > 0);
    expect(bench.of('segment-ended')[0].why).toBe('time');
    expect(bench.of('segment-started')[1].tick_us - bench.of('segment-started')[0].tick_us).toBe(500_000);
  });
});

describe('ending early', () => {
  test('finish: the segment plays to its end, later ones are dropped', () => {
    const bench = new TestBench().start([level(0.3, 0.3), level(0.4, 0.5), level(0.5, 0.5), level(0.6, 0.5)]);
    bench.run(0.4);
    bench.station.finishSegment();
    bench.run(5, () => bench.of('stopped').length > 0);
    expect(bench.of('segment-started').map((e) => e.ordinal)).toEqual([1, 2]);
    expect(bench.of('segment-ended').at(-1)).toMatchObject({ ordinal: 2, why: 'time' });
    expect(bench.of('ended')).toMatchObject([{ how: 'cleared', ordinal: 2 }]);
    expect(bench.of('ended')[0].tick_us - bench.of('segment-started')[1].tick_us).toBe(500_000);
  });

  test('finish asked just when the next segment begins finishes that one', () => {
    for (const at of [0.28, 0.285, 0.29, 0.295, 0.3]) {
      const bench = new TestBench().start([level(0.3, 0.3), level(0.4, 0.3), level(0.5, 0.3)]);
      const begun = bench.of('segment-started')[0].tick_us;
      bench.run(2, () => bench.now_us >= begun + at * 1e6);
      bench.station.finishSegment();
      bench.run(5, () => bench.of('stopped').length > 0);
      expect(bench.of('ended')).toMatchObject([{ how: 'cleared' }]);
      expect(bench.of('segment-started').length).toBeLessThanOrEqual(2);
      expect(bench.trips).toEqual([]);
    }
  });

  test('stop: zero at once, however often it is asked, and told when measured', () => {
    const bench = new TestBench().start([level(0.6, 5)]);
    bench.run(0.5);
    for (let i = 0; i < 10; i++) bench.station.stopNow();
    const asked = bench.now_us;
    bench.run(6, () => bench.of('stopped').length > 0);
    const lastDriven = bench.throttles.filter((t) => t.raw > 0).at(-1)!.at_us;
    expect(lastDriven).toBeLessThanOrEqual(asked);
    expect(bench.of('segment-ended')).toMatchObject([{ ordinal: 1, why: 'stopped' }]);
    expect(bench.of('ended')).toMatchObject([{ how: 'stopped' }]);
    expect(bench.of('stopped')).toHaveLength(1);
    const [stopped] = bench.of('stopped');
    expect(stopped.confirmed).toBe(true);
    // 19 200 rpm coasting down with a time constant of 0.25 s passes 1500 rpm after 0.64 s
    expect(stopped.took_us / 1e6).toBeGreaterThan(0.6);
    expect(stopped.took_us / 1e6).toBeLessThan(0.7);
    expect(bench.trips).toEqual([]);
  });

  test('stop while armed but not started, and at rest, is confirmed too', () => {
    const bench = new TestBench();
    bench.connect();
    bench.station.stopNow();
    bench.run(2);
    expect(bench.of('stopped')).toMatchObject([{ confirmed: true }]);
    expect(bench.arm().granted).toBe(true);
    bench.station.stopNow();
    bench.run(2);
    expect(bench.of('stopped')).toHaveLength(2);
    expect(bench.of('state').at(-1)!.state).toBe('safe');
    expect(bench.of('ended')).toEqual([]);
  });

  test('a stop overtakes a queue full of segments and an unfinished start', () => {
    const bench = new TestBench();
    bench.connect();
    bench.arm();
    bench.station.feed(numbered(Array.from({ length: 40 }, () => level(0.5, 0.5))));
    bench.station.start(60);
    bench.run(0.02);
    bench.station.stopNow();
    bench.run(3);
    expect(bench.throttles.every((t) => t.raw === 0)).toBe(true);
    expect(bench.of('state').at(-1)!.state).toBe('safe');
  });

  test('a motor that does not stop is told as unconfirmed, with numbers', () => {
    const bench = new TestBench().start([level(0.6, 1)]);
    bench.run(0.5);
    bench.plant.bend = (shown) => (shown.current = 0.8);
    bench.station.stopNow();
    bench.run(6, () => bench.of('stopped').length > 0);
    const [stopped] = bench.of('stopped');
    expect(stopped.confirmed).toBe(false);
    expect(stopped.took_us).toBeGreaterThan(4e6);
    expect(stopped.detail).toMatch(/^Not measured still within 4 s: 0\.8\d* A \(limit 0\.4 A\).*Cut the power\.$/);
  });

  test('verbs without a run do nothing', () => {
    const bench = new TestBench();
    bench.connect();
    bench.station.finishSegment();
    bench.station.endSegment(1);
    bench.run(0.5);
    expect(bench.events.filter((e) => e.type !== 'state')).toEqual([]);
  });
});

describe('arming', () => {
  test('is refused before a connection, with the reason', () => {
    const bench = new TestBench();
    let reasons: readonly string[] = [];
    bench.station.arm((p) => (reasons = p.reasons));
    expect(reasons[0]).toBe('The board is not connected.');
    expect(bench.station.permit().granted).toBe(false);
  });

  test('waits for the conditions of the rig file', () => {
    const bench = new TestBench({ rig: { arm_when: { motor_below_degC: 25, motor_above_degC: null, esc_below_degC: null, esc_above_degC: null, supply_within: null, within_s: 60 } } });
    bench.connect();
    const { reasons } = bench.arm();
    expect(reasons).toHaveLength(1);
    expect(reasons[0]).toMatch(/^Arming waits for the motor temperature to be below 25 °C; it is 30(\.1)? °C\.$/);
    bench.plant.bend = (shown) => (shown.motor_temperature = 24);
    bench.run(0.5);
    expect(bench.arm().granted).toBe(true);
  });

  test('a board that is armed already is not armed again', () => {
    const bench = new TestBench();
    bench.connect();
    expect(bench.arm().granted).toBe(true);
    bench.run(0.1);
    expect(bench.arm().reasons).toEqual(['The board is ready.']);
  });

  test("the board's own refusal is told", () => {
    const bench = new TestBench();
    bench.connect();
    bench.core.stopInput(1);
    const permit = bench.arm();
    expect(permit.granted).toBe(false);
    bench.run(0.2);
    expect(bench.trips.map((t) => [t.code, t.by])).toEqual([['STOP_INPUT', 'controller']]);
  });

  test('full rows can be had at rest, for zeros', () => {
    const bench = new TestBench();
    bench.connect();
    bench.station.fullRows(true);
    bench.run(0.1);
    const before = bench.rows;
    bench.run(1);
    expect(bench.rows - before).toBeGreaterThan(950);
    bench.station.fullRows(false);
    bench.run(0.1);
    const after = bench.rows;
    bench.run(1);
    expect(bench.rows - after).toBeLessThan(20);
  });

  test('limits that no board can hold are refused when the station is made', () => {
    const limits = { ...RIG.limits, current_peak: { above_A: 40, for_s: 1 } };
    expect(() => new Station({ rig: RIG, limits, article: ARTICLE, facts: channelFacts(RIG), send: () => undefined, onBlock: () => undefined, onEvent: () => undefined })).toThrow(/limits.current_peak: 1000 fresh samples/);
  });
});
