// A bench folder in a temporary place and runs on it in virtual time, with the throttle of every tick as the simulated ESC got it.
import fs from 'node:fs';
import os from 'node:os';
import path from 'node:path';
import { map, merge, of, Subject, timer } from 'rxjs';
import { prepareCampaign, type ReadyCampaign, type ReadyProtocol } from '../../src/app/prepare';
import { attachmentsOf, runHeader } from '../../src/app/record-header';
import type { Reporter } from '../../src/app/reporter';
import { runOnce, type RunResult } from '../../src/app/run-once';
import { TwinWorld, type TwinWorldInput } from '../../src/app/twin-world';
import type { BenchEvent } from '../../src/model/events';
import { readRecord } from '../../src/record/file-reader';
import type { OpenOptions } from '../../src/record/file-writer';
import type { RunRecord } from '../../src/record/reader';
import { timelineOf, type Timeline } from '../../src/record/timeline';
import type { OperatorRequest } from '../../src/sequencer/options';
import { MapCache } from '../../src/twin/physics';

const DEMO = path.resolve(import.meta.dirname, '../../demo/bench');
const MAPS = new MapCache();

/** Replacements in the demo's files: what stands there, and what shall stand there. A text that is not found is an error. */
export interface Edits {
  readonly rig?: readonly (readonly [string, string])[];
  readonly article?: readonly (readonly [string, string])[];
  readonly campaign?: readonly (readonly [string, string])[];
  /** Whole files, by path in the bench folder. */
  readonly files?: Readonly<Record<string, string>>;
}

const made: string[] = [];

/** Removes every folder that this test file made. */
export function cleanUp(): void {
  for (const folder of made.splice(0)) fs.rmSync(folder, { recursive: true, force: true });
}

export function tempFolder(): string {
  const folder = fs.mkdtempSync(path.join(os.tmpdir(), 'spoolbench-app-'));
  made.push(folder);
  return folder;
}

function edited(text: string, edits: readonly (readonly [string, string])[] = []): string {
  return edits.reduce((t, [from, to]) => {
    if (!t.includes(from)) throw new Error(`the demo's file no longer says "${from}"`);
    return t.replace(from, () => to);
  }, text);
}

/** The demo's bench folder, with edits, in a temporary place. */
export function benchFolder(edits: Edits = {}): string {
  const folder = tempFolder();
  fs.cpSync(DEMO, folder, { recursive: true, filter: (source) => path.basename(source) !== 'records' });
  const change = (file: string, list: Edits['rig']): void => {
    const at = path.join(folder, file);
    fs.writeFileSync(at, edited(fs.readFileSync(at, 'utf8'), list));
  };
  change('rig.yaml', edits.rig);
  change('article.yaml', edits.article);
  change('campaigns/scout-settings.yaml', edits.campaign);
  for (const [file, text] of Object.entries(edits.files ?? {})) {
    fs.mkdirSync(path.dirname(path.join(folder, file)), { recursive: true });
    fs.writeFileSync(path.join(folder, file), text);
  }
  return folder;
}

export const SILENT: Reporter = {
  note: () => undefined, alarm: () => undefined, runStarted: () => undefined, segment: () => undefined, live: () => undefined, preparing: () => undefined, progress: () => undefined, soFar: () => undefined,
  event: () => undefined, runEnded: () => undefined,
};

/** What the simulated ESC was given, one entry a controller tick: device time at the tick's end, and throttle 0..1. */
export interface Ticks {
  readonly end_us: number[];
  readonly throttle: number[];
}

export interface PlayOptions extends Edits {
  readonly set?: readonly string[];
  readonly seed?: number;
  readonly layers?: (ready: ReadyCampaign) => TwinWorldInput['layers'];
  /** Called before the run, with the world as it is. */
  readonly before?: (world: TwinWorld) => void;
  /** Called with every event of the run; may ask for something. */
  readonly react?: (event: BenchEvent, ask: (request: OperatorRequest) => void, world: TwinWorld) => void;
  /** What the operator asks for, and when, s of device time after the run began; 0: at once. */
  readonly asks?: readonly (readonly [at_s: number, request: OperatorRequest])[];
  readonly open?: OpenOptions;
  readonly zero_s?: number;
}

