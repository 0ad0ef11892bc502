// Starts the command as a person would, in a bench folder of its own.
import { spawn, spawnSync } from 'node:child_process';
import fs from 'node:fs';
import path from 'node:path';

const BIN = path.resolve(import.meta.dirname, '../../bin/spoolbench.mjs');

export interface Said {
  readonly code: number | null;
  readonly out: string;
  readonly err: string;
}

/** Runs `spoolbench ...args` in `folder` to its end. */
export function spoolbench(folder: string, ...args: readonly string[]): Said {
  const { status, stdout, stderr } = spawnSync(process.execPath, [BIN, ...args], { cwd: folder, encoding: 'utf8', maxBuffer: 1 << 28, env: { ...process.env, NO_COLOR: '1' } });
  return { code: status, out: stdout, err: stderr };
}

/** The same, while it runs: `when` sees everything said so far on standard error and may send signals. */
export async function watched(folder: string, args: readonly string[], when: (err: string, kill: (signal: NodeJS.Signals) => void) => void): Promise<Said> {
  const child = spawn(process.execPath, [BIN, ...args], { cwd: folder, env: { ...process.env, NO_COLOR: '1' }, stdio: ['ignore', 'pipe', 'pipe'] });
  let out = '';
  let err = '';
  child.stdout.on('data', (piece: Buffer) => { out += piece.toString(); });
  child.stderr.on('data', (piece: Buffer) => {
    err += piece.toString();
    when(err, (signal) => child.kill(signal));
  });
  const code = await new Promise<number | null>((resolve) => { child.on('close', resolve); });
  return { code, out, err };
}

/** The folders of campaigns below a parent, oldest first. */
export function campaignsIn(records: string): string[] {
  return fs.existsSync(records) ? fs.readdirSync(records).sort().map((name) => path.join(records, name)) : [];
}

export function recordsIn(campaign: string): string[] {
  return fs.readdirSync(path.join(campaign, 'runs')).sort().map((name) => path.join(campaign, 'runs', name));
}
