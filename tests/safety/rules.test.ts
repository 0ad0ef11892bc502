// Goal: every rule trips on the fault that it is there for, and on nothing less.
// Method: a steady drive in virtual time, one reading bent at a time, both sides of each boundary walked.
import { describe, expect, test } from 'vitest';
import { closestApproaches } from '../../src/safety/closest';
import { advance, beginRun, brokenNow } from '../../src/safety/judge';
import { Drive, FACTS, LIMITS, thrustAt } from './build';

const steady = (drive = new Drive()) => {
  expect(drive.run(1500)).toEqual([]);
  return drive;
};

test('a steady drive trips nothing for a minute less a moment', () => {
  const drive = new Drive();
  expect(drive.run(59_900)).toEqual([]);
  expect(drive.judge.latch.first).toBeNull();
});

describe('levels', () => {
  // Most of the window: three quarters of its samples. A limit of 5 ms at 1 kHz is a window of 5, so the 4th bad sample.
  const levels = [
    ['current', 40.02, 39.9, 'CURRENT_PEAK', 4],
    ['voltage', 9.01, 8.99, 'VOLTAGE_HIGH', 2],
    ['voltage', 5.49, 5.51, 'VOLTAGE_LOW', 15],
    ['speed', 38_500, 37_800, 'OVERSPEED', 15],
  ] as const;
  test.each(levels)('%s at %f trips, at %f does not: %s', (kind, bad, good, code, samples) => {
    const calm = { current_mean: { above_A: 100, over_s: 0.5 }, supply_sag: null, mismatch: null } as const;
    const fine = steady(Drive.with(calm));
    fine.si[kind] = good;
    expect(fine.run(400)).toEqual([]);
    const drive = steady(Drive.with(calm));
    drive.si[kind] = bad;
    expect(drive.untilTrip(400)).toEqual({ codes: [code], after_ms: samples });
    expect(drive.judge.latch.first).toMatchObject({ by: 'station', ordinal: 1, tick_us: drive.tick_us });
  });

  test('temperatures and thrust trip at their own sample rate', () => {
    for (const [kind, bad, code, atMost] of [['motor_temperature', 91, 'MOTOR_TEMPERATURE', 400], ['esc_temperature', 96, 'ESC_TEMPERATURE', 400], ['thrust', 2.5, 'THRUST', 50]] as const) {
      const drive = steady(Drive.with({ trend: null, mismatch: null }));
      drive.si[kind] = bad;
      const { codes, after_ms } = drive.untilTrip(1000);
      expect(codes).toEqual([code]);
      expect(after_ms).toBeLessThanOrEqual(atMost);
      const fine = steady(Drive.with({ trend: null, mismatch: null }));
      fine.si[kind] = kind === 'thrust' ? 2.4 : bad - 2;
      expect(fine.run(1000)).toEqual([]);
    }
  });

  test('alternating good and bad samples do not keep a window from filling', () => {
    const drive = steady(Drive.with({ current_mean: { above_A: 100, over_s: 0.5 } }));
    expect(drive.untilTrip(50, (ms) => (drive.si.current = Math.round(ms) % 3 === 2 ? 4 : 41)).codes).toEqual(['CURRENT_PEAK']);
  });

  test('a single spike is neither a trip nor a close approach', () => {
    const drive = steady(Drive.with({ current_mean: { above_A: 100, over_s: 0.5 } }));
    drive.run(300, (ms) => (drive.si.current = Math.round(ms) === 100 ? 55 : 4));
    const peak = closestApproaches(drive.judge).find((c) => c.limit === 'current_peak')!;
    expect(peak.value).toBeLessThan(4.1);
    expect(drive.judge.latch.first).toBeNull();
  });

  test('the trip says value, limit and time', () => {
    const drive = steady();
    drive.si.current = 45;
    expect(drive.run(20)[0].detail).toMatch(/^Current 45(\.\d+)? A, above 40 A for 4 ms of the last 5 ms\.$/);
  });
});

