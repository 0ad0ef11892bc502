// Programs of the user: started without a shell, fed on standard input, given a time, and ended for good when it is up.
import { spawn } from 'node:child_process';
import { accessSync, constants, statSync } from 'node:fs';
import { delimiter, isAbsolute, join, resolve } from 'node:path';
import { errorCode } from './files';

export interface ProgramCall {
  /** Program and arguments. A program with a slash in it is looked for from `folder`, any other on the PATH. */
  readonly command: readonly string[];
  readonly folder: string;
  /** Written to its standard input, which is then closed. */
  readonly input: string;
  readonly time_limit_s: number;
  /** Ends it early. */
  readonly signal?: AbortSignal;
}

export interface ProgramResult {
  /** `ended` by itself with `exit_code`; `killed` by somebody else's signal; `overdue` and killed here; `missing`: could not be started. */
  readonly how: 'ended' | 'killed' | 'overdue' | 'stopped' | 'missing';
  readonly exit_code: number | null;
  readonly stdout: string;
  readonly stderr: string;
  /** One sentence for a person. */
  readonly detail: string;
}

/** Of each output stream so much is kept; the beginning and the end, with what was left out between. */
const KEPT_BYTES = 64 * 1024;
/** A killed program's pipes are given so long to close, ms: a grandchild may hold them open. */
const CLOSING_MS = 500;

/** Runs a program to its end. Never rejects: what goes wrong is a result. */
export function runProgram(call: ProgramCall): Promise<ProgramResult> {
  const [name, ...args] = call.command;
  const found = findProgram(name ?? '', call.folder);
  if (found.path === null) return Promise.resolve({ how: 'missing', exit_code: null, stdout: '', stderr: '', detail: found.why });
  const path = found.path;
  return new Promise((resolvePromise) => {
    // In a group of its own, so that Ctrl-C at the terminal does not reach it and all of its children can be ended.
    const child = spawn(path, args, { cwd: call.folder, stdio: ['pipe', 'pipe', 'pipe'], detached: true });
    const out = new Kept();
    const err = new Kept();
    let ending: 'overdue' | 'stopped' | null = null;
    let closing: NodeJS.Timeout | undefined;
    const finish = (how: ProgramResult['how'], exit_code: number | null, detail: string): void => {
      clearTimeout(limit);
      clearTimeout(closing);
      call.signal?.removeEventListener('abort', stop);
      child.stdout.destroy();
      child.stderr.destroy();
      resolvePromise({ how, exit_code, stdout: out.text(), stderr: err.text(), detail });
    };
    const end = (why: 'overdue' | 'stopped'): void => {
      ending ??= why;
      killGroup(child.pid);
      closing ??= setTimeout(() => { ended(null, 'SIGKILL'); }, CLOSING_MS);
    };
    const stop = (): void => { end('stopped'); };
    const ended = (code: number | null, signal: NodeJS.Signals | null): void => {
      if (ending === 'overdue') finish('overdue', null, `${name} did not end within ${call.time_limit_s} s and was killed`);
      else if (ending === 'stopped') finish('stopped', null, `${name} was killed because a person stopped the campaign`);
      else if (signal !== null) finish('killed', null, `${name} was ended by ${signal}`);
      else finish('ended', code, `${name} ended with exit code ${code}`);
    };
    const limit = setTimeout(() => { end('overdue'); }, call.time_limit_s * 1000);
    call.signal?.addEventListener('abort', stop);
    if (call.signal?.aborted === true) end('stopped');
    child.stdout.on('data', (piece: Buffer) => { out.add(piece); });
    child.stderr.on('data', (piece: Buffer) => { err.add(piece); });
    child.on('error', (error) => { finish('missing', null, `${name} could not be started: ${errorCode(error) || error.message}`); });
    child.on('close', ended);
    // A program need not read what it is given.
    child.stdin.on('error', () => undefined);
    child.stdin.end(call.input);
  });
}

/** Where a program is, or why it cannot be run. */
export function findProgram(name: string, folder: string): { readonly path: string; readonly why: '' } | { readonly path: null; readonly why: string } {
  if (name.includes('/') || isAbsolute(name)) {
    const path = resolve(folder, name);
    const why = unfit(path);
    return why === null ? { path, why: '' } : { path: null, why: `${path}: ${why}` };
  }
  for (const at of (process.env.PATH ?? '').split(delimiter)) {
    if (at !== '' && unfit(join(at, name)) === null) return { path: join(at, name), why: '' };
  }
  return { path: null, why: `${name}: there is no such program on the PATH` };
}

function unfit(path: string): string | null {
  try {
    if (statSync(path).isDirectory()) return 'this is a folder, a program is needed';
    accessSync(path, constants.X_OK);
    return null;
  } catch (error) {
    return errorCode(error) === 'EACCES' ? 'it may not be executed (chmod +x)' : 'there is no such program';
  }
}

function killGroup(pid: number | undefined): void {
  if (pid === undefined) return;
  try {
    process.kill(-pid, 'SIGKILL');
  } catch (error) {
    if (errorCode(error) !== 'ESRCH') throw error;
  }
}

/** Output that may be endless: its beginning and its end. */
class Kept {
  private readonly head: Buffer[] = [];
  private headBytes = 0;
  private tail: Buffer = Buffer.alloc(0);
  private dropped = 0;

  add(piece: Buffer): void {
    const room = Math.max(0, KEPT_BYTES / 2 - this.headBytes);
    if (room > 0) this.head.push(piece.subarray(0, room));
    this.headBytes += Math.min(room, piece.length);
    const rest = Buffer.concat([this.tail, piece.subarray(room)]);
    const over = Math.max(0, rest.length - KEPT_BYTES / 2);
    this.dropped += over;
    this.tail = rest.subarray(over);
  }

  text(): string {
    const gap = this.dropped > 0 ? `\n… ${this.dropped} bytes left out …\n` : '';
    return Buffer.concat(this.head).toString('utf8') + gap + this.tail.toString('utf8');
  }
}
