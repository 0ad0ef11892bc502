// Goal: a trip that a board holds is cleared by a deliberate act only, and every way that it can go is told apart.
// Method: the simulated rig behind a world that reports an old trip, refuses, or is not ours.
import { afterAll, expect, test } from 'vitest';
import { clearRig, type ClearEnd } from '../../src/app/clear-rig';
import { BadInput } from '../../src/app/errors';
import type { CheckBench } from '../../src/app/rig-check/session';
import { TwinWorld } from '../../src/app/twin-world';
import { benchFolder, cleanUp, SILENT } from './kit';

afterAll(cleanUp);

function world(held: string | null, reasons: readonly string[] = [], problem: string | null = held): { open: CheckBench['open']; cleared: string[] } {
  const cleared: string[] = [];
  const open: CheckBench['open'] = ({ rig, article, channels }) => Object.assign(new TwinWorld({ rig, article, channels, breathe: () => Promise.resolve(), now_ms: () => 0 }), {
    connect: () => (problem === null ? Promise.resolve() : Promise.reject(new BadInput([problem]))),
    oldTrip: () => held,
    clearTrip: (why: string) => { cleared.push(why); return Promise.resolve(reasons); },
  });
  return { open, cleared };
}

const clear = (open: CheckBench['open'], yes: boolean): Promise<ClearEnd> =>
  clearRig({ bench: benchFolder(), reporter: SILENT, open, confirm: () => Promise.resolve(yes) });

test('without a trip nothing is cleared', async () => {
  const { open, cleared } = world(null);
  expect(await clear(open, true)).toEqual({ end: 'nothing' });
  expect(cleared).toEqual([]);
});
test('a trip is left where the person does not confirm, and cleared where the person does', async () => {
  const { open, cleared } = world('tripped from before');
  expect(await clear(open, false)).toEqual({ end: 'left' });
  expect(cleared).toEqual([]);
  expect(await clear(open, true)).toEqual({ end: 'cleared' });
  expect(cleared).toEqual(['rig clear']);
});
test('a board that keeps it says why', async () => {
  expect(await clear(world('tripped', ['Stop input is pressed.']).open, true)).toEqual({ end: 'stays', reasons: ['Stop input is pressed.'] });
});
test('another problem of the greeting is no trip to be cleared', async () => {
  const { open, cleared } = world(null, [], 'not our board');
  await expect(clear(open, true)).rejects.toThrow(/not our board/);
  expect(cleared).toEqual([]);
});