describe('mean current', () => {
  test('lets a short peak pass and stops what lasts: charge over the span decides', () => {
    const drive = steady();
    // 20 A over 156 ms and 4 A before: mean 9 A after (9 − 4) / (20 − 4) of 500 ms
    drive.si.current = 20;
    const { codes, after_ms } = drive.untilTrip(500);
    expect(codes).toEqual(['CURRENT_MEAN']);
    expect(after_ms).toBeGreaterThanOrEqual(155);
    expect(after_ms).toBeLessThanOrEqual(158);
  });

  test('a current at the limit is allowed, just above is not', () => {
    const fine = Drive.with({ supply_sag: null });
    fine.si.current = 8.98;
    expect(fine.run(3000)).toEqual([]);
    const drive = new Drive();
    drive.si.current = 9.02;
    expect(drive.untilTrip(3000).codes).toEqual(['CURRENT_MEAN']);
  });

  test('counts what was not measured before as zero: a fresh start cannot trip at once', () => {
    const drive = new Drive();
    drive.si.current = 12;
    const { codes, after_ms } = drive.untilTrip(1000);
    expect(codes).toEqual(['CURRENT_MEAN']);
    expect(after_ms).toBeGreaterThan(370);
  });

  test('is the same for slow rows, and when rows are lost', () => {
    const drive = Drive.with({ sensor_stale: 1000 });
    drive.row_us = 20_000;
    drive.run(1000);
    drive.si.current = 9.5;
    const { codes, after_ms } = drive.untilTrip(2000);
    expect(codes).toEqual(['CURRENT_MEAN']);
    expect(after_ms).toBeGreaterThan(440);
    expect(after_ms).toBeLessThan(500);
  });

  test('rows that come far faster than declared do not overrun the window', () => {
    const drive = new Drive();
    drive.row_us = 1000;
    const rule = drive.judge.rules.means[0] as unknown as { mean: number; step: (row: unknown) => boolean };
    drive.run(100);
    const row = { ...drive.judge.row, si: Float64Array.of(5), driving: true };
    for (let i = 1; i < 3000; i++) rule.step({ ...row, tick_us: drive.tick_us + i * 10 });
    expect(rule.mean).toBeLessThan(5);
    expect(rule.mean).toBeGreaterThan(0);
  });
});

describe('sensors', () => {
  test.each(FACTS.map((f) => [f.kind, f.period_us / 1000] as const))('a silent %s sensor is stale after five periods of %f ms, not before', (kind, period) => {
    const drive = steady(Drive.with({ stall: null, desync: null, sensor_frozen_s: null }));
    drive.silent.add(kind);
    const { codes, after_ms } = drive.untilTrip(2000);
    expect(codes).toEqual(['SENSOR_STALE']);
    expect(drive.judge.latch.first!.channel).toBe(FACTS.find((f) => f.kind === kind)!.column);
    expect(after_ms).toBeGreaterThan(4 * period);
    expect(after_ms).toBeLessThanOrEqual(5 * period + 2);
    const brief = steady(Drive.with({ stall: null, desync: null }));
    brief.silent.add(kind);
    expect(brief.run(3 * period)).toEqual([]);
    brief.silent.clear();
    expect(brief.run(1000)).toEqual([]);
  });

  test('ages are device time: rows at 10 Hz with a fresh sample in each are not stale', () => {
    const drive = new Drive();
    drive.state = 'safe';
    drive.throttle = 0;
    drive.row_us = 100_000;
    drive.run(5000);
    expect(brokenNow(drive.judge)).toEqual([]);
  });

  test('three impossible samples of ten trip, two do not; a standing motor is not impossible', () => {
    const two = steady();
    two.run(100, (ms) => (Math.round(ms) % 50 < 2 ? two.impossible.add('current') : two.impossible.delete('current')));
    expect(two.judge.latch.first).toBeNull();
    const drive = steady();
    drive.impossible.add('current');
    expect(drive.untilTrip(100)).toEqual({ codes: ['SENSOR_IMPOSSIBLE'], after_ms: 3 });
    const still = steady(Drive.with({ stall: null, desync: null }));
    still.si.speed = 0;
    still.si.thrust = 0;
    expect(still.run(100)).toEqual([]);
  });

  test('a reading that the sensor cannot show is impossible, whatever the board says', () => {
    const drive = steady();
    drive.si.current = 61;
    expect(drive.untilTrip(100).codes).toEqual(['SENSOR_IMPOSSIBLE']);
    const low = steady();
    low.si.current = -21;
    expect(low.untilTrip(100).codes).toEqual(['SENSOR_IMPOSSIBLE']);
  });

  test('a conversion that gives no number is impossible, not an exception', () => {
    const facts = FACTS.map((f) => (f.kind === 'current' ? { ...f, conversion: { law: 'linear', zero: 0, c0: NaN, c1: 1, c2: 0 } as const } : f));
    const drive = Drive.with({}, { facts });
    drive.si.current = 0;
    expect(drive.untilTrip(100).codes).toEqual(['SENSOR_IMPOSSIBLE']);
  });

  test.each(['current', 'thrust'] as const)('a %s reading that does not change by a count is frozen after 200 ms', (kind) => {
    const drive = steady(Drive.with({ mismatch: null }));
    drive.stuck.add(kind);
    const { codes, after_ms } = drive.untilTrip(1000);
    expect(codes).toEqual(['SENSOR_FROZEN']);
    expect(after_ms).toBeGreaterThanOrEqual(185);
    expect(after_ms).toBeLessThanOrEqual(215);
    const brief = steady();
    brief.stuck.add(kind);
    expect(brief.run(150)).toEqual([]);
    brief.stuck.clear();
    expect(brief.run(500)).toEqual([]);
  });

  test('a speed reading may stand still in a steady state, but not while the throttle moves', () => {
    const drive = steady();
    drive.stuck.add('speed');
    expect(drive.run(1000)).toEqual([]);
    expect(drive.untilTrip(1000, (ms) => (drive.throttle = 0.5 + ms / 5000)).codes).toEqual(['SENSOR_FROZEN']);
  });

  test('nothing is frozen while the motor is not powered', () => {
    const drive = steady();
    drive.throttle = 0;
    drive.si.current = 0;
    drive.stuck.add('current').add('thrust');
    expect(drive.run(1000)).toEqual([]);
  });
});

