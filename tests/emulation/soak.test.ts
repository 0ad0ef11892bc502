// Goal: a soak on the emulated board holds its power for the shortest time that the protocol allows, and measures the warming that is true.
// Method: the built-in protocol with hold=60 s in lock-step virtual time: about a minute of one core, the longest test of this folder.
import { afterAll, describe, expect, test } from 'vitest';
import { between, channelOf, withRole } from '../../src/analysis/run-data';
import { runMetrics } from '../../src/analysis/metrics/run-metrics';
import { runDataOf } from '../../src/app/run-data';
import { boardImage } from './image';
import { cleanUp, playEmulated } from './world';

const image = boardImage();
const flash = 'flash' in image ? image.flash : new Uint16Array(0);
const POWER_W = 7;
const WITHIN_MS = 600_000;

afterAll(cleanUp);

describe.runIf('flash' in image)('on the emulated board', () => {
  test('soak: a minute at constant power within 1 %, and the case as warm as it truly is', async () => {
    const run = await playEmulated(flash, 'soak', [`power=${POWER_W} W`, 'hold=60 s', 'cool=1 s'], { rig: [['boot_wait: 3 s', 'boot_wait: 1.2 s']] });
    expect(run.result.outcome).toMatchObject({ outcome: 'done', stop_confirmed: true, trip: null });
    const data = runDataOf(run.record);
    const [soak] = withRole(data, 'soak');
    expect(soak.end_s - soak.start_s).toBeCloseTo(60, 1);
    const { line, sim } = run.bench.drive;
    const from_us = run.bench.origin_us + data.origin_us;
    const held = line.filter((p) => p.at_us >= from_us + (soak.end_s - 5) * 1e6 && p.at_us < from_us + soak.end_s * 1e6);
    const power_W = held.reduce((sum, p) => sum + p.current * p.voltage, 0) / held.length;
    expect(Math.abs(power_W / POWER_W - 1)).toBeLessThan(0.01);
    const motor = channelOf(data, 'motor_temperature');
    if (motor === null) throw new Error('no motor temperature');
    const warm = [...between(motor, soak.end_s - 1, soak.end_s).value];
    const start = [...between(motor, soak.start_s, soak.start_s + 1).value];
    const mean = (v: readonly number[]): number => v.reduce((a, b) => a + b, 0) / v.length;
    expect(Math.abs(mean(warm) - sim.truth.case_degC)).toBeLessThan(0.5);
    expect(mean(warm) - mean(start)).toBeGreaterThan(0.5);
    const rise = runMetrics(data).metrics.find((m) => m.name === 'temperature_rise_K');
    expect(Math.abs((rise?.value ?? NaN) - (mean(warm) - mean(start)))).toBeLessThan(0.6);
  }, WITHIN_MS);
});
