// What the tests of the guard need: pseudo-terminals in pairs, simulated boards behind them, benches with a board on a port.
import { fork, spawn, spawnSync, type ChildProcess } from 'node:child_process';
import fs from 'node:fs';
import path from 'node:path';
import { pathToFileURL } from 'node:url';
import { createRequire } from 'node:module';
import { NEVER, type Observable } from 'rxjs';
import { GuardWorld, type GuardWorldInput } from '../../src/app/guard-world';
import { prepareCampaign, type ReadyCampaign, type ReadyProtocol } from '../../src/app/prepare';
import { attachmentsOf, runHeader } from '../../src/app/record-header';
import { runOnce, type RunResult } from '../../src/app/run-once';
import { askForPriority } from '../../src/host/priority';
import type { BenchEvent } from '../../src/model/events';
import type { OperatorRequest } from '../../src/sequencer/options';
import type { TwinHappening } from '../../src/app/twin-serve';
import { readRecord } from '../../src/record/file-reader';
import type { RunRecord } from '../../src/record/reader';
import { benchFolder, SILENT, tempFolder, type Edits } from '../app/kit';
import type { FromTwins, ToTwins } from './child-twins';

/** Debian's socat makes the pseudo-terminals. Without it these tests are left out, and `scripts/test` says so. */
export const HAS_SOCAT = spawnSync('socat', ['-V']).status === 0;

export const sleep = (ms: number): Promise<void> => new Promise((resolve) => { setTimeout(resolve, ms); });

/** Looks until `done`; throws after `within_ms`. */
export async function until(done: () => boolean, within_ms: number, what: string): Promise<void> {
  const end = performance.now() + within_ms;
  while (!done()) {
    if (performance.now() > end) throw new Error(`not within ${within_ms} ms: ${what}`);
    await sleep(5);
  }
}

const undo: (() => void)[] = [];

/** Ends every process that the test file started. */
export function endAll(): void {
  for (const end of undo.splice(0).reverse()) end();
}

/** A cable: what is written on one end is read on the other. */
export interface Cable {
  readonly host: string;
  readonly board: string;
  /** Pulls the plug. */
  readonly pull: () => void;
}

export async function cable(folder = tempFolder()): Promise<Cable> {
  const host = path.join(folder, 'host');
  const board = path.join(folder, 'board');
  const socat = spawn('socat', [`pty,raw,echo=0,link=${host}`, `pty,raw,echo=0,link=${board}`], { stdio: 'ignore' });
  undo.push(() => socat.kill('SIGKILL'));
  // A cable does not wait for other programs.
  if (socat.pid !== undefined) askForPriority(socat.pid);
  await until(() => fs.existsSync(host) && fs.existsSync(board), 10_000, 'a pair of pseudo-terminals');
  const pull = (): void => {
    // The names go with the plug: the numbers behind them may soon be somebody else's terminals.
    fs.rmSync(host, { force: true });
    fs.rmSync(board, { force: true });
    socat.kill('SIGKILL');
  };
  return { host, board, pull };
}

const TSX = ['--import', pathToFileURL(createRequire(import.meta.url).resolve('tsx')).href];

/** A child script of this folder. */
export function child(script: string, args: readonly string[] = []): ChildProcess {
  const made = fork(path.join(import.meta.dirname, script), args, { execArgv: TSX, stdio: ['ignore', 'pipe', 'inherit', 'ipc'] });
  undo.push(() => made.kill('SIGKILL'));
  return made;
}

/** Simulated boards, all in one process of their own. */
export class Twins {
  private readonly process: ChildProcess;
  private readonly said: FromTwins[] = [];

  constructor() {
    this.process = child('child-twins.ts');
    this.process.on('message', (message) => { this.said.push(message as FromTwins); });
  }

  async serve(port: string, bench: string, target: string, seed = 1): Promise<void> {
    this.send({ order: 'serve', port, bench, target: targetIn(bench, target), seed });
    const answer = (): FromTwins | undefined => this.said.find((m) => m.port === port && (m.said === 'served' || m.said === 'failed'));
    await until(() => answer() !== undefined, 60_000, `a simulated board on ${port}`);
    const said = answer();
    if (said?.said === 'failed') throw new Error(said.text);
  }

  hands(port: string, line: string): void {
    this.send({ order: 'hands', port, line });
  }

  /** What happened behind a port so far, with the time of the shared clock. */
  happened(port: string): { at_us: number; happening: TwinHappening }[] {
    return this.said.flatMap((m) => (m.said === 'happened' && m.port === port ? [{ at_us: m.at_us, happening: m.happening }] : []));
  }

