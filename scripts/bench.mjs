// Runs every benchmark of bench/, one after the other, each in a process of its own. Nothing gates on what they print.
// Usage: npm run bench [NAME ...]
import { spawnSync } from 'node:child_process';
import { readdirSync } from 'node:fs';
import { fileURLToPath } from 'node:url';

const root = fileURLToPath(new URL('..', import.meta.url));
const wanted = process.argv.slice(2);
const names = readdirSync(`${root}bench`).filter((name) => name.endsWith('.ts')).map((name) => name.slice(0, -3))
  .filter((name) => wanted.length === 0 || wanted.includes(name));
if (names.length === 0) {
  console.error(`No benchmark is called ${wanted.join(' or ')}.`);
  process.exitCode = 2;
}
for (const name of names) {
  console.log(`\n== ${name}`);
  const { status } = spawnSync('npx', ['tsx', `bench/${name}.ts`], { cwd: root, stdio: 'inherit' });
  if (status !== 0) process.exitCode = 1;
}
