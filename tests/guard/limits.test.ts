// Goal: every limit that a rig file can state stops the motor through the guard, with numbers, within one exchange with the board.
// Method: the guard itself in virtual time; the board is given limits that never trip, so that it is the guard's judge that stops.
// The list of limits is the program's own: a limit without a case here fails the first test.
import { describe, expect, test } from 'vitest';
import { FrameDecoder } from '../../src/link/codec';
import type { Rig, RigLimits } from '../../src/model/files/rig';
import { limitList } from '../../src/model/limits';
import type { TripCode } from '../../src/model/trip';
import { CMD_TRIP, STATE_TRIPPED } from '../../src/wire/messages';
import { RIG, type Plant } from '../station/bench';
import { GuardBench, type Options } from './bench';

const show = (change: (shown: Plant['truth']) => void) => (bench: GuardBench): void => { bench.plant.bend = change; };
const rising = (key: 'motor_temperature' | 'esc_temperature') => (bench: GuardBench): void => {
  let t = 30;
  bench.plant.bend = (s) => { s[key] = t += 0.025; };
};

/** The test rig with a temperature of the ESC. */
const motor = RIG.channels.find((c) => c.kind === 'motor_temperature')!;
const WITH_ESC: Partial<Rig> = { channels: [...RIG.channels, { ...motor, kind: 'esc_temperature' }] };
const ESC_LIMITS: Partial<RigLimits> = { esc_temperature: { above_degC: 90, for_s: 0.5 }, trend: { motor_K_per_s: 20, esc_K_per_s: 20, over_s: 1 } };

/** A board that waits for what never comes. */
const PATIENT: RigLimits = {
  ...RIG.limits, current_peak: { above_A: 300, for_s: 0.005 }, current_mean: { above_A: 300, over_s: 0.5 }, voltage_high: { above_V: 60, for_s: 0.002 },
  voltage_low: null, motor_temperature: null, esc_temperature: null, speed: null, thrust: null, stall: null, desync: null, sensor_frozen_s: null, sensor_stale: 256,
};

interface Case {
  readonly code: TripCode;
  readonly fault: (bench: GuardBench) => void;
  /** Where another limit would be first. */
  readonly limits?: Partial<RigLimits>;
}

/** By the key of the limit and its channel, where several channels have one. */
const CASES: Readonly<Record<string, Case>> = {
  'limits.current_peak': { code: 'CURRENT_PEAK', fault: show((s) => { s.current = 42; }) },
  'limits.current_mean': { code: 'CURRENT_MEAN', fault: show((s) => { s.current = 11; }) },
  'limits.voltage_low': { code: 'VOLTAGE_LOW', fault: show((s) => { s.voltage = 5; }), limits: { supply_sag: null } },
  'limits.voltage_high': { code: 'VOLTAGE_HIGH', fault: show((s) => { s.voltage = 10; }) },
  'limits.motor_temperature': { code: 'MOTOR_TEMPERATURE', fault: show((s) => { s.motor_temperature = 95; }), limits: { trend: null } },
  'limits.esc_temperature': { code: 'ESC_TEMPERATURE', fault: show((s) => { s.esc_temperature = 95; }), limits: { trend: null } },
  'limits.speed': { code: 'OVERSPEED', fault: show((s) => { s.speed = 39_000; }) },
  'limits.thrust': { code: 'THRUST', fault: show((s) => { s.thrust = 2.6; }) },
  'limits.stall': { code: 'STALL', fault: show((s) => { s.speed = 0; s.current = 8; }), limits: { desync: null } },
  'limits.desync': { code: 'DESYNC_SUSTAINED', fault: show((s) => { s.speed = 0; s.current = 1; s.thrust = 0.4; }) },
  'limits.sensor_stale': { code: 'SENSOR_STALE', fault: (b) => { b.plant.silent.add('current'); } },
  'limits.sensor_frozen': { code: 'SENSOR_FROZEN', fault: (b) => { b.plant.frozen.add('current'); } },
  'limits.longest_run': { code: 'LONGEST_RUN', fault: () => undefined, limits: { longest_run_s: 2 } },
  'limits.supply_sag': { code: 'SUPPLY_SAG', fault: show((s) => { s.voltage = 6; }) },
  'limits.trend.motor_temperature': { code: 'TREND', fault: rising('motor_temperature') },
  'limits.trend.esc_temperature': { code: 'TREND', fault: rising('esc_temperature') },
  'limits.mismatch': { code: 'MISMATCH', fault: show((s) => { s.thrust *= 0.4; }) },
};

/** What else the same keys of the rig file make the guard trip on. */
const ALSO: Readonly<Record<string, Case>> = {
  'desync count': { code: 'DESYNC_COUNT', fault: (b) => { let n = 0; b.plant.bend = (s) => { if (n++ % 200 < 50) s.speed = 0; }; } },
  'an impossible reading': { code: 'SENSOR_IMPOSSIBLE', fault: (b) => { b.plant.impossible.add('voltage'); } },
  'a stale thrust': { code: 'SENSOR_STALE', fault: (b) => { b.plant.silent.add('thrust'); } },
  'a frozen thrust': { code: 'SENSOR_FROZEN', fault: (b) => { b.plant.frozen.add('thrust'); } },
  'a lost propeller': { code: 'PROPELLER_LOST', fault: show((s) => { s.thrust = 0; s.current = 0.4; }) },
  'a supply at its current limit': { code: 'SUPPLY_LIMITING', fault: show((s) => { s.voltage = 7; s.current = 14.9; }), limits: { current_mean: { above_A: 30, over_s: 0.5 } } },
};

/** Runs at 50 % for a second, into the fault, and on. */
async function into({ fault, limits }: Case, more: Options = {}): Promise<GuardBench> {
  const bench = await new GuardBench({ rig: WITH_ESC, limits: { ...ESC_LIMITS, ...limits }, setup: { boardLimits: PATIENT }, ...more }).start();
  await bench.run(1);
  expect(bench.trips).toEqual([]);
  fault(bench);
  await bench.run(3);
  return bench;
}

test('every limit of the rig file has a case here', () => {
  const rig: Rig = { ...RIG, ...WITH_ESC, limits: { ...RIG.limits, ...ESC_LIMITS } };
  const keys = new Set(limitList(rig).map((l) => l.key));
  // The deadman is the board's, and tried in guard.test.ts.
  expect([...keys].filter((key) => key !== 'limits.host_silence' && !(key in CASES))).toEqual([]);
  // And the rig of these tests states every limit that there is.
  expect(Object.entries(rig.limits).filter(([, value]) => value === null)).toEqual([]);
});

describe.each([...Object.entries(CASES), ...Object.entries(ALSO)])('%s', (_, c) => {
  test(`${c.code}: the guard alone stops the motor`, async () => {
    const bench = await into(c);
    const [first] = bench.trips;
    expect(first).toMatchObject({ code: c.code, by: 'station', ordinal: 1 });
    expect(typeof first.value === 'number' && Number.isFinite(first.value) && typeof first.limit === 'number').toBe(true);
    expect(bench.trips.filter((t) => t.code === c.code && t.channel === first.channel)).toHaveLength(1);
    const sent: number[] = [];
    const decoder = new FrameDecoder((payload) => sent.push(payload[0]));
    for (const bytes of bench.ports[0].all) decoder.push(bytes);
    expect(sent).toContain(CMD_TRIP);
    // Within the slice that carries it to the board.
    expect(bench.lastDriven_us - first.tick_us).toBeLessThanOrEqual(5000);
    expect(bench.core.getState()).toBe(STATE_TRIPPED);
    expect(bench.state?.permit.granted).toBe(false);
  });
});