describe('rotation', () => {
  test('current without rotation from the start is a stall after its time, with less current it is not', () => {
    const drive = Drive.with({ mismatch: null, supply_sag: null });
    drive.si.speed = 0;
    drive.si.thrust = 0;
    drive.si.current = 3.1;
    const { codes, after_ms } = drive.untilTrip(1000);
    expect(codes).toEqual(['STALL']);
    expect(after_ms).toBe(301);
    const fine = Drive.with({ mismatch: null });
    fine.si.speed = 0;
    fine.si.thrust = 0;
    fine.si.current = 2.9;
    expect(fine.run(1000)).toEqual([]);
  });

  test('rotation that is lost and does not come back trips after the sustained time', () => {
    const drive = steady();
    drive.si.speed = 0;
    drive.si.current = 2;
    const { codes, after_ms } = drive.untilTrip(1000);
    expect(codes).toEqual(['DESYNC_SUSTAINED']);
    expect(after_ms).toBe(200);
  });

  test.each([[3, 0], [6, 1], [100, 1], [190, 1]])('a loss of %i ms is counted %i times and does not trip', (lost, counted) => {
    const drive = steady(Drive.with({ mismatch: null }));
    drive.run(1000, (ms) => (drive.si.speed = ms < lost ? 0 : 24_000));
    expect(drive.judge.latch.first).toBeNull();
    expect(drive.desyncs).toHaveLength(counted);
    if (counted > 0) expect(drive.desyncs[0]).toMatchObject({ duration_us: (lost + 1) * 1000, ordinal: 1 });
  });

  test('one desync more than the count trips; a new run starts the count afresh', () => {
    const drive = steady(Drive.with({ mismatch: null }));
    const wobble = (ms: number) => (drive.si.speed = ms % 100 < 20 ? 0 : 24_000);
    expect(drive.run(300, wobble)).toEqual([]);
    expect(drive.desyncs).toHaveLength(3);
    beginRun(drive.judge, 60);
    expect(drive.run(300, wobble)).toEqual([]);
    expect(drive.untilTrip(300, wobble).codes).toEqual(['DESYNC_COUNT']);
  });

  test('a motor that stops turning below idle throttle, or at zero, has lost nothing', () => {
    const drive = steady(Drive.with({ mismatch: null, stall: null }));
    drive.throttle = 0.04;
    drive.si.speed = 0;
    expect(drive.run(1000)).toEqual([]);
    drive.throttle = 0;
    expect(drive.run(500)).toEqual([]);
    drive.throttle = 0.5;
    expect(drive.run(150)).toEqual([]);
    drive.si.speed = 24_000;
    expect(drive.run(500)).toEqual([]);
    expect(drive.desyncs).toEqual([]);
  });

  test('a rig without a speed channel or without these limits has no such rules', () => {
    const facts = FACTS.filter((f) => f.kind !== 'speed').map((f, id) => ({ ...f, id }));
    expect(Drive.with({}, { facts }).run(2000)).toEqual([]);
    const drive = Drive.with({ stall: null, desync: null, mismatch: null });
    drive.si.speed = 0;
    drive.si.thrust = 0;
    expect(drive.run(2000)).toEqual([]);
  });
});

