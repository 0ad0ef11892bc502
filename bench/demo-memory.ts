// The whole demo campaign through the real command, from the sources: processor time, real time, and the most memory it ever held (issue: 400 MB).
// The figure is the peak resident set of the process as the operating system counts it (getrusage, ru_maxrss).
import { spawnSync } from 'node:child_process';
import fs from 'node:fs';
import os from 'node:os';
import path from 'node:path';

const records = fs.mkdtempSync(path.join(os.tmpdir(), 'spoolbench-demo-'));
const tell = 'process.on("exit",()=>{const u=process.resourceUsage();process.stderr.write(`usage ${u.maxRSS} ${u.userCPUTime+u.systemCPUTime}\\n`)})';
const began = performance.now();
const { status, stderr, stdout } = spawnSync(
  process.execPath, ['--import', `data:text/javascript,${encodeURIComponent(tell)}`, 'bin/spoolbench.mjs', 'run', 'demo/bench/campaigns/scout-settings.yaml', '--records', records, '--quiet', '--json'],
  { encoding: 'utf8', maxBuffer: 1 << 28, env: { ...process.env, SPOOLBENCH_SOURCES: '1' } },
);
const took_s = (performance.now() - began) / 1000;
const usage = /usage (\d+) (\d+)/.exec(stderr);
if (status !== 0 || usage === null) throw new Error(`the demo ended with ${String(status)}: ${stderr}`);
const { good, planned } = JSON.parse(stdout) as { good: number; planned: number };
console.log(`demo campaign, from the sources: ${good} of ${planned} runs good, ${took_s.toFixed(0)} s of real time, ${(Number(usage[2]) / 1e6).toFixed(0)} s of processor time, at most ${(Number(usage[1]) / 1000).toFixed(0)} MB in memory`);
fs.rmSync(records, { recursive: true });
