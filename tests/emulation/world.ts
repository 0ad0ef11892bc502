// The emulated bench as a world of the use cases: the same station, protocols, limits and records as on every other bench, with
// the Firmata board in between. Virtual time.
import fs from 'node:fs';
import os from 'node:os';
import path from 'node:path';
import { Observable, Subject } from 'rxjs';
import { prepareCampaign, type ReadyCampaign } from '../../src/app/prepare';
import { attachmentsOf, runHeader } from '../../src/app/record-header';
import { runOnce, type RunResult } from '../../src/app/run-once';
import { DeviceClock } from '../../src/app/virtual-time';
import type { World } from '../../src/app/world';
import { openFirmataBoard } from '../../src/host/firmata/firmata-board';
import type { BoardPort } from '../../src/host/board-port';
import type { BenchEvent } from '../../src/model/events';
import type { SampleBlock } from '../../src/model/sample';
import type { Permit } from '../../src/model/trip';
import { readRecord } from '../../src/record/file-reader';
import type { RunRecord } from '../../src/record/reader';
import { Station } from '../../src/station/station';
import type { Bench } from '../../src/sequencer/ports';
import { SILENT } from '../app/kit';
import { DriveEnd } from './drive-end';
import { Lockstep } from './lockstep';

const DEMO = path.resolve(import.meta.dirname, '../../demo/firmata-bench');
const STATION_EVERY_MS = 5;

const made: string[] = [];

export function cleanUp(): void {
  for (const folder of made.splice(0)) fs.rmSync(folder, { recursive: true, force: true });
}

export interface BenchOptions {
  readonly rig?: readonly (readonly [string, string])[];
  readonly article?: readonly (readonly [string, string])[];
  readonly files?: Readonly<Record<string, string>>;
}

/** Edits for a bus with more parts than 10 ms have room for. */
export const EVERY_20_MS = [
  ['tick: 10 ms', 'tick: 20 ms'], ['row_rate: 100 Hz', 'row_rate: 50 Hz'], ...Array.from({ length: 4 }, () => ['period: 10 ms', 'period: 20 ms'] as const),
  ['averages: 10', 'averages: 5'], ['averages: 10', 'averages: 5'],
] as const;

const EMULATED = ['  kind: firmata\n', '  kind: firmata\n  simulated: true\n'] as const;

/** The example's bench folder, declared as emulated, with edits, in a temporary place. */
export function firmataFolder(options: BenchOptions = {}): string {
  const folder = fs.mkdtempSync(path.join(os.tmpdir(), 'spoolbench-firmata-'));
  made.push(folder);
  for (const [file, edits] of [['rig.yaml', [EMULATED, ...(options.rig ?? [])]], ['article.yaml', options.article]] as const) {
    const text = fs.readFileSync(path.join(DEMO, file), 'utf8');
    fs.writeFileSync(path.join(folder, file), (edits ?? []).reduce((t, [from, to]) => {
      if (!t.includes(from)) throw new Error(`the example's ${file} no longer says "${from}"`);
      return t.replace(from, () => to);
    }, text));
  }
  for (const [file, text] of Object.entries(options.files ?? {})) {
    fs.mkdirSync(path.dirname(path.join(folder, file)), { recursive: true });
    fs.writeFileSync(path.join(folder, file), text);
  }
  return folder;
}

export class EmulatedBench {
  readonly lock: Lockstep;
  readonly drive: DriveEnd;
  readonly clock = new DeviceClock();
  readonly events: BenchEvent[] = [];
  /** Why the board was lost; null while it is there. */
  lost: string | null = null;
  /** Bench time at tick 0 of the board, to about a tick. */
  origin_us = 0;
  private port: BoardPort | null = null;
  private readonly blockSubject = new Subject<SampleBlock>();
  private readonly eventSubject = new Subject<BenchEvent>();
  readonly station: Station;

  constructor(flash: Uint16Array, readonly ready: ReadyCampaign) {
    const { rig, article, channels } = ready;
    this.lock = new Lockstep(flash);
    this.drive = new DriveEnd(this.lock, rig, article);
    const propeller = [...ready.protocols.values()].every((p) => p.prepared.needs.propeller !== 'off');
    this.drive.sim.setPropeller(propeller);
    this.station = new Station({
      rig, article, facts: channels, supply_V: rig.supply.voltage_V, propeller,
      send: (bytes) => this.port?.send(bytes),
      onBlock: (block) => this.blockSubject.next(block),
      onEvent: (event) => {
        this.events.push(event);
        this.eventSubject.next(event);
      },
    });
  }