describe('temperature trend', () => {
  test.each(['motor_temperature', 'esc_temperature'] as const)('%s rising faster than 20 K/s over a second trips, slower does not', (kind) => {
    const drive = steady();
    const { codes, after_ms } = drive.untilTrip(2500, (ms) => (drive.si[kind] = 40 + 0.022 * ms));
    expect(codes).toEqual(['TREND']);
    expect(after_ms).toBeLessThan(1300);
    const fine = steady();
    expect(fine.run(2200, (ms) => (fine.si[kind] = 40 + 0.0195 * ms))).toEqual([]);
  });

  test('a single outlier of the sensor is no trend', () => {
    const drive = steady();
    const outlier = (ms: number) => (drive.si.motor_temperature = ms >= 500 && ms < 600 ? 75 : 40);
    expect(drive.run(3000, outlier)).toEqual([]);
  });

  test('only the temperatures that have a limit and a channel are watched', () => {
    const drive = steady(Drive.with({ trend: { motor_K_per_s: null, esc_K_per_s: 20, over_s: 1 } }));
    expect(drive.run(1500, (ms) => (drive.si.motor_temperature = 40 + 0.03 * ms))).toEqual([]);
    const facts = FACTS.filter((f) => f.kind !== 'motor_temperature').map((f, id) => ({ ...f, id }));
    expect(Drive.with({}, { facts }).run(2000)).toEqual([]);
  });
});

