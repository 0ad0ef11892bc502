// Runs every benchmark of bench/, one after the other, each in a process of its own. Nothing gates on what they print.
// Usage: npm run bench [NAME ...]
import { spawnSync } from 'node:child_process';
import { readdirSync } from 'node:fs';
import { fileURLToPath } from 'node:url';
import { build } from 'tsdown';

const root = fileURLToPath(new URL('..', import.meta.url));
/** Timed as users run the code: bundled like dist. From the sources, each use of an imported name and each closure cost extra. */
const BUNDLED = new Set(['judge', 'link', 'record', 'twin', 'whole-path']);

const wanted = process.argv.slice(2);
const names = readdirSync(`${root}bench`).filter((name) => name.endsWith('.ts')).map((name) => name.slice(0, -3))
  .filter((name) => wanted.length === 0 || wanted.includes(name));
if (names.length === 0) {
  console.error(`No benchmark is called ${wanted.join(' or ')}.`);
  process.exitCode = 2;
}
for (const name of names) {
  console.log(`\n== ${name}`);
  const outDir = `${root}build/bench`;
  if (BUNDLED.has(name)) {
    await build({ config: false, cwd: root, entry: { [name]: `bench/${name}.ts` }, outDir, clean: false, format: 'esm', platform: 'node', dts: false, logLevel: 'error' });
  }
  const [program, ...args] = BUNDLED.has(name) ? ['node', `${outDir}/${name}.mjs`] : ['npx', 'tsx', `bench/${name}.ts`];
  const { status } = spawnSync(program, args, { cwd: root, stdio: 'inherit' });
  if (status !== 0) process.exitCode = 1;
}
