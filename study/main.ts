/** npm run coverage-study: protocol → record → shipped analysis over many seeds, and how often the intervals hold the truth. */
import { spawn } from 'node:child_process';
import { createHash } from 'node:crypto';
import fs from 'node:fs';
import path from 'node:path';
import type { Cell } from './cells';
import { readOptions, USAGE, type Options } from './options';
import { report, type CellResult } from './report';
import type { SeedLine } from './seed';
import { truthsOf, type Truths } from './truth/truth';
import type { WorkerTask } from './worker';

const HERE = path.dirname(new URL(import.meta.url).pathname);
const ROOT = path.join(HERE, '..');

/** Every source that a figure rests on, in one number: lines of other sources are never mixed with these. */
function digestOf(folders: readonly string[]): string {
  const hash = createHash('sha256');
  for (const folder of folders) {
    for (const name of (fs.readdirSync(path.join(ROOT, folder), { recursive: true }) as string[]).sort()) {
      const file = path.join(ROOT, folder, name);
      if (/\.(ts|yaml)$/.test(name) && fs.statSync(file).isFile()) hash.update(name).update(fs.readFileSync(file));
    }
  }
  return hash.digest('hex').slice(0, 10);
}

const linesIn = (file: string): SeedLine[] => (fs.existsSync(file) ? fs.readFileSync(file, 'utf8').split('\n').filter((l) => l.endsWith('}')).map((l) => JSON.parse(l) as SeedLine) : []);

async function truthFile(cell: Cell, out: string): Promise<string> {
  const file = path.join(out, `truth-${cell.article}-${digestOf(['src/twin/physics', 'src/protocols', 'study/truth', 'study/benches'])}.json`);
  if (!fs.existsSync(file)) {
    console.error(`truths of ${cell.article}: noise-free campaigns …`);
    fs.writeFileSync(file, JSON.stringify(await truthsOf(cell.article), null, 1));
  }
  return file;
}

/** Plays what is missing. */
async function playCell(cell: Cell, options: Options, truths: string, out: string): Promise<void> {
  const done = new Set(linesIn(out).map((l) => l.seed));
  const seeds = options.seeds.filter((s) => !done.has(s));
  const keepIn = options.records === 'drop' ? null : path.join(options.out, `records-${cell.article}-${cell.rig}`);
  if (keepIn !== null) fs.mkdirSync(keepIn, { recursive: true });
  const shares = Array.from({ length: options.workers }, (_, w) => seeds.filter((_s, i) => i % options.workers === w)).filter((s) => s.length > 0);
  await Promise.all(shares.map(async (share) => {
    const task: WorkerTask = { cell, seeds: share, truths, out, records: options.records, keepIn };
    await new Promise<void>((resolve, reject) => {
      const child = spawn(process.execPath, ['--import', 'tsx', path.join(HERE, 'worker.ts'), JSON.stringify(task)], { stdio: 'inherit', cwd: ROOT });
      child.on('exit', (code) => { if (code === 0) resolve(); else reject(new Error(`a worker of ${cell.article}, ${cell.rig} rig, ended with ${code}`)); });
    });
  }));
}

const BEGIN = '<!-- study: begin -->';
const END = '<!-- study: end -->';

/** Puts the tables between the marks of a page; a page without marks gets both at its end. */
function withTable(page: string, markdown: string): string {
  const [from, to] = [page.indexOf(BEGIN), page.indexOf(END)];
  return from < 0 || to < from ? `${page}\n${BEGIN}\n${markdown}\n${END}\n` : `${page.slice(0, from)}${BEGIN}\n${markdown}\n${page.slice(to)}`;
}

async function main(options: Options): Promise<boolean> {
  fs.mkdirSync(options.out, { recursive: true });
  const results: CellResult[] = [];
  for (const cell of options.cells) {
    const truths = await truthFile(cell, options.out);
    const out = path.join(options.out, `lines-${cell.article}-${cell.rig}-${options.lines ?? digestOf(['src', 'study'])}.jsonl`);
    if (!options.only_count) await playCell(cell, options, truths, out);
    const wanted = new Set(options.seeds);
    results.push({ cell, lines: linesIn(out).filter((l) => wanted.has(l.seed)).sort((a, b) => a.seed - b.seed), truths: JSON.parse(fs.readFileSync(truths, 'utf8')) as Truths });
  }
  const { text, markdown, good } = report(results, options);
  console.log(text);
  if (options.table !== null) fs.writeFileSync(options.table, withTable(fs.existsSync(options.table) ? fs.readFileSync(options.table, 'utf8') : '', markdown));
  return good;
}

if (process.argv.includes('--help')) console.log(USAGE);
else if (!(await main(readOptions(process.argv.slice(2)))) && readOptions(process.argv.slice(2)).check) process.exitCode = 1;
