// Short protocols and checks that the tests of whole runs share.
import { expect } from 'vitest';
import type { TripCode } from '../../src/model/trip';
import { eventsOf, play, type Edits, type PlayOptions, type Played } from './kit';

/** Bytes travel in slices of this much bench time on the simulated rig: what the station orders arrives at the end of one. */
export const SLICE_US = 10_000;

export function protocolText(segments: readonly string[], needs = 'propeller: on'): string {
  return ['spoolbench: 1', 'protocol: scene', `needs: { ${needs} }`, 'segments:', ...segments.map((s) => `  - ${s}`), ''].join('\n');
}

/** Half throttle for four seconds. */
export const HOLD = protocolText(['ramp: { to: 50 %, in: 500 ms }', 'level: { throttle: 50 %, for: 4 s }', 'ramp: { to: 0 %, in: 500 ms }']);
/** A hard step up, and a hard step down that brakes. */
export const STEPS = protocolText(['level: { throttle: 20 %, for: 1 s }', 'level: { throttle: 90 %, for: 1 s }', 'level: { throttle: 8 %, for: 2 s }'], 'propeller: on, sink: true');

/** A fault in the rig file, some time after the run begins. */
export const fault = (name: string, at = '2 s', rest = ''): readonly [string, string] => ['seed: 1 }', `seed: 1, faults: [{ fault: ${name}, at: ${at}${rest} }] }`];
export const limit = (from: string, to: string): readonly [string, string] => [from, to];

/** Plays one of the scenes above on the demo's bench. */
export async function playScene(text: string, options: PlayOptions = {}): Promise<Played> {
  return await play('protocols/scene.yaml', { ...options, files: { ...options.files, 'protocols/scene.yaml': text } });
}

export interface Expected {
  readonly code: TripCode;
  readonly by: 'controller' | 'station';
  readonly channel?: string | null;
}

/** Index of the first tick at zero from which on every tick is at zero, looking back from the end. */
function firstOfLastZeros(throttle: readonly number[]): number {
  let i = throttle.length;
  while (i > 0 && throttle[i - 1] === 0) i--;
  return i;
}

/**
 * Everything that is promised of a trip: its code and its layer, zero throttle in time and for good, the trip and the samples
 * up to the standstill in the record. Returns the device time of the trip, µs.
 */
export function expectTrip(played: Played, expected: Expected): number {
  const { result: { outcome }, record, line, ticks, ready } = played;
  const told = `${outcome.outcome}: ${outcome.detail}`;
  expect(outcome.trip, told).toMatchObject(expected);
  const { tick_us } = outcome.trip!;

  // The throttle as the simulated ESC got it: full of purpose until the verdict, zero from then on.
  const zero = firstOfLastZeros(ticks.throttle);
  const zero_us = ticks.end_us[zero];
  expect(ticks.throttle[zero - 1]).toBeGreaterThan(0);
  if (expected.by === 'controller') expect(zero_us, 'zero throttle in the tick of the verdict').toBe(tick_us);
  else {
    expect(zero_us, 'zero throttle in the tick in which the order arrives').toBeGreaterThan(tick_us);
    expect(zero_us).toBeLessThanOrEqual(tick_us + SLICE_US + ready.rig.tick_us);
  }

  // The record: the trip, its own row, zero in every later row.
  expect(record.end.status).toBe('complete');
  expect(record.outcome).toEqual(outcome);
  expect(eventsOf(record, 'tripped')[0].trip).toEqual(outcome.trip);
  expect(line.tick_us).toContain(tick_us);
  line.tick_us.forEach((t, i) => {
    if (t >= zero_us && line.throttle_frac[i] !== 0) throw new Error(`throttle ${line.throttle_frac[i]} in the row of ${t} µs, after zero at ${zero_us} µs`);
  });
  expect(line.state[line.tick_us.indexOf(zero_us)]).toBe('tripped');

  // The tail: samples without a gap until the measured standstill.
  const [stopped] = eventsOf(record, 'stopped');
  const tail = [...line.tick_us].filter((t) => t >= tick_us);
  expect(tail.at(-1)).toBeGreaterThanOrEqual(stopped.tick_us - ready.rig.tick_us);
  expect(tail.length).toBeGreaterThanOrEqual((stopped.tick_us - tick_us) / ready.rig.tick_us - 1);
  expect(outcome.stop_confirmed).toBe(stopped.confirmed);
  if (stopped.confirmed) {
    expect(outcome.outcome).toBe('tripped');
    expect(played.still_rpm, 'a confirmed stop is a real one').toBeLessThan(ready.rig.limits.stop.speed_rpm);
  } else expect(outcome.outcome).toBe('stop-unconfirmed');
  return tick_us;
}

/** Nothing was ever driven. */
export function expectNothingTurned(played: Played): void {
  expect(Math.max(0, ...played.ticks.throttle)).toBe(0);
  expect(played.world.simulated.truth.speed_rpm).toBe(0);
}

export type { Edits };
