// Goal: every fault that the simulated rig can play ends in the right trip from the right layer, with the motor off and the proof on record.
// Method: whole runs in virtual time; the throttle of each tick is taken where the simulated ESC gets it, the rest from the record.
import { afterAll, describe, expect, test } from 'vitest';
import type { RigLimits } from '../../src/model/files/rig';
import type { TripCode } from '../../src/model/trip';
import { cleanUp, eventsOf, type PlayOptions } from './kit';
import { expectTrip, fault, HOLD, limit, playScene, protocolText, STEPS, type Expected } from './scenes';

afterAll(cleanUp);

interface Case extends Expected {
  readonly name: string;
  readonly text?: string;
  readonly rig: NonNullable<PlayOptions['rig']>;
  /** Longest time from the fault to the trip, s; left out where there is no moment of a fault. */
  readonly within_s?: number;
  /** Nothing can tell a standstill from a short circuit: the reading says that current flows without end. */
  readonly unconfirmed?: true;
}

const NO_TREND = limit('  trend: { motor_temperature: 20 K/s, over: 1 s }\n', '');
const NO_DESYNC = limit('  desync: { sustained: 200 ms, count: 40 }\n', '');

const CASES: readonly Case[] = [
  { name: 'current peak of a hard step', code: 'CURRENT_PEAK', by: 'controller', channel: 'current_A', text: STEPS,
    rig: [limit('{ above: 40 A, for: 5 ms }', '{ above: 6 A, for: 5 ms }'), limit('{ above: 9 A, over', '{ above: 5.5 A, over')] },
  { name: 'overspeed', code: 'OVERSPEED', by: 'controller', channel: 'speed_rpm', rig: [limit('{ above: 38000 rpm', '{ above: 15000 rpm')] },
  { name: 'too much thrust', code: 'THRUST', by: 'controller', channel: 'thrust_N', rig: [limit('{ above: 250 gf', '{ above: 30 gf')] },
  { name: 'bus voltage too low', code: 'VOLTAGE_LOW', by: 'controller', channel: 'voltage_V', text: STEPS, rig: [limit('  supply_sag:', '  voltage_low: { below: 7.5 V, for: 20 ms }\n  supply_sag:')] },
  { name: 'braking without a sink', code: 'VOLTAGE_HIGH', by: 'controller', channel: 'voltage_V', text: STEPS, rig: [fault('no-sink', '500 ms')] },
  { name: 'hot motor case', code: 'MOTOR_TEMPERATURE', by: 'controller', channel: 'motor_degC', rig: [fault('hot-motor', '1 s'), NO_TREND, limit('{ above: 90 °C', '{ above: 50 °C')], within_s: 3 },
  { name: 'motor that heats too fast', code: 'TREND', by: 'station', channel: 'motor_degC', rig: [fault('hot-motor', '1 s')], within_s: 2 },
  { name: 'hot ESC', code: 'ESC_TEMPERATURE', by: 'controller', channel: 'esc_degC', rig: [fault('hot-esc', '1 s')], within_s: 4 },
  { name: 'rotor locked while it turns', code: 'DESYNC_SUSTAINED', by: 'controller', channel: 'speed_rpm', rig: [fault('locked-rotor')], within_s: 0.25 },
  { name: 'rotor locked, without a rule about desyncs', code: 'STALL', by: 'controller', channel: 'current_A', rig: [fault('locked-rotor'), NO_DESYNC], within_s: 0.35 },
  { name: 'synchronism lost for good', code: 'DESYNC_SUSTAINED', by: 'controller', channel: 'speed_rpm', rig: [fault('lost-step-for-good')], within_s: 0.25 },
  { name: 'current sensor frozen', code: 'SENSOR_FROZEN', by: 'controller', channel: 'current_A', rig: [fault('current-frozen')], within_s: 0.3 },
  { name: 'load cell frozen', code: 'SENSOR_FROZEN', by: 'controller', channel: 'thrust_N', rig: [fault('thrust-frozen')], within_s: 0.3 },
  { name: 'current sensor silent', code: 'SENSOR_STALE', by: 'controller', channel: 'current_A', rig: [fault('current-silent')], within_s: 0.01 },
  { name: 'speed telemetry silent', code: 'SENSOR_STALE', by: 'controller', channel: 'speed_rpm', rig: [fault('speed-silent')], within_s: 0.01 },
  { name: 'current sensor at the end of its range', code: 'CURRENT_PEAK', by: 'controller', channel: 'current_A', rig: [fault('current-saturated')], within_s: 0.01, unconfirmed: true },
  { name: 'load cell at the end of its range', code: 'MISMATCH', by: 'station', channel: 'thrust_N', rig: [fault('thrust-saturated')], within_s: 0.6 },
  { name: 'thermistor open', code: 'SENSOR_IMPOSSIBLE', by: 'station', channel: 'motor_degC', rig: [fault('thermistor-open')], within_s: 0.4 },
  { name: 'propeller lost', code: 'PROPELLER_LOST', by: 'station', channel: 'thrust_N', rig: [fault('lost-propeller')], within_s: 0.15 },
  { name: 'supply that sags', code: 'SUPPLY_SAG', by: 'station', channel: 'voltage_V', text: protocolText(['ramp: { to: 80 %, in: 500 ms }', 'level: { throttle: 80 %, for: 4 s }']),
    rig: [fault('supply-sag'), limit('sink: { kind: battery, holds: 8.6 V }', 'sink: { kind: clamp, holds: 8.6 V }')], within_s: 0.4 },
];

