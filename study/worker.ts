/** A child process of the study: `worker.ts JSON` plays the seeds given and prints a line of JSON for each. */
import fs from 'node:fs';
import { MapCache } from '../src/twin/physics';
import { benchOf } from './bench';
import type { Cell } from './cells';
import { studySeed, type SeedInput } from './seed';
import type { Truths } from './truth/truth';

export type WorkerTask = { readonly cell: Cell; readonly seeds: readonly number[]; readonly truths: string; readonly out: string; readonly records: SeedInput['records']; readonly keepIn: string | null };

const task = JSON.parse(process.argv[2] ?? '') as WorkerTask;
const truths = JSON.parse(fs.readFileSync(task.truths, 'utf8')) as Truths;
const { ready, folder } = benchOf(task.cell);
const maps = new MapCache();
try {
  for (const seed of task.seeds) {
    const line = await studySeed({ ready, article: task.cell.article, folder: task.keepIn ?? folder, seed, maps, truths, records: task.records });
    fs.appendFileSync(task.out, `${JSON.stringify(line)}\n`);
  }
} finally {
  fs.rmSync(folder, { recursive: true });
}
