// Goal: the judge is pure, latches first causes first, and blocks arming where nothing may trip yet.
// Method: the pure function against the in-place one on the same rows; states of the board walked one by one.
import { Observable, of, toArray, firstValueFrom } from 'rxjs';
import { describe, expect, test } from 'vitest';
import { closestApproaches } from '../../src/safety/closest';
import { copy } from '../../src/safety/copy';
import { advance, beginRun, brokenNow, condition, judge, latchBoardTrip, startJudge, type JudgeState, type Sample } from '../../src/safety/judge';
import { clearLatch, holds, latchTrip, OPEN_LATCH } from '../../src/safety/latch';
import { judged } from '../../src/safety/operator';
import type { SampleBlock } from '../../src/model/sample';
import type { Trip } from '../../src/model/trip';
import { Drive, SETUP } from './build';

const sampleOf = (block: SampleBlock, drive: Drive): Sample => ({
  throttle: block.throttle[0], state: drive.state, ordinal: block.ordinal[0], fresh: block.fresh[0], valid: block.valid[0], counts: block.counts.map((c) => c[0]),
});

describe('the pure judge', () => {
  test('gives the same verdicts as the in-place one and leaves the state it was given alone', () => {
    const drive = new Drive();
    let state: JudgeState = startJudge(SETUP);
    const inPlace = startJudge(SETUP);
    for (let i = 0; i < 330; i++) {
      drive.tick_us += 1000;
      if (i === 250) drive.si.current = 45;
      if (i === 300) drive.si.voltage = 9.5;
      if (i > 260) drive.state = 'tripped';
      const block = drive.block();
      const before = JSON.stringify(state.row);
      const given = state;
      const [next, verdict] = judge(given, sampleOf(block, drive), drive.tick_us);
      expect(JSON.stringify(given.row)).toBe(before);
      expect(verdict.trips).toEqual(advance(inPlace, block, 0) ?? []);
      expect(verdict.conditions).toEqual(brokenNow(inPlace));
      expect(verdict.content).toBe(i < 253);
      state = next;
    }
    expect(state.latch).toEqual(inPlace.latch);
    expect(state.latch.first!.code).toBe('CURRENT_PEAK');
    expect(state.latch.also.map((t) => t.code)).toContain('VOLTAGE_HIGH');
  });

  test('the same state and sample always give the same verdict', () => {
    const drive = new Drive();
    drive.run(100);
    drive.si.current = 45;
    drive.run(3);
    drive.tick_us += 1000;
    const sample = sampleOf(drive.block(), drive);
    const [, a] = judge(drive.judge, sample, drive.tick_us);
    const [, b] = judge(drive.judge, sample, drive.tick_us);
    expect(a).toEqual(b);
    expect(a.trips.map((t) => t.code)).toEqual(['CURRENT_PEAK']);
    expect(drive.judge.latch.first).toBeNull();
  });

  test('a desync is in the verdict of the row in which rotation came back', () => {
    const drive = new Drive();
    drive.run(1000);
    drive.si.speed = 0;
    drive.run(50);
    drive.si.speed = 24_000;
    drive.tick_us += 1000;
    expect(judge(drive.judge, sampleOf(drive.block(), drive), drive.tick_us)[1].desync).toMatchObject({ duration_us: 51_000 });
  });
});

describe('a copy', () => {
  test('keeps classes, shared references and typed arrays, and shares nothing', () => {
    const inner = { a: [1, { b: 2 }], f: Float64Array.of(1, 2), m: new Map([[1, { c: 3 }]]), n: null };
    const original = { x: inner, y: inner, text: 'z' };
    const twin = copy(original);
    expect(twin).toEqual(original);
    expect(twin.x).toBe(twin.y);
    twin.x.f[0] = 9;
    twin.x.m.get(1)!.c = 9;
    expect(inner.f[0]).toBe(1);
    expect(inner.m.get(1)!.c).toBe(3);
    const judgeTwin = copy(startJudge(SETUP));
    expect(judgeTwin.rules.all[0].constructor).toBe(startJudge(SETUP).rules.all[0].constructor);
  });
});