describe('a fault trips', () => {
  test.each(CASES)('$name: $code, found by the $by', async ({ text, rig, within_s, unconfirmed, name: _name, ...expected }) => {
    const played = await playScene(text ?? HOLD, { rig });
    const at_us = expectTrip(played, expected);
    expect(played.result.outcome.outcome).toBe(unconfirmed ? 'stop-unconfirmed' : 'tripped');
    const link = played.ready.rig.link;
    const fault_us = link.kind === 'twin' && link.faults.length > 0 ? played.began_us + link.faults[0].at_s * 1e6 : null;
    if (within_s !== undefined && fault_us !== null) {
      expect(at_us).toBeGreaterThan(fault_us);
      expect(at_us - fault_us).toBeLessThanOrEqual(within_s * 1e6);
    }
  });

  test('a wrong reading after the stop cannot pass for a standstill: stop-unconfirmed', async () => {
    const played = await playScene(HOLD, {
      react: (event, ask, world) => {
        if (event.type === 'segment-started' && event.ordinal === 2) ask('stop-now');
        if (event.type === 'state' && event.state === 'safe') world.simulated.inject({ kind: 'saturate-channel', channel: 'current', at: 'high' });
      },
    });
    const { outcome } = played.result;
    expect(outcome).toMatchObject({ outcome: 'stop-unconfirmed', stop_confirmed: false, trip: null });
    expect(outcome.detail).toContain('Cut the power');
    expect(eventsOf(played.record, 'stopped')).toMatchObject([{ confirmed: false, took_us: expect.closeTo(6e6, -5) as number }]);
  });
});

/** A rule of both layers, broken by itself or by a fault. */
interface Shared {
  readonly name: string;
  readonly text?: string;
  readonly code: TripCode;
  readonly strict: (l: RigLimits) => RigLimits;
  readonly lax: (l: RigLimits) => RigLimits;
  readonly fault?: string;
}

const same = (l: RigLimits): RigLimits => l;
const SHARED: readonly Shared[] = [
  { name: 'current peak', code: 'CURRENT_PEAK', text: STEPS, strict: (l) => ({ ...l, current_peak: { above_A: 6, for_s: 0.005 } }), lax: same },
  { name: 'mean current', code: 'CURRENT_MEAN', strict: (l) => ({ ...l, current_mean: { above_A: 0.8, over_s: 0.5 } }), lax: same },
  { name: 'bus voltage', code: 'VOLTAGE_HIGH', text: STEPS, fault: 'no-sink', strict: same, lax: (l) => ({ ...l, voltage_high: { above_V: 19, for_s: 0.003 } }) },
  { name: 'motor temperature', code: 'MOTOR_TEMPERATURE', fault: 'hot-motor', strict: (l) => ({ ...l, trend: null, motor_temperature: { above_degC: 50, for_s: 0.5 } }), lax: (l) => ({ ...l, trend: null }) },
  { name: 'ESC temperature', code: 'ESC_TEMPERATURE', fault: 'hot-esc', strict: same, lax: (l) => ({ ...l, esc_temperature: null }) },
  { name: 'speed', code: 'OVERSPEED', strict: (l) => ({ ...l, speed: { above_rpm: 15_000, for_s: 0.02 } }), lax: same },
  { name: 'thrust', code: 'THRUST', strict: (l) => ({ ...l, thrust: { above_N: 0.3, for_s: 0.1 } }), lax: same },
  { name: 'stale sensor', code: 'SENSOR_STALE', fault: 'speed-silent', strict: same, lax: (l) => ({ ...l, sensor_stale: 200 }) },
  { name: 'frozen sensor', code: 'SENSOR_FROZEN', fault: 'thrust-frozen', strict: same, lax: (l) => ({ ...l, sensor_frozen_s: null }) },
  { name: 'stall', code: 'STALL', fault: 'locked-rotor', strict: (l) => ({ ...l, desync: null }), lax: (l) => ({ ...l, desync: null, stall: null }) },
  { name: 'sustained desync', code: 'DESYNC_SUSTAINED', fault: 'lost-step-for-good', strict: same, lax: (l) => ({ ...l, desync: null }) },
];

describe('each layer stops the motor by itself', () => {
  test.each(SHARED)('$name: the controller, while the station would wait', async ({ text, code, strict, lax, fault: f }) => {
    const played = await playScene(text ?? HOLD, {
      rig: f === undefined ? [] : [fault(f, '1 s')], layers: ({ rig: { limits } }) => ({ board: strict(limits), station: lax(limits) }),
    });
    expectTrip(played, { code, by: 'controller' });
  });

  test.each(SHARED)('$name: the station, while the controller would wait', async ({ text, code, strict, lax, fault: f }) => {
    const played = await playScene(text ?? HOLD, {
      rig: f === undefined ? [] : [fault(f, '1 s')], layers: ({ rig: { limits } }) => ({ board: lax(limits), station: strict(limits) }),
    });
    expectTrip(played, { code, by: 'station' });
  });
});

describe('a fault that is a result', () => {
  test('synchronism lost for 100 ms is counted and told, and the run goes on to its end', async () => {
    const played = await playScene(HOLD, { rig: [fault('lost-step')] });
    expect(played.result.outcome).toMatchObject({ outcome: 'done', trip: null, desyncs: 1 });
    const [desync] = eventsOf(played.record, 'desync');
    expect(desync.duration_us).toBeGreaterThan(50_000);
    expect(desync.duration_us).toBeLessThan(200_000);
  });

  test('the same run without a fault has none of it', async () => {
    const played = await playScene(HOLD);
    expect(played.result.outcome).toMatchObject({ outcome: 'done', trip: null, also: [], desyncs: 0 });
  });
});