describe('thrust against speed', () => {
  test.each([[0.55, 'trips'], [0.65, 'passes'], [1.35, 'passes'], [1.45, 'trips']])('a load cell that shows %f of the thrust %s', (share, what) => {
    const drive = steady();
    drive.si.thrust = share;
    const { codes, after_ms } = drive.untilTrip(400);
    const later = codes.length > 0 ? codes : drive.untilTrip(400).codes;
    expect(later).toEqual(what === 'trips' ? ['MISMATCH'] : []);
    if (what === 'trips') expect(after_ms).toBeGreaterThan(300);
  });

  test('follows honest slow change: 20 % less thrust coefficient over ten seconds, twice', () => {
    const drive = steady();
    expect(drive.run(20_000, (ms) => (drive.si.thrust = 1 - 0.02e-3 * ms))).toEqual([]);
  });

  test('steps of throttle with a lagging load cell are no mismatch', () => {
    const drive = steady();
    let lagged = 1;
    const step = (ms: number) => {
      drive.si.speed = ms % 1000 < 500 ? 24_000 : 8_000;
      lagged += (thrustAt(drive.si.speed) - lagged) / 20;
      drive.si.thrust = lagged;
      drive.si.current = 4 * (drive.si.speed / 24_000) ** 3;
    };
    expect(drive.run(8000, step)).toEqual([]);
  });

  test.each([[2000, 'is tared at rest and judges nothing wrong'], [500, 'without a rest before, it misleads']])('a load cell whose zero drifted by 0.12 N: rest of %i ms, %s', (rest_ms) => {
    const drive = new Drive();
    const at = (rpm: number, throttle: number, ms: number): string[] => {
      drive.throttle = throttle;
      drive.si.speed = rpm;
      drive.si.thrust = thrustAt(rpm) + 0.12;
      drive.si.current = 4 * (rpm / 24_000) ** 3;
      return drive.run(ms).map((trip) => trip.code);
    };
    const codes = [...at(0, 0, rest_ms), ...at(8400, 0.2, 2000), ...at(24_000, 0.5, 1000)];
    expect(codes).toEqual(rest_ms === 2000 ? [] : ['MISMATCH']);
  });

  test('a zero far off is no drift: it is not tared away', () => {
    const drive = new Drive();
    drive.throttle = 0;
    drive.si.speed = 0;
    drive.si.thrust = -1;
    drive.run(3000);
    drive.throttle = 0.5;
    drive.si.speed = 24_000;
    drive.si.thrust = 0;
    drive.si.current = 0.8;
    expect(drive.untilTrip(1000).codes).toEqual(['PROPELLER_LOST']);
  });

  test('a propeller that comes off: speed stays or rises, thrust and power go', () => {
    const drive = steady();
    drive.si.speed = 30_000;
    drive.si.thrust = 0;
    drive.si.current = 0.8;
    const { codes, after_ms } = drive.untilTrip(500);
    expect(codes).toEqual(['PROPELLER_LOST']);
    expect(after_ms).toBeLessThanOrEqual(110);
    expect(drive.judge.latch.first!.detail).toMatch(/at (29|30)\d{3} rpm and 0\.8\d* A; expected 1\.\d+ N by this run so far/);
  });

  test('thrust that goes while the power stays is the reading, not the propeller', () => {
    const drive = steady();
    drive.si.thrust = 0;
    expect(drive.untilTrip(600).codes).toEqual(['MISMATCH']);
  });

  test('a mounted propeller that was never there is found from what any propeller of its size gives', () => {
    const drive = new Drive();
    drive.si.thrust = 0;
    drive.si.current = 0.8;
    expect(drive.untilTrip(1000).codes).toEqual(['PROPELLER_LOST']);
    expect(drive.judge.latch.first!.detail).toContain('from any propeller of 76.2 mm');
  });

  test('is not judged without a propeller, at a crawl, or when speed is not known', () => {
    const bare = Drive.with({}, { propeller_m: null });
    bare.si.thrust = 0;
    expect(bare.run(2000)).toEqual([]);
    const slow = new Drive();
    slow.si.speed = 1600;
    slow.si.thrust = 0;
    expect(slow.run(2000)).toEqual([]);
    const blind = steady(Drive.with({ stall: null, desync: null }));
    blind.si.speed = 0;
    blind.si.thrust = 0;
    expect(blind.run(2000)).toEqual([]);
    const noThrust = FACTS.filter((f) => f.kind !== 'thrust');
    expect(Drive.with({}, { facts: noThrust.map((f, id) => ({ ...f, id })) }).run(1000)).toEqual([]);
  });

  test('without a mismatch limit a lost propeller still trips', () => {
    const drive = steady(Drive.with({ mismatch: null, thrust: null }));
    drive.si.speed = 30_000;
    drive.si.thrust = 0;
    drive.si.current = 0.8;
    expect(drive.untilTrip(500).codes).toEqual(['PROPELLER_LOST']);
    const fine = steady(Drive.with({ mismatch: null }));
    fine.si.thrust = 0.5;
    expect(fine.run(2000)).toEqual([]);
  });

  test('what one run taught about the propeller does not judge the next', () => {
    const drive = steady();
    drive.throttle = 0;
    drive.run(100);
    beginRun(drive.judge, 60);
    drive.throttle = 0.5;
    drive.si.thrust = 0.5;
    expect(drive.run(2000)).toEqual([]);
  });

  test('nothing is learnt from a thrust below what any propeller gives', () => {
    const drive = Drive.with({}, { propeller_m: 0.2 });
    drive.si.speed = 8000;
    drive.si.thrust = 0.12;
    expect(drive.untilTrip(1000).codes).toEqual(['PROPELLER_LOST']);
  });
});

