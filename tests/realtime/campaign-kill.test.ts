// Goal: a real campaign that is killed ten times with SIGKILL, at any moment, ends with every run good exactly once.
// Method: a child process runs the demo's twin; it is killed after a seeded share of a second once it works; then it is let go on.
import { spawn } from 'node:child_process';
import fs from 'node:fs';
import path from 'node:path';
import { afterAll, expect, test } from 'vitest';
import { readJournal } from '../../src/campaign';
import { readRecord } from '../../src/record/file-reader';
import { cleanUp } from '../app/kit';
import { tiny, tinyBench } from '../app/unattended-kit';
import { seeded } from '../record/make';

afterAll(cleanUp);

const SEED = 20260301;
/** Enough work that ten kills within a second each do not find it done, on a fast machine either. */
const REPEATS = 100;
const RUNS = 3 * REPEATS;

test('ten times kill -9, and every run is good exactly once', async () => {
  const bench = tinyBench(tiny(`factors: { switching_frequency: { levels: [22 kHz, 44 kHz, 88 kHz], apply: rig } }\nrepeats: ${REPEATS}\nbetween_runs: { rest: 1 s, zero: 100 ms }`));
  const random = seeded(SEED);
  const wait_ms = (): number => 50 + 900 * random();
  let working = 0;
  for (let kill = 1; kill <= 10; kill++) {
    const { signal } = await go(bench.file, bench.records, wait_ms());
    if (signal === 'SIGKILL') working++;
  }
  expect(working, `seed ${SEED}: kills that found the campaign at work`).toBeGreaterThanOrEqual(8);
  const last = await go(bench.file, bench.records, Infinity);
  expect(JSON.parse(last.said)).toEqual({ good: RUNS, planned: RUNS, stopped: null });

  const folders = fs.readdirSync(bench.records);
  expect(folders).toHaveLength(1);
  const folder = path.join(bench.records, folders[0]);
  const { entries } = readJournal(fs.readFileSync(path.join(folder, 'journal.jsonl'), 'utf8'));
  const good = entries.flatMap((e) => (e.type === 'ended' && e.outcome === 'done' ? [e.run] : []));
  expect(good).toEqual(Array.from({ length: RUNS }, (_, i) => i + 1));
  // Each good run's record is whole; the attempts that were cut off have files of their own and say that they were.
  const recordOf = new Map<string, number>();
  for (const e of entries) if (e.type === 'started' && e.record !== undefined) recordOf.set(`${e.run} ${e.attempt}`, e.attempt);
  const ended = new Set(entries.flatMap((e) => (e.type === 'ended' ? [`${e.run} ${e.attempt}`] : [])));
  expect(recordOf.size - ended.size).toBeGreaterThan(0);
  for (const e of entries) {
    if (e.type !== 'started') continue;
    const file = path.join(folder, e.record ?? '');
    if (!ended.has(`${e.run} ${e.attempt}`) && !fs.existsSync(file)) continue;
    const { end } = readRecord(file);
    if (ended.has(`${e.run} ${e.attempt}`)) expect(end.status).toBe('complete');
  }
}, 400_000); // ten starts of the program in real time: slow on a loaded machine

/** Runs the campaign until `kill_ms` after its first line in the journal, or to its end. */
function go(file: string, records: string, kill_ms: number): Promise<{ signal: string | null; said: string }> {
  const lines = (): number => {
    const folder = fs.existsSync(records) ? fs.readdirSync(records)[0] : undefined;
    const journal = path.join(records, folder ?? '', 'journal.jsonl');
    return folder !== undefined && fs.existsSync(journal) ? fs.statSync(journal).size : 0;
  };
  const before = lines();
  return new Promise((resolve) => {
    const child = spawn(process.execPath, ['--import', 'tsx', path.join(import.meta.dirname, 'child-campaign.ts'), file, records], { stdio: ['ignore', 'pipe', 'inherit'] });
    let said = '';
    child.stdout.on('data', (piece: Buffer) => { said += piece.toString(); });
    const watching = setInterval(() => {
      if (lines() === before || kill_ms === Infinity) return;
      clearInterval(watching);
      setTimeout(() => child.kill('SIGKILL'), kill_ms);
    }, 5);
    child.on('close', (_code, signal) => {
      clearInterval(watching);
      resolve({ signal, said });
    });
  });
}
