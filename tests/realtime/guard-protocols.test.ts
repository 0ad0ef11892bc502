// Goal: every protocol gives the same figures through guard, port and wire as in one process, and a record of the same kind.
// Method: seven simulated boards in real time behind pseudo-terminals, all at once; the same bench in process, in virtual time,
// and from twelve plays of it the scatter that decides what "the same" is.
import { afterAll, beforeAll, describe, expect, test } from 'vitest';
import { runMetrics } from '../../src/analysis/metrics/run-metrics';
import { sd } from '../../src/analysis/stats/summary';
import { runDataOf } from '../../src/app/run-data';
import type { RunRecord } from '../../src/record/reader';
import { cleanUp, play } from '../app/kit';
import { cable, connected, endAll, HAS_SOCAT, playOnce, serialBench, Twins, type Ran } from './guard-kit';

interface Case {
  readonly target: string;
  readonly set: readonly string[];
  readonly supply_V?: number;
  readonly propeller?: 'on' | 'off';
}

const CASES: readonly Case[] = [
  { target: 'kv', set: [], supply_V: 3, propeller: 'off' },
  { target: 'thrust-curve', set: ['ramp=3 s', 'low_for=500 ms'] },
  { target: 'staircase', set: ['levels=4', 'dwell=1 s', 'discard=500 ms'] },
  { target: 'response', set: ['dwell=250 ms'] },
  { target: 'efficiency-hold', set: ['current=1.2 A'] },
  { target: 'spin-up', set: ['starts=4'] },
  // A minute at constant power is the least that it accepts; all boards play at once, so this is how long the file takes.
  { target: 'soak', set: ['power=6 W', 'hold=60 s', 'cool=1 s'] },
];

/**
 * Figures about zero: a count, and shares. And those of an exponential that is extrapolated from a minute, which scatter from run to
 * run by a third of this (simulated benches, `npm run coverage-study`).
 */
const LEAST: Readonly<Record<string, number>> = { desyncs: 1, hold_correction: 1e-4, soak_speed_drift: 0.001, thermal_time_constant_s: 8, settled_rise_K: 1 };

/** Plays in process: one bench, its gains and mounting, under other noise each time. */
const PLAYS = 12;
/** Rest before a play, s, and how much longer it is each time: other noise, and the slow sensors elsewhere in their period. */
const REST_S = 1;
const LONGER_S = 0.013;
/**
 * Two plays differ by √2 of their scatter. With eleven degrees of freedom a difference of 7 of them comes by chance once in 2500
 * (Student's t above 4.95).
 */
const FACTOR = 7;

/** Figures of a record. */
function figures(record: RunRecord): Record<string, number> {
  return Object.fromEntries(runMetrics(runDataOf(record)).metrics.flatMap((m) => (m.value === null ? [] : [[m.name, m.value]])));
}

/** In process, on the same bench file but for the link, with the same seed. */
async function inProcess(c: Case, zero_s: number): Promise<Record<string, number>> {
  const volts = c.supply_V ?? 7.6;
  const played = await play(c.target, {
    set: c.set, seed: 1, zero_s,
    rig: [['voltage: 7.6 V', `voltage: ${volts} V`], ['host_silence: 100 ms', 'host_silence: 400 ms'], ['within: 6 s', 'within: 2 s']],
    article: [['mounted: on', `mounted: ${c.propeller ?? 'on'}`], ...(volts === 7.6 ? [] : [['nominal_voltage: 7.6 V', `nominal_voltage: ${volts} V`]] as const)],
  });
  expect(played.result.outcome).toMatchObject({ outcome: 'done' });
  return figures(played.record);
}

describe.skipIf(!HAS_SOCAT)('over a pseudo-terminal, through the guard', () => {
  const ran = new Map<string, Ran>();

  beforeAll(async () => {
    const twins = new Twins();
    const benches = await Promise.all(CASES.map(async (c) => {
      const { host, board } = await cable();
      const bench = serialBench({ port: host, ...c });
      await twins.serve(board, bench, c.target);
      return { target: c.target, bench: await connected(bench, c.target, c.set) };
    }));
    await Promise.all(benches.map(async ({ target, bench }) => {
      ran.set(target, await playOnce(bench, REST_S));
      await bench.world.closed();
    }));
  }, 240_000);
  afterAll(() => { endAll(); cleanUp(); });


  test.each(CASES)('$target', async (c) => {
    const { record } = ran.get(c.target)!;
    expect(record.outcome).toMatchObject({ outcome: 'done', stop_confirmed: true, trip: null });
    expect(record.end.status).toBe('complete');
    const real = figures(record);
    const all: Record<string, number>[] = [];
    for (let k = 0; k < PLAYS; k++) all.push(await inProcess(c, REST_S + k * LONGER_S));
    const [same] = all;
    expect(Object.keys(real).sort()).toEqual(Object.keys(same).sort());
    const off = Object.entries(same).flatMap(([name, value]) => {
      const scatter = sd(all.map((o) => o[name])) ?? 0;
      const accepted = Math.max(FACTOR * scatter, 0.005 * Math.abs(value), LEAST[name] ?? 0);
      return Math.abs(real[name] - value) <= accepted ? [] : [`${name}: ${real[name]} through the guard, ${value} in process, accepted ±${accepted}`];
    });
    expect(off).toEqual([]);
  });
});