describe('when a broken rule is a trip', () => {
  test.each([['safe', false], ['ready', true], ['driving', true]] as const)('in a board that is %s: %s', (state, trips) => {
    const drive = new Drive();
    drive.run(200);
    drive.state = state;
    drive.throttle = 0;
    drive.si.voltage = 10;
    const found = drive.run(100).map((t) => t.code);
    expect(found).toEqual(trips ? ['VOLTAGE_HIGH'] : []);
    expect(brokenNow(drive.judge).map((f) => f.code)).toEqual(['VOLTAGE_HIGH']);
  });

  test('what was broken before arming trips on the first armed row', () => {
    const drive = new Drive();
    drive.state = 'safe';
    drive.throttle = 0;
    drive.si.motor_temperature = 95;
    expect(drive.run(2000)).toEqual([]);
    drive.state = 'ready';
    expect(drive.row().map((t) => t.code)).toEqual(['MOTOR_TEMPERATURE']);
  });

  test('later causes go behind the first while the board is tripped, each once', () => {
    const drive = new Drive();
    drive.run(500);
    drive.si.current = 45;
    expect(drive.run(50)).toHaveLength(1);
    drive.state = 'tripped';
    drive.throttle = 0;
    drive.si.voltage = 12;
    for (let i = 0; i < 300; i++) drive.row();
    expect(drive.judge.latch.first!.code).toBe('CURRENT_PEAK');
    expect(drive.judge.latch.also.map((t) => t.code)).toEqual(['VOLTAGE_HIGH', 'CURRENT_MEAN']);
  });

  test('a tripped board with nothing latched here adds nothing', () => {
    const drive = new Drive();
    drive.run(100);
    drive.state = 'tripped';
    drive.si.voltage = 12;
    expect(drive.run(50)).toEqual([]);
  });
});

describe('conditions from elsewhere', () => {
  test('trip at once while armed, block arming otherwise, and can be taken back', () => {
    const drive = new Drive();
    drive.state = 'safe';
    drive.throttle = 0;
    drive.run(100);
    expect(condition(drive.judge, 'CANNOT_RECORD', 'Disk full: 0 bytes left.')).toBeNull();
    expect(brokenNow(drive.judge)).toMatchObject([{ code: 'CANNOT_RECORD', detail: 'Disk full: 0 bytes left.' }]);
    condition(drive.judge, 'CANNOT_RECORD', null);
    expect(brokenNow(drive.judge)).toEqual([]);
    drive.state = 'driving';
    drive.run(10);
    expect(condition(drive.judge, 'CANNOT_RECORD', 'Disk full.')).toMatchObject({ code: 'CANNOT_RECORD', by: 'station', value: null });
    expect(condition(drive.judge, 'CANNOT_RECORD', 'Disk full.')).toBeNull();
    expect(drive.judge.latch.also).toEqual([]);
  });

  test('one that stands when the board is armed trips on the first armed row', () => {
    const drive = new Drive();
    drive.state = 'safe';
    drive.throttle = 0;
    drive.run(100);
    condition(drive.judge, 'STOP_INPUT', 'Pressed.');
    expect(drive.run(100)).toEqual([]);
    drive.state = 'ready';
    expect(drive.row().map((t) => t.code)).toEqual(['STOP_INPUT']);
  });
});

