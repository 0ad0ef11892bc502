// Builds dist/ where it is missing or older than the sources: a command starts from it in half a second, from the sources in one and a half.
// A build that fails changes nothing: the command starts from the sources then.
import { spawnSync } from 'node:child_process';
import { existsSync, mkdirSync, mkdtempSync, renameSync, rmSync, utimesSync } from 'node:fs';
import { join } from 'node:path';
import { fileURLToPath } from 'node:url';
import { builtCommand } from '../bin/built.mjs';

const root = fileURLToPath(new URL('..', import.meta.url));
const dist = join(root, 'dist');

if (builtCommand(root) === null) {
  process.stderr.write('Building the command (once) ...\n');
  const began = new Date();
  // On the same disk as dist, so that it can take its place at once.
  mkdirSync(join(root, 'build'), { recursive: true });
  const fresh = mkdtempSync(join(root, 'build/dist-'));
  try {
    const { status, stdout, stderr } = spawnSync('npx', ['tsdown', '--logLevel', 'error'], { cwd: root, encoding: 'utf8', env: { ...process.env, SPOOLBENCH_DIST: join(fresh, 'dist') } });
    if (status === 0) {
      utimesSync(join(fresh, 'dist/main.mjs'), began, began);
      if (existsSync(dist)) renameSync(dist, join(fresh, 'before'));
      renameSync(join(fresh, 'dist'), dist);
    } else {
      process.stderr.write(`It could not be built, and starts from the sources instead: ${stdout}${stderr}\n`);
      process.exitCode = 1;
    }
  } finally {
    rmSync(fresh, { recursive: true, force: true });
  }
}
