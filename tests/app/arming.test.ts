// Goal: a bench that is not fit to start does not start: nothing turns, the outcome says why, the record keeps it.
// Method: the condition is made on the simulated rig before the run; whole runs in virtual time.
import { afterAll, expect, test } from 'vitest';
import { cleanUp, openBench, playOn, type PlayOptions, type Played } from './kit';
import { expectNothingTurned, HOLD, limit } from './scenes';
import type { TwinWorld } from '../../src/app/twin-world';

afterAll(cleanUp);

async function playAfter(prepare: (world: TwinWorld) => void, options: PlayOptions = {}): Promise<Played> {
  const bench = await openBench('protocols/scene.yaml', { ...options, files: { 'protocols/scene.yaml': HOLD } });
  prepare(bench.world);
  await bench.world.playUntil(() => false, 3);
  return await playOn(bench);
}

function expectRefused(played: Played, reason: RegExp): void {
  expect(played.result.outcome).toMatchObject({ outcome: 'refused', trip: null, segments_played: 0 });
  expect(played.result.outcome.detail).toMatch(reason);
  expect(played.record.outcome).toEqual(played.result.outcome);
  expect(played.record.end.status).toBe('complete');
  expectNothingTurned(played);
}

test('a motor warmer than arm_when allows is not started; it is once it has cooled down', async () => {
  const bench = await openBench('protocols/scene.yaml', { files: { 'protocols/scene.yaml': HOLD } });
  bench.world.simulated.inject({ kind: 'heat-node', node: 'case', temperature_degC: 90 });
  await bench.world.playUntil(() => (bench.world.readings().motor_degC ?? 0) > 46, 20);
  expectRefused(await playOn(bench), /motor temperature to be below 45 °C; it is 4\d\.\d+/);
  await bench.world.playUntil(() => (bench.world.readings().motor_degC ?? 100) < 40, 600);
  expect((await playOn(bench)).result.outcome.outcome).toBe('done');
});

test('an ESC warmer than arm_when allows is not started', async () => {
  expectRefused(await playAfter((world) => world.simulated.inject({ kind: 'heat-node', node: 'esc', temperature_degC: 90 })), /ESC temperature to be below 50/);
});

test('a motor colder than a warm-up asks for is not started', async () => {
  expectRefused(await playAfter(() => undefined, { rig: [limit('esc_temperature_below: 50 °C', 'motor_temperature_above: 40 °C')] }), /motor temperature to be above 40/);
});

test('a limit that is broken already is no trip but keeps the motor from starting', async () => {
  expectRefused(await playAfter((world) => world.simulated.inject({ kind: 'saturate-channel', channel: 'thrust', at: 'high' })), /thrust/i);
});

test('a sensor that is silent already keeps the motor from starting', async () => {
  expectRefused(await playAfter((world) => world.simulated.inject({ kind: 'silence-channel', channel: 'current' })), /current/i);
});

test('an open thermistor keeps the motor from starting', async () => {
  expectRefused(await playAfter((world) => world.simulated.inject({ kind: 'open-channel', channel: 'motorTemperature' })), /motor temperature samples are impossible/);
});

test('a latched trip keeps the next run from starting, until it is cleared on purpose', async () => {
  const bench = await openBench('protocols/scene.yaml', { files: { 'protocols/scene.yaml': HOLD } });
  const first = await playOn(bench, {
    react: (event, _ask, world) => {
      if (event.type === 'segment-started' && event.ordinal === 2) world.simulated.inject({ kind: 'desync', duration_s: 0.5 });
    },
  });
  expect(first.result.outcome.trip?.code).toBe('DESYNC_SUSTAINED');
  const spun = bench.ticks.throttle.length;
  const second = await playOn(bench);
  expect(second.result.outcome.outcome).toBe('refused');
  expect(second.result.outcome.detail).toContain('Tripped: DESYNC_SUSTAINED');
  expect(Math.max(0, ...bench.ticks.throttle.slice(spun))).toBe(0);
  expect(await bench.world.clearTrip('the test looked at it')).toEqual([]);
  await bench.world.playUntil(() => false, 5);
  expect(Math.max(0, ...bench.ticks.throttle.slice(spun)), 'clearing starts nothing').toBe(0);
  expect((await playOn(bench)).result.outcome.outcome).toBe('done');
});
