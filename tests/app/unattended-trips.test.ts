// Goal: a trip stops the campaign unless its code is listed; three different runs on one code stop it whatever is listed; nothing re-arms after a person's stop.
// Method: campaigns on the twin, its physics given a fault in chosen runs; the journal and the runs made are compared with the rule.
import { afterAll, describe, expect, test } from 'vitest';
import type { ReadyCampaign } from '../../src/app/prepare';
import { TwinWorld } from '../../src/app/twin-world';
import type { Fault } from '../../src/twin/physics/faults';
import { cleanUp, SILENT } from './kit';
import { foldersIn, journalOf, listening, session, tiny, tinyBench, twinInput } from './unattended-kit';

afterAll(cleanUp);

const HOT: Fault = { kind: 'heat-node', node: 'case', temperature_degC: 140 };
const OPEN: Fault = { kind: 'open-channel', channel: 'motorTemperature' };

/** A twin with a fault in the runs that are listed, counted from 1 as they are begun. */
class FaultyTwin extends TwinWorld {
  begun = 0;
  constructor(ready: ReadyCampaign, private readonly faultIn: (begun: number) => Fault | null) {
    super(twinInput(ready));
  }
  override beginRun(): void {
    super.beginRun();
    const fault = this.faultIn(++this.begun);
    if (fault !== null) this.simulated.inject(fault, this.simulated.now_us + 50_000);
  }
}

const THREE = 'factors: { switching_frequency: { levels: [22 kHz, 44 kHz, 88 kHz], apply: rig } }\nrepeats: 2\norder: { shuffle: none }\n';
const short = (folder: string): string[] => journalOf(folder).flatMap((e) => {
  if (e.type === 'ended') return [`${e.run}.${e.attempt} ${e.trip ?? e.outcome}`];
  return e.type === 'decided' ? [`${e.what} by ${e.by}`] : [];
});

async function run(on_trip: string, faultIn: (begun: number) => Fault | null) {
  const bench = tinyBench(tiny(`${THREE}on_trip: ${on_trip}`));
  const end = await session(bench, { world: (ready) => new FaultyTwin(ready, faultIn) });
  return { bench, end, story: short(foldersIn(bench)[0]) };
}