describe('the latch', () => {
  const trip = (code: Trip['code'], channel: string | null = null): Trip => ({ code, by: 'station', tick_us: 1, value: null, limit: null, unit: '', channel, ordinal: 1, detail: code });

  test('keeps the first cause first and later ones in order, each once', () => {
    let latch = latchTrip(OPEN_LATCH, trip('STALL'));
    latch = latchTrip(latch, trip('CURRENT_MEAN'));
    latch = latchTrip(latch, trip('STALL'));
    latch = latchTrip(latch, trip('CURRENT_MEAN'));
    latch = latchTrip(latch, trip('CURRENT_MEAN', 'current_A'));
    expect(latch.first!.code).toBe('STALL');
    expect(latch.also.map((t) => [t.code, t.channel])).toEqual([['CURRENT_MEAN', null], ['CURRENT_MEAN', 'current_A']]);
    expect(holds(OPEN_LATCH, 'STALL', null)).toBe(false);
  });

  test("takes the board's trip in, once", () => {
    const state = startJudge(SETUP);
    expect(latchBoardTrip(state, trip('OVERSPEED'))).toBe(true);
    expect(latchBoardTrip(state, trip('OVERSPEED'))).toBe(false);
    expect(state.latch.first!.code).toBe('OVERSPEED');
  });

  test('opens only for a deliberate act with a note, a motor measured still, and a released stop input', () => {
    const latch = latchTrip(OPEN_LATCH, trip('STALL'));
    const act = { by: 'operator', note: 'rotor freed' } as const;
    const now = { stopConfirmed: true, stopInput: false };
    expect(clearLatch(latch, act, now)).toEqual({ ok: true, latch: OPEN_LATCH });
    const refused = (l = latch, a: { by: 'operator'; note: string } = act, n = now) => {
      const result = clearLatch(l, a, n);
      return result.ok ? [] : result.reasons;
    };
    expect(refused(OPEN_LATCH)).toEqual(['There is no trip to clear.']);
    expect(refused(latch, { by: 'operator', note: '  ' })[0]).toMatch(/empty note/);
    expect(refused(latch, act, { ...now, stopInput: true })[0]).toMatch(/Release it first/);
    expect(refused(latch, act, { ...now, stopConfirmed: false })[0]).toMatch(/Cut the power/);
    expect(refused(OPEN_LATCH, { by: 'operator', note: '' }, { stopConfirmed: false, stopInput: true })).toHaveLength(4);
  });
});

describe('the operator', () => {
  test('judges every row of every block and starts afresh for each subscriber', async () => {
    const drive = new Drive();
    const blocks: SampleBlock[] = [];
    for (let i = 0; i < 1200; i++) {
      drive.tick_us += 1000;
      drive.si.speed = i >= 900 && i < 950 ? 0 : 24_000;
      drive.si.current = i >= 1100 ? 45 : 4;
      blocks.push(drive.block());
    }
    const stream = of(...blocks).pipe(judged(SETUP));
    for (let round = 0; round < 2; round++) {
      const out = await firstValueFrom(stream.pipe(toArray()));
      expect(out.map((o) => o.block)).toEqual(blocks);
      expect(out.flatMap((o) => o.trips).map((t) => t.code)).toEqual(['CURRENT_PEAK', 'CURRENT_MEAN']);
      expect(out.flatMap((o) => o.desyncs)).toHaveLength(1);
    }
    expect(stream).toBeInstanceOf(Observable);
  });
});

describe('closest approaches', () => {
  test('name value, bound, ratio and instant, nearest first, of this run only', () => {
    const drive = new Drive();
    drive.run(1000);
    drive.si.current = 8.1;
    drive.run(1000);
    const list = closestApproaches(drive.judge);
    const mean = list.find((c) => c.limit === 'current_mean')!;
    expect(mean.value).toBeCloseTo(8.105, 2);
    expect(mean).toMatchObject({ bound: 9, unit: 'A' });
    expect(mean.ratio).toBeCloseTo(0.9, 2);
    expect(list.map((c) => c.ratio)).toEqual(list.map((c) => c.ratio).sort((a, b) => b - a));
    const low = list.find((c) => c.limit === 'voltage_low')!;
    expect(low.ratio).toBeCloseTo(5.5 / 7.6, 3);
    beginRun(drive.judge, 10);
    expect(closestApproaches(drive.judge)).toEqual([]);
    drive.si.current = 4;
    drive.run(2000);
    expect(closestApproaches(drive.judge).find((c) => c.limit === 'current_mean')!.value).toBeLessThan(8.2);
  });

  test('nothing is noted while the board does not drive', () => {
    const drive = new Drive();
    drive.state = 'safe';
    drive.throttle = 0;
    drive.run(1000);
    expect(closestApproaches(drive.judge)).toEqual([]);
  });
});