  /** Opens and greets the board; every refusal of the board rejects. */
  async open(): Promise<void> {
    const opening = openFirmataBoard(this.ready.rig, { openPort: this.lock.openPort, time: this.lock.time })({
      onBytes: (bytes) => this.station.receive(bytes),
      onLost: (reason) => { this.lost = reason; },
    });
    this.port = await this.lock.settle(opening);
    this.lock.time.every(STATION_EVERY_MS, () => {
      this.station.hostTime(this.lock.now_us);
      const device_us = this.station.now_us();
      this.clock.advanceTo(device_us);
    });
    let problem: string | null | undefined;
    this.station.connect((error) => { problem = error === null ? null : error.message; });
    this.playFor(3, () => problem !== undefined);
    if (problem !== null) throw new Error(problem ?? 'no answer to the handshake');
    this.playFor(0.5);
    this.origin_us = this.lock.now_us - this.station.now_us();
  }

  /** Lets the bench go on for so long, or until `done`. */
  playFor(seconds: number, done: () => boolean = () => false): boolean {
    const end_us = this.lock.now_us + seconds * 1e6;
    while (!done()) {
      if (this.lock.now_us >= end_us) return false;
      this.lock.step();
    }
    return true;
  }

  /** Arms, and starts a level of the throttle by the wire, as the sequencer would. */
  driveAt(throttle: number, duration_s: number): void {
    this.station.beat();
    let permit: Permit | null = null;
    this.station.arm((p) => { permit = p; });
    this.playFor(1, () => permit !== null);
    const got = permit as Permit | null;
    if (got?.granted !== true) throw new Error(`not armed: ${got?.reasons.join(' ') ?? 'no answer'}`);
    this.station.feed([{ ordinal: 1, last: true, segment: { kind: 'level', throttle, duration_s, label: 'level', role: 'level' } }]);
    this.station.start(duration_s + 2);
  }

  /** As `playFor`, with a main process that shows itself. */
  playAlive(seconds: number, done: () => boolean = () => false): boolean {
    const stop = this.lock.time.every(50, () => this.station.beat());
    const reached = this.playFor(seconds, done);
    stop();
    return reached;
  }

  world(): World {
    const { lock } = this;
    const none = (): Promise<boolean> => Promise.resolve(false);
    return {
      bench: this.lifted(), clock: this.clock, blocks: this.blockSubject.asObservable(),
      connect: () => Promise.resolve(),
      playUntil: async (done, within_s = Infinity) => {
        const end_us = lock.now_us + within_s * 1e6;
        for (let i = 0; !done(); i++) {
          if (lock.now_us >= end_us) return false;
          lock.step();
          if (i % 50 === 0) await Promise.resolve();
        }
        return true;
      },
      readings: () => ({ motor_degC: null, esc_degC: null, speed_rpm: null, current_A: null, voltage_V: null }),
      beginRun: () => undefined, endRun: () => undefined, setSupply: () => Promise.resolve(), outputOff: none, outputOn: none,
      setPropeller: () => Promise.resolve(), setParameter: () => undefined, follow: () => undefined, remount: () => Promise.resolve(),
      clearTrip: () => Promise.resolve([]), close: () => undefined, mute: () => false, pressStop: () => false,
    };
  }

  async closed(): Promise<void> {
    await this.port?.close();
  }

  private lifted(): Bench {
    const { station } = this;
    return {
      blocks: this.blockSubject.asObservable(),
      events: this.eventSubject.asObservable(),
      permit: () => station.permit(),
      arm: () => new Observable<Permit>((subscriber) => {
        station.arm((permit) => {
          subscriber.next(permit);
          subscriber.complete();
        });
      }),
      feed: (segments) => station.feed(segments),
      start: (bound_s) => station.start(bound_s),
      endSegment: (ordinal) => station.endSegment(ordinal),
      finishSegment: () => station.finishSegment(),
      stopNow: () => station.stopNow(),
      beat: () => station.beat(),
      closest: () => station.closest(),
    };
  }
}

export interface EmulatedRun {
  readonly result: RunResult;
  readonly record: RunRecord;
  readonly bench: EmulatedBench;
  readonly ready: ReadyCampaign;
}

/** One protocol on the emulated board, recorded as any other run. */
export async function playEmulated(flash: Uint16Array, target: string, set: readonly string[], options: BenchOptions = {}): Promise<EmulatedRun> {
  const folder = firmataFolder(options);
  const ready = prepareCampaign(target.includes('/') ? path.join(folder, target) : target, { bench: folder, set });
  const bench = new EmulatedBench(flash, ready);
  await bench.open();
  const [protocol] = ready.protocols.values();
  const file = path.join(folder, 'run.mcap');
  const result = await runOnce({
    world: bench.world(), protocol, reporter: SILENT, requests: new Subject(), path: file, zero_s: 0,
    header: runHeader({ ready, protocol, run: ready.plan.runs[0], supply_V: ready.rig.supply.voltage_V, propeller: protocol.prepared.needs.propeller !== 'off', seed: null }),
    attachments: attachmentsOf(ready),
  });
  await bench.closed();
  return { result, record: readRecord(file), bench, ready };
}
