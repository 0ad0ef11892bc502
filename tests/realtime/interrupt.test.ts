// Goal: Ctrl-C, once or ten times, in the middle of a run or between two, stops the motor, writes the outcome, exits with 3.
// Method: the real command in a child process; SIGINT when it says where it is; then the record and the journal are read back.
import fs from 'node:fs';
import path from 'node:path';
import { afterAll, expect, test } from 'vitest';
import { readRecord } from '../../src/record/file-reader';
import { timelineOf } from '../../src/record/timeline';
import { benchFolder, cleanUp, eventsOf } from '../app/kit';
import { campaignsIn, recordsIn, watched, type Said } from '../cli/kit';

afterAll(cleanUp);

/** Minutes of bench time in each run and hours between two: a second or so of real time, so that the signal comes in the middle. */
const campaignText = (hold: string): string => `spoolbench: 1
campaign: long
rig: ../rig.yaml
article: ../article.yaml
protocols: [soak: { power: 8 W, hold: ${hold}, cool: 1 s }]
repeats: 3
between_runs: { rest: 10 h }
`;

/** Sends the signals once the journal says `at`. */
async function interrupt(times: number, at: string, wait_ms: number, hold: string): Promise<{ said: Said; campaign: string; journal: string }> {
  const folder = benchFolder({ files: { 'campaigns/long.yaml': campaignText(hold) }, rig: [['longest_run: 10 min', 'longest_run: 20 min']] });
  fs.rmSync(path.join(folder, 'protocols/creep-up.ts'));
  const said = await watched(folder, ['run', 'campaigns/long.yaml'], (kill) => {
    const look = setInterval(() => {
      const [campaign] = campaignsIn(path.join(folder, 'records'));
      if (campaign === undefined || !fs.existsSync(path.join(campaign, 'journal.jsonl'))) return;
      if (!fs.readFileSync(path.join(campaign, 'journal.jsonl'), 'utf8').includes(at)) return;
      clearInterval(look);
      for (let i = 0; i < times; i++) setTimeout(() => { kill('SIGINT'); }, wait_ms + 3 * i);
    }, 5);
  });
  const [campaign] = campaignsIn(path.join(folder, 'records'));
  return { said, campaign, journal: fs.readFileSync(path.join(campaign, 'journal.jsonl'), 'utf8') };
}

test.each([1, 10])('%i times while a segment plays', async (times) => {
  const { said, campaign, journal } = await interrupt(times, '"started"', 150, '590 s');
  expect(said.code, said.err).toBe(3);
  expect(said.err).toContain('Stopping now');
  const record = readRecord(recordsIn(campaign)[0]);
  expect(record.end.status).toBe('complete');
  expect(record.outcome).toMatchObject({ outcome: 'stopped', stop_confirmed: true, trip: null });
  const [asked] = eventsOf(record, 'operator');
  const line = timelineOf(record)!;
  expect(line.throttle_frac.some((t) => t > 0)).toBe(true);
  const late = [...line.tick_us.keys()].filter((i) => line.tick_us[i] > asked.tick_us + 11_000 && line.throttle_frac[i] > 0);
  expect(late).toEqual([]);
  expect(journal).toMatch(/"ended".*"stopped"/);
  expect(said.out).toContain('stopped by the operator');
});

test('between two runs: the good one stays good, none is begun', async () => {
  const { said, campaign, journal } = await interrupt(1, '"ended"', 0, '60 s');
  expect(said.code, said.err).toBe(3);
  expect(recordsIn(campaign)).toHaveLength(1);
  expect(readRecord(recordsIn(campaign)[0]).outcome).toMatchObject({ outcome: 'done' });
  expect(journal.match(/"started"/g)).toHaveLength(1);
  expect(said.out).toContain('1 of 3 runs good');
});