describe('a trip', () => {
  test('that is not listed stops the campaign, and a person who resumes goes on with that run', async () => {
    const { bench, end, story } = await run('{}', (n) => (n === 3 ? OPEN : null));
    expect(story).toEqual(['1.1 done', '2.1 done', '3.1 SENSOR_IMPOSSIBLE', 'stop by tool']);
    expect(end).toMatchObject({ good: 2, planned: 6, trip: 'SENSOR_IMPOSSIBLE', outcomes: ['done', 'done', 'tripped'] });
    expect(end.stopped).toMatch(/Run 3 tripped on SENSOR_IMPOSSIBLE, and nothing \(on_trip\) says to go on after that/);
    expect(await session(bench, { resume: true })).toMatchObject({ good: 6, stopped: null });
    expect(short(foldersIn(bench)[0]).slice(4)).toEqual(['resume by person', '3.2 done', '4.1 done', '5.1 done', '6.1 done']);
  });

  test('listed to retry is cleared, and its run made once more', async () => {
    const { end, story } = await run('{ retry_once: [SENSOR_IMPOSSIBLE] }', (n) => (n === 3 ? OPEN : null));
    expect(story).toEqual(['1.1 done', '2.1 done', '3.1 SENSOR_IMPOSSIBLE', 'retry by tool', '3.2 done', '4.1 done', '5.1 done', '6.1 done']);
    expect(end).toMatchObject({ good: 6, stopped: null });
  });

  test('that comes again in the retry stops', async () => {
    const { end, story } = await run('{ retry_once: [SENSOR_IMPOSSIBLE] }', (n) => (n === 3 || n === 4 ? OPEN : null));
    expect(story).toEqual(['1.1 done', '2.1 done', '3.1 SENSOR_IMPOSSIBLE', 'retry by tool', '3.2 SENSOR_IMPOSSIBLE', 'stop by tool']);
    expect(end.stopped).toContain('again after its one retry');
  });

  test('listed to skip is cleared, and every further run of its setting left out', async () => {
    const { end, story } = await run('{ skip_setting: [SENSOR_IMPOSSIBLE] }', (n) => (n === 2 ? OPEN : null));
    expect(story).toEqual(['1.1 done', '2.1 SENSOR_IMPOSSIBLE', 'skip-setting by tool', '3.1 done', '4.1 done', '6.1 done']);
    expect(end).toMatchObject({ good: 4, skipped: 2, stopped: null });
  });

  test('that left a setting out does not keep it out for ever: a person takes it back in, and its runs are made then', async () => {
    const { bench } = await run('{ skip_setting: [SENSOR_IMPOSSIBLE] }', (n) => (n === 2 ? OPEN : null));
    expect(await session(bench, { resume: true, trySkipped: true })).toMatchObject({ good: 6, skipped: 0, stopped: null });
    expect(foldersIn(bench)).toHaveLength(1);
    expect(short(foldersIn(bench)[0]).slice(6)).toEqual(['resume by person', 'try-skipped by person', '2.2 done', '5.1 done']);
    await expect(session(bench, { resume: true, trySkipped: true })).rejects.toThrow(/--try-skipped: no setting is skipped/);
    expect(foldersIn(bench)).toHaveLength(1);
  });

  test('of one code in three different runs stops, although it is listed', async () => {
    const { end, story } = await run('{ retry_once: [SENSOR_IMPOSSIBLE] }', (n) => ([1, 3, 5].includes(n) ? OPEN : null));
    expect(story).toEqual(['1.1 SENSOR_IMPOSSIBLE', 'retry by tool', '1.2 done', '2.1 SENSOR_IMPOSSIBLE', 'retry by tool', '2.2 done', '3.1 SENSOR_IMPOSSIBLE', 'stop by tool']);
    expect(end.stopped).toContain('3 different runs tripped on SENSOR_IMPOSSIBLE');
  });

  test('of two codes in three runs does not', async () => {
    const { end } = await run('{ retry_once: [SENSOR_IMPOSSIBLE, MOTOR_TEMPERATURE, TREND] }', (n) => (n === 1 || n === 3 ? OPEN : n === 5 ? HOT : null));
    expect(end).toMatchObject({ good: 6, stopped: null });
  });
});

describe("a person's stop", () => {
  test('in a run ends the campaign, whatever is listed, and nothing is armed again', async () => {
    const bench = tinyBench(tiny(`${THREE}on_trip: { retry_once: [SENSOR_IMPOSSIBLE] }`));
    let begun = 0;
    let stop: () => void = () => undefined;
    const words = listening();
    const reporter = { ...SILENT, runStarted: () => { begun++; }, segment: (_label: string, ordinal: number) => { if (begun === 2 && ordinal > 0) stop(); } };
    const end = await session(bench, { words: { ...words, reporter }, begin: (ask) => { stop = () => { stop = () => undefined; ask('stop-now'); }; } });
    expect(end.outcomes).toEqual(['done', 'stopped']);
    expect(begun).toBe(2);
    expect(short(foldersIn(bench)[0])).toEqual(['1.1 done', '2.1 stopped', 'stop by tool']);
    expect(await session(bench, { resume: true })).toMatchObject({ good: 6, stopped: null });
  });

  test('between two runs is written down as theirs, and holds until a person resumes', async () => {
    const bench = tinyBench(tiny(`${THREE}between_runs: { rest: 1 h }`));
    const end = await session(bench, { begin: (ask) => { setTimeout(() => { ask('stop-now'); }, 30); } });
    expect(end).toMatchObject({ good: 0, outcomes: [], stopped: 'stopped by the operator' });
    expect(short(foldersIn(bench)[0])).toEqual(['stop by person']);
  });
});