export interface Played {
  readonly result: RunResult;
  readonly record: RunRecord;
  readonly line: Timeline;
  readonly ticks: Ticks;
  readonly world: TwinWorld;
  readonly ready: ReadyCampaign;
  readonly folder: string;
  /** True speed when the run said that the motor stands still (or gave up), rpm. */
  readonly still_rpm: number;
  /** Device time at which the run began: faults in the rig file count from here. */
  readonly began_us: number;
}

/** Loads a bench and opens its world: greeted, supply and propeller as the protocol needs them. */
export async function openBench(target: string, options: PlayOptions = {}): Promise<{ ready: ReadyCampaign; world: TwinWorld; protocol: ReadyProtocol; ticks: Ticks; folder: string }> {
  const folder = benchFolder(options);
  const file = target.includes('/') ? path.join(folder, target) : target;
  const ready = prepareCampaign(file, { bench: folder, set: options.set ?? [] });
  const layers = options.layers?.(ready);
  const world = new TwinWorld({
    rig: ready.rig, article: ready.article, channels: ready.channels, maps: MAPS, breathe: () => Promise.resolve(), now_ms: () => 0,
    ...(options.seed === undefined ? {} : { seed: options.seed }), ...(layers === undefined ? {} : { layers }),
  });
  const ticks = watchTicks(world);
  await world.connect();
  const [protocol] = ready.protocols.values();
  const { propeller, supply_V } = protocol.prepared.needs;
  if (propeller !== 'any') await world.setPropeller(propeller === 'on');
  await world.setSupply(supply_V ?? ready.article.nominal_voltage_V);
  await world.playUntil(() => false, 1);
  return { ready, world, protocol, ticks, folder };
}

function watchTicks(world: TwinWorld): Ticks {
  const ticks: Ticks = { end_us: [], throttle: [] };
  const sim = world.simulated;
  const step = sim.step.bind(sim);
  sim.step = (throttle, dt_us) => {
    ticks.end_us.push(sim.now_us + dt_us);
    ticks.throttle.push(throttle);
    step(throttle, dt_us);
  };
  return ticks;
}

let runs = 0;

/** Plays one protocol on a bench and reads its record back. */
export async function playOn(bench: Awaited<ReturnType<typeof openBench>>, options: PlayOptions = {}): Promise<Played> {
  const { ready, world, protocol, ticks, folder } = bench;
  options.before?.(world);
  const requests = new Subject<OperatorRequest>();
  const timed = (options.asks ?? []).map(([at_s, request]) => (at_s === 0 ? of(request) : timer(at_s * 1000, world.clock.scheduler).pipe(map(() => request))));
  let still_rpm = Infinity;
  const listening = world.bench.events.subscribe((event) => {
    if (event.type === 'stopped') still_rpm = world.simulated.truth.speed_rpm;
    options.react?.(event, (r) => requests.next(r), world);
  });
  const file = path.join(folder, `run-${++runs}.mcap`);
  const began_us = world.simulated.now_us;
  world.beginRun();
  const { propeller } = protocol.prepared.needs;
  const result = await runOnce({
    world, protocol, reporter: SILENT, requests: merge(requests, ...timed), path: file, zero_s: options.zero_s ?? 0,
    header: runHeader({ ready, protocol, run: ready.plan.runs[0], supply_V: ready.article.nominal_voltage_V, propeller: propeller !== 'off', seed: 1 }),
    attachments: attachmentsOf(ready), ...(options.open === undefined ? {} : { open: options.open }),
  });
  world.endRun();
  listening.unsubscribe();
  const record = readRecord(file);
  const line = timelineOf(record);
  if (line === null) throw new Error(`${file} has no header`);
  return { result, record, line, ticks, world, ready, folder, still_rpm, began_us };
}

/** Both: a bench, one run, its record. */
export async function play(target: string, options: PlayOptions = {}): Promise<Played> {
  return await playOn(await openBench(target, options), options);
}

export const eventsOf = <T extends BenchEvent['type']>(record: RunRecord, type: T): Extract<BenchEvent, { type: T }>[] =>
  record.events.filter((e): e is Extract<BenchEvent, { type: T }> => e.type === type);
