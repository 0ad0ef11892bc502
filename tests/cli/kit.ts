// Starts the command as a person would, in a bench folder of its own. It is bundled once, because loading every source anew
// costs seconds a start; `asInstalled` takes the long way through bin/.
import { spawn, spawnSync } from 'node:child_process';
import fs from 'node:fs';
import path from 'node:path';

const ROOT = path.resolve(import.meta.dirname, '../..');
const BIN = path.join(ROOT, 'bin/spoolbench.mjs');
let bundle: string | null = null;

/** The command in one file, inside the package, where it finds the packages and the starter bench. */
export function commandFile(): string {
  if (bundle !== null) return bundle;
  const cache = path.join(ROOT, 'node_modules/.cache');
  fs.mkdirSync(cache, { recursive: true });
  const folder = fs.mkdtempSync(path.join(cache, 'spoolbench-cli-'));
  process.on('exit', () => { fs.rmSync(folder, { recursive: true, force: true }); });
  const { status, stderr, stdout } = spawnSync('npx', ['tsdown', 'src/cli/main.ts', '--no-config', '--out-dir', folder, '--format', 'esm', '--logLevel', 'warn'], { cwd: ROOT, encoding: 'utf8' });
  if (status !== 0) throw new Error(`the command could not be bundled: ${stdout}${stderr}`);
  bundle = path.join(folder, 'main.mjs');
  return bundle;
}

export interface Said {
  readonly code: number | null;
  readonly out: string;
  readonly err: string;
}

/** Runs `spoolbench ...args` in `folder` to its end. */
export function spoolbench(folder: string, ...args: readonly string[]): Said {
  return start(commandFile(), folder, args);
}

/** The same through bin/: from dist/ where that is up to date, else from the sources. */
export function asInstalled(folder: string, ...args: readonly string[]): Said {
  return start(BIN, folder, args);
}

function start(script: string, folder: string, args: readonly string[]): Said {
  const { status, stdout, stderr } = spawnSync(process.execPath, [script, ...args], { cwd: folder, encoding: 'utf8', maxBuffer: 1 << 28, env: { ...process.env, NO_COLOR: '1' } });
  return { code: status, out: stdout, err: stderr };
}

/** The same, in the background: `begun` gets the way to send it signals. */
export async function watched(folder: string, args: readonly string[], begun: (kill: (signal: NodeJS.Signals) => void) => void): Promise<Said> {
  const child = spawn(process.execPath, [commandFile(), ...args], { cwd: folder, env: { ...process.env, NO_COLOR: '1' }, stdio: ['ignore', 'pipe', 'pipe'] });
  let out = '';
  let err = '';
  child.stdout.on('data', (piece: Buffer) => { out += piece.toString(); });
  child.stderr.on('data', (piece: Buffer) => { err += piece.toString(); });
  begun((signal) => child.kill(signal));
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