describe('supply', () => {
  test('a bus below its share of the set voltage sags, just above it does not', () => {
    const drive = steady(Drive.with({ voltage_low: null }));
    drive.si.voltage = 6.07;
    expect(drive.untilTrip(200)).toEqual({ codes: ['SUPPLY_SAG'], after_ms: 38 });
    const fine = steady();
    fine.si.voltage = 6.09;
    expect(fine.run(500)).toEqual([]);
  });

  test('full current at a voltage that gave way is a supply at its limit', () => {
    const calm = { current_mean: { above_A: 100, over_s: 0.5 }, mismatch: null } as const;
    const drive = steady(Drive.with(calm));
    drive.si.current = 14.8;
    drive.si.voltage = 7.1;
    expect(drive.untilTrip(200)).toEqual({ codes: ['SUPPLY_LIMITING'], after_ms: 38 });
    const stiff = steady(Drive.with(calm));
    stiff.si.current = 14.8;
    expect(stiff.run(200)).toEqual([]);
    const unknown = steady(Drive.with({ ...calm, supply_sag: null }, { supplyLimit_A: null }));
    unknown.si.current = 14.8;
    unknown.si.voltage = 7.1;
    expect(unknown.run(200)).toEqual([]);
    const noSag = steady(Drive.with({ ...calm, supply_sag: null }));
    noSag.si.current = 14.8;
    noSag.si.voltage = 7.1;
    expect(noSag.untilTrip(200).codes).toEqual(['SUPPLY_LIMITING']);
  });
});

describe('time', () => {
  test('a segment may play to its bound and 50 ms on, no longer', () => {
    const fine = new Drive();
    fine.judge.rules.bounds.set(1, 1e6);
    expect(fine.run(1049)).toEqual([]);
    const drive = new Drive();
    drive.judge.rules.bounds.set(1, 1e6).set(2, 0.2e6);
    drive.run(500);
    drive.ordinal = 2;
    expect(drive.untilTrip(1000)).toEqual({ codes: ['SEGMENT_TIMEOUT'], after_ms: 252 });
    expect(drive.judge.latch.first).toMatchObject({ ordinal: 2, limit: 0.2, unit: 's' });
  });

  test('the protocol may take its bound, the run the longest that the rig allows', () => {
    const drive = Drive.with({ longest_run_s: 3 });
    beginRun(drive.judge, 2);
    expect(drive.untilTrip(5000)).toEqual({ codes: ['PROTOCOL_TIMEOUT'], after_ms: 2002 });
    const longer = Drive.with({ longest_run_s: 3 });
    beginRun(longer.judge, 20);
    expect(longer.untilTrip(5000)).toEqual({ codes: ['LONGEST_RUN'], after_ms: 3002 });
    const rested = Drive.with({ longest_run_s: 3 });
    beginRun(rested.judge, 20);
    rested.run(2500);
    rested.state = 'safe';
    rested.run(100);
    rested.state = 'driving';
    expect(rested.run(2900)).toEqual([]);
  });

  test('a gap of more than 100 ms of device time between armed rows is a lost link', () => {
    const drive = steady(Drive.with({ sensor_stale: 1000 }));
    drive.tick_us += 99_000;
    expect(drive.run(10)).toEqual([]);
    drive.tick_us += 99_001;
    expect(drive.row().map((t) => t.code)).toContain('LINK_LOST');
    const resting = new Drive();
    resting.state = 'safe';
    resting.run(100);
    resting.tick_us += 1_000_000;
    resting.state = 'ready';
    expect(resting.run(10)).toEqual([]);
  });

  test('a row that is not later than the one before trips, and is otherwise left out', () => {
    for (const back of [1000, 0]) {
      const drive = steady();
      const before = drive.tick_us;
      drive.tick_us -= 1000 + back;
      drive.si.current = 50;
      expect(drive.row().map((t) => t.code)).toEqual(['OUT_OF_ORDER']);
      expect(drive.judge.row.tick_us).toBe(before);
      expect(drive.judge.row.si[0]).toBeLessThan(5);
    }
    const drive = steady();
    const block = { ...drive.block(), tick_us: Float64Array.of(NaN) };
    expect(advance(drive.judge, block, 0)!.map((t) => t.code)).toEqual(['OUT_OF_ORDER']);
  });
});

test('limits that a rig file leaves out make no rules', () => {
  const none = Drive.with({ voltage_low: null, motor_temperature: null, esc_temperature: null, speed: null, thrust: null, trend: null, supply_sag: null, sensor_frozen_s: null });
  none.si = { ...none.si, voltage: 3, motor_temperature: 200, speed: 60_000, thrust: thrustAt(60_000) };
  expect(none.run(1000)).toEqual([]);
  const names = closestApproaches(none.judge).map((c) => c.limit);
  expect(names.sort()).toEqual(['current_mean', 'current_peak', 'desync count', 'longest_run', 'mismatch', 'voltage_high']);
  expect(LIMITS.voltage_low).not.toBeNull();
});
