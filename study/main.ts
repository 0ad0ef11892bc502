/** npm run coverage-study: protocol → record → shipped analysis over many seeds, and how often the intervals hold the truth. */
import { spawn } from 'node:child_process';
import { createHash } from 'node:crypto';
import fs from 'node:fs';
import path from 'node:path';
import type { ArticleName, Cell } from './cells';
import { readOptions, USAGE, type Options } from './options';
import { report, type CellResult } from './report';
import type { SeedLine } from './seed';
import type { Truths } from './truth/truth';
import type { WorkerTask } from './worker';

const HERE = path.dirname(new URL(import.meta.url).pathname);
const ROOT = path.join(HERE, '..');

/** Every source that a figure rests on, in one number: lines of other sources are never mixed with these. */
function digestOf(folders: readonly string[]): string {
  const hash = createHash('sha256');
  for (const folder of folders) {
    const at = path.join(ROOT, folder);
    for (const name of fs.statSync(at).isFile() ? [''] : (fs.readdirSync(at, { recursive: true }) as string[]).sort()) {
      const file = path.join(at, name);
      if (/\.(ts|yaml)$/.test(file) && fs.statSync(file).isFile()) hash.update(name).update(fs.readFileSync(file));
    }
  }
  return hash.digest('hex').slice(0, 10);
}

const linesIn = (file: string): SeedLine[] => (fs.existsSync(file) ? fs.readFileSync(file, 'utf8').split('\n').filter((l) => l.endsWith('}')).map((l) => JSON.parse(l) as SeedLine) : []);

/** Runs a part of the study in a process of its own. @throws Error with `what` when it fails */
async function childOf(script: string, args: readonly string[], what: string): Promise<void> {
  await new Promise<void>((resolve, reject) => {
    const child = spawn(process.execPath, ['--import', 'tsx', path.join(HERE, script), ...args], { stdio: 'inherit', cwd: ROOT });
    child.on('exit', (code) => { if (code === 0) resolve(); else reject(new Error(`${what} ended with ${code}`)); });
  });
}

/** The truths of every article, each made by a process of its own where they are not there yet. */
async function truthFiles(cells: readonly Cell[], out: string): Promise<Map<ArticleName, string>> {
  const digest = digestOf(['src/twin/physics', 'src/protocols', 'study/truth', 'study/benches', 'study/bench.ts', 'study/cells.ts']);
  const files = new Map(cells.map((c) => [c.article, path.join(out, `truth-${c.article}-${digest}.json`)]));
  await Promise.all([...files].map(async ([article, file]) => {
    if (fs.existsSync(file)) return;
    console.error(`truths of ${article}: noise-free campaigns …`);
    await childOf('truth-worker.ts', [article, path.resolve(file)], `the truths of ${article}`);
  }));
  return files;
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
    await childOf('worker.ts', [JSON.stringify(task)], `a worker of ${cell.article}, ${cell.rig} rig,`);
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
  const truthsIn = await truthFiles(options.cells, options.out);
  for (const cell of options.cells) {
    const truths = truthsIn.get(cell.article);
    if (truths === undefined) throw new Error(`no truths of ${cell.article}`);
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
