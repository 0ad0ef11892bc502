// Analysis and report of the demo campaign through the real command, from the sources and as one bundle: real and processor time
// (issue: analyzed in 5 s, reported in 3 s). Give a campaign folder as an argument, else the demo is run first. The folder is copied.
import { spawnSync } from 'node:child_process';
import fs from 'node:fs';
import os from 'node:os';
import path from 'node:path';

const temp = fs.mkdtempSync(path.join(os.tmpdir(), 'spoolbench-report-'));
// Inside the package, where a bundle finds the packages that it loads.
const built = path.resolve('node_modules/.cache', path.basename(temp));
const tell = 'process.on("exit",()=>{const u=process.resourceUsage();process.stderr.write(`usage ${u.maxRSS} ${u.userCPUTime+u.systemCPUTime}\\n`)})';

const SOURCES = 'bin/spoolbench.mjs';

/** Runs a script of ours to its end, from the sources whether or not dist/ is up to date; throws with what it said when it fails. */
function run(script: string, ...args: readonly string[]): { took_s: number; cpu_s: number; memory_MB: number } {
  const began = performance.now();
  const { status, stderr } = spawnSync(process.execPath, ['--import', `data:text/javascript,${encodeURIComponent(tell)}`, script, ...args], { encoding: 'utf8', maxBuffer: 1 << 28, env: { ...process.env, SPOOLBENCH_SOURCES: '1' } });
  const took_s = (performance.now() - began) / 1000;
  const usage = [...stderr.matchAll(/usage (\d+) (\d+)/g)].at(-1);
  if (status !== 0 || usage === undefined) throw new Error(`${script} ${args.join(' ')} ended with ${String(status)}: ${stderr}`);
  return { took_s, cpu_s: Number(usage[2]) / 1e6, memory_MB: Number(usage[1]) / 1000 };
}

try {
  const given = process.argv[2];
  const folder = path.join(temp, 'campaign');
  if (given === undefined) {
    run(SOURCES, 'run', 'demo/bench/campaigns/scout-settings.yaml', '--records', path.join(temp, 'records'), '--quiet', '--json', '--no-report');
    fs.renameSync(path.join(temp, 'records', fs.readdirSync(path.join(temp, 'records'))[0]), folder);
  } else {
    fs.cpSync(given, folder, { recursive: true });
  }
  for (const name of fs.readdirSync(folder)) if (/^(results|report)/.test(name)) fs.rmSync(path.join(folder, name));
  // All of what users get: the threads have a program of their own.
  const bundled = spawnSync('npx', ['tsdown', '--logLevel', 'error'], { encoding: 'utf8', env: { ...process.env, SPOOLBENCH_DIST: built } });
  if (bundled.status !== 0) throw new Error(`the command could not be bundled: ${bundled.stdout}${bundled.stderr}`);
  for (const [how, script] of [['from the sources', SOURCES], ['bundled', path.join(built, 'main.mjs')]] as const) {
    for (const command of ['analyze', 'report']) {
      const { took_s, cpu_s, memory_MB } = run(script, command, folder);
      console.log(`${command} ${how}: ${took_s.toFixed(2)} s, ${cpu_s.toFixed(2)} s of processor time, at most ${memory_MB.toFixed(0)} MB in memory`);
    }
  }
} finally {
  fs.rmSync(temp, { recursive: true, force: true });
  fs.rmSync(built, { recursive: true, force: true });
}
