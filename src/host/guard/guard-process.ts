// The main process's end of the guard: starts it, talks to it, and notices when it is gone.
import { fork, type ChildProcess } from 'node:child_process';
import { existsSync } from 'node:fs';
import { createRequire } from 'node:module';
import { fileURLToPath, pathToFileURL } from 'node:url';
import { GUARD_SILENT_MS, type FromGuard, type ToGuard } from './messages';

/** Another way to run a guard, for tests. */
export type StartGuard = (listener: GuardListener) => GuardHandle;

export interface GuardListener {
  readonly message: (message: FromGuard) => void;
  /** The guard is gone: ended, killed or stuck. Told once, after its last message. The board's deadman has the motor then. */
  readonly gone: (reason: string) => void;
}

export interface GuardHandle {
  /** Process id, for messages. */
  readonly pid: number | undefined;
  post(message: ToGuard): void;
  /** Asks the guard to stop the motor and to leave; resolves when it has ended. */
  close(): Promise<void>;
}

const WATCH_MS = 100;
/** Starting the process, from sources on a busy computer, ms. */
const START_WITHIN_MS = 30_000;
/** A guard that was asked to leave and stays is ended by force, ms: it waits for a motor to coast out. */
const LEAVE_WITHIN_MS = 70_000;

/** Starts the guard process. */
export function startGuard(listener: GuardListener): GuardHandle {
  return new GuardProcess(listener);
}

class GuardProcess implements GuardHandle {
  private readonly child: ChildProcess;
  private readonly watch: NodeJS.Timeout;
  private heard_ms: number;
  private looked_ms: number;
  private ended = false;
  private ready = false;
  private last: string | null = null;

  constructor(private readonly listener: GuardListener) {
    const { path, execArgv, env } = entry();
    // In a session of its own: Ctrl-C at the terminal is for the main process, which needs the guard to stop the motor in order.
    this.child = fork(path, [], { serialization: 'advanced', detached: true, execArgv, env, stdio: ['ignore', 'ignore', 'inherit', 'ipc'] });
    this.heard_ms = performance.now();
    this.looked_ms = this.heard_ms;
    this.child.on('message', (message) => {
      this.heard_ms = performance.now();
      const told = message as FromGuard;
      this.ready = true;
      if (told.type === 'leaving') this.last = told.why;
      listener.message(told);
    });
    this.child.on('error', (error) => this.end(`The guard process could not be started: ${error.message}`));
    // What it said last may still be on the way when it has ended.
    this.child.on('exit', (code, signal) => {
      const reason = this.last ?? `The guard process ended (${signal ?? `exit code ${code}`}).`;
      if (!this.child.connected) this.end(reason);
      this.child.once('disconnect', () => this.end(reason));
    });
    this.watch = setInterval(() => this.look(), WATCH_MS);
  }

  get pid(): number | undefined {
    return this.child.pid;
  }

  post(message: ToGuard): void {
    if (this.ended || !this.child.connected) return;
    this.child.send(message, () => undefined);
  }

  async close(): Promise<void> {
    if (this.ended) return;
    this.post({ type: 'leave' });
    await new Promise<void>((resolve) => {
      const force = setTimeout(() => this.child.kill('SIGKILL'), LEAVE_WITHIN_MS);
      this.child.once('exit', () => {
        clearTimeout(force);
        resolve();
      });
    });
  }

  /** A stuck guard sends no permits: the board stops by itself. Nobody may wait for such a guard. */
  private look(): void {
    const now = performance.now();
    // A pause of this process is no silence of the guard: its messages are read next.
    const paused_ms = now - this.looked_ms - WATCH_MS;
    this.looked_ms = now;
    if (paused_ms > WATCH_MS) this.heard_ms = Math.max(this.heard_ms, now - WATCH_MS);
    const silent_ms = now - this.heard_ms;
    if (silent_ms <= (this.ready ? GUARD_SILENT_MS : START_WITHIN_MS)) return;
    this.child.kill('SIGKILL');
    this.end(`The guard process was silent for ${silent_ms.toFixed(0)} ms and was ended.`);
  }

  private end(reason: string): void {
    if (this.ended) return;
    this.ended = true;
    clearInterval(this.watch);
    this.listener.gone(reason);
  }
}

/**
 * How the engine works in the guard. It tidies its memory by itself (helper threads have ordinary priority, and an abort would
 * wait for them on a busy computer), little by little, and it forgets no code that has been compiled: that of an abort is used rarely.
 */
const ENGINE = ['--single-threaded-gc', '--max-semi-space-size=2', '--no-flush-bytecode', '--always-sparkplug'];

/** The guard's program: beside this one when it is built, else from the sources. */
function entry(): { readonly path: string; readonly execArgv: string[]; readonly env: NodeJS.ProcessEnv } {
  const built = fileURLToPath(new URL('./guard-child.mjs', import.meta.url));
  if (existsSync(built)) return { path: built, execArgv: [...ENGINE], env: process.env };
  const tsx = pathToFileURL(createRequire(import.meta.url).resolve('tsx')).href;
  const settings = fileURLToPath(new URL('../../../tsconfig.json', import.meta.url));
  return { path: fileURLToPath(new URL('./guard-child.ts', import.meta.url)), execArgv: [...ENGINE, '--import', tsx], env: { ...process.env, TSX_TSCONFIG_PATH: settings } };
}