  /** Board states in order, a tripped one with its cause. */
  states(port: string): string[] {
    return this.happened(port).flatMap(({ happening: h }) => (h.what === 'state' ? [h.cause === null ? h.state : `${h.state} ${h.cause}`] : []));
  }

  /** When the board was last in that state, µs of the shared clock. */
  when(port: string, state: string): number | undefined {
    return this.happened(port).findLast(({ happening: h }) => h.what === 'state' && h.state === state)?.at_us;
  }

  private send(order: ToTwins): void {
    this.process.send(order);
  }
}

/** A protocol as short as serves: up, a level, down. */
export const SHORT = (level_s: number): string => `spoolbench: 1
protocol: short
segments:
  - { level: { throttle: 15 %, for: 300 ms } }
  - { level: { throttle: 40 %, for: ${level_s} s } }
  - { ramp: { to: 0 %, in: 300 ms } }
`;

/** Slow computers pause processes: limits on silence that a busy test machine keeps. Tests of those limits state their own. */
const PATIENT = 400;

export interface SerialEdits extends Edits {
  readonly port: string;
  readonly silence_ms?: number;
  readonly host_silence_ms?: number;
  /** What the supply stands at, V; the demo's 7.6 V when left out. */
  readonly supply_V?: number;
  readonly propeller?: 'on' | 'off';
  readonly level_s?: number;
}

/** The demo's bench with a board on a port. */
export function serialBench(edits: SerialEdits): string {
  const volts = edits.supply_V ?? 7.6;
  return benchFolder({
    ...edits,
    rig: [
      ['link: { kind: twin, twin: scout, seed: 1 }', `link: { kind: serial, simulated: true, port: ${edits.port}, silence: ${edits.silence_ms ?? PATIENT} ms }`],
      ['supply: { kind: twin, voltage: 7.6 V', `supply: { kind: manual, voltage: ${volts} V`],
      ['host_silence: 100 ms', `host_silence: ${edits.host_silence_ms ?? PATIENT} ms`],
      ['within: 6 s', 'within: 2 s'],
      ...(edits.rig ?? []),
    ],
    article: [['mounted: on', `mounted: ${edits.propeller ?? 'on'}`], ...(volts === 7.6 ? [] : [['nominal_voltage: 7.6 V', `nominal_voltage: ${volts} V`]] as const), ...(edits.article ?? [])],
    files: { 'protocols/short.yaml': SHORT(edits.level_s ?? 2), ...edits.files },
  });
}

/** A protocol file of the bench, or the name of a built-in protocol. */
function targetIn(bench: string, target: string): string {
  return target.includes('/') ? path.join(bench, target) : target;
}

/** A bench that is loaded, with its guard, and greeted. */
export interface Connected {
  readonly ready: ReadyCampaign;
  readonly protocol: ReadyProtocol;
  readonly world: GuardWorld;
  readonly events: readonly BenchEvent[];
  readonly notes: readonly string[];
}

/** Loads a bench, starts its guard and greets the board. Rejects with what `connect` rejects with. */
export async function connected(bench: string, target: string, set: readonly string[] = [], more: Partial<GuardWorldInput> = {}): Promise<Connected> {
  // This process stands for a main process that has the computer to itself.
  askForPriority();
  const ready = prepareCampaign(targetIn(bench, target), { bench, set });
  const notes: string[] = [];
  const events: BenchEvent[] = [];
  const world = new GuardWorld({ rig: ready.rig, article: ready.article, channels: ready.channels, note: (text) => { notes.push(text); }, ...more });
  undo.push(() => { if (world.guardPid !== undefined) kill(world.guardPid); });
  world.bench.events.subscribe((event) => { events.push(event); });
  const [protocol] = ready.protocols.values();
  await world.connect();
  return { ready, protocol, world, events, notes };
}

function kill(pid: number): void {
  try {
    process.kill(pid, 'SIGKILL');
  } catch {
    // It has ended by itself.
  }
}

export interface Ran {
  readonly result: RunResult;
  readonly record: RunRecord;
}

let runs = 0;

/** Plays the protocol once and reads its record. */
export async function playOnce({ ready, protocol, world }: Connected, zero_s = 0, requests: Observable<OperatorRequest> = NEVER): Promise<Ran> {
  const file = path.join(ready.folder, `run-${++runs}.mcap`);
  const { propeller } = protocol.prepared.needs;
  const result = await runOnce({
    world, protocol, requests, reporter: SILENT, path: file, zero_s, attachments: attachmentsOf(ready),
    header: runHeader({ ready, protocol, run: ready.plan.runs[0], supply_V: ready.rig.supply.voltage_V, propeller: propeller !== 'off', seed: null }),
  });
  return { result, record: readRecord(file) };
}
