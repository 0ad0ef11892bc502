// Campaigns for tests: on the twin with a protocol of a tenth of a second, or on a bench that only pretends to run.
import fs from 'node:fs';
import path from 'node:path';
import { NEVER, Subject, VirtualTimeScheduler } from 'rxjs';
import { CampaignFolder, type JournalFile } from '../../src/app/campaign-folder';
import { runCampaign, type CampaignEnd, type CampaignInput } from '../../src/app/campaign-run';
import { NOBODY, type Operator } from '../../src/app/operator';
import { prepareCampaign, type ReadyCampaign } from '../../src/app/prepare';
import type { Reporter } from '../../src/app/reporter';
import { TwinWorld } from '../../src/app/twin-world';
import type { World } from '../../src/app/world';
import { readJournal, type JournalEntry } from '../../src/campaign';
import type { RunOutcome } from '../../src/model/events';
import type { OperatorRequest } from '../../src/sequencer/options';
import { MapCache } from '../../src/twin/physics';
import { benchFolder, SILENT, type Edits } from './kit';

export const MAPS = new MapCache();

/** A protocol as short as can be. */
export const BLIP = 'spoolbench: 1\nprotocol: blip\nsegments:\n  - { level: { throttle: 10 %, for: 100 ms } }\n';

/** A campaign file of blips, with more lines. */
export function tiny(more: string, head = 'protocols: [blip]\n'): string {
  return `spoolbench: 1\ncampaign: tiny\nrig: ../rig.yaml\narticle: ../article.yaml\n${head}${more}\n`;
}

export interface Bench {
  readonly folder: string;
  readonly records: string;
  readonly file: string;
}

/** The demo's bench with the blip and a campaign `tiny`. */
export function tinyBench(campaign: string, edits: Edits = {}): Bench {
  const folder = benchFolder({ ...edits, files: { 'protocols/blip.yaml': BLIP, 'campaigns/tiny.yaml': campaign, ...edits.files } });
  return { folder, records: path.join(folder, 'records'), file: path.join(folder, 'campaigns/tiny.yaml') };
}

export interface Words {
  readonly reporter: Reporter;
  readonly notes: string[];
  readonly runs: string[];
}

/** A reporter that keeps what it is told. */
export function listening(): Words {
  const notes: string[] = [];
  const runs: string[] = [];
  return {
    notes, runs,
    reporter: { ...SILENT, note: (text) => notes.push(text), runEnded: (news) => runs.push(`${news.title.index} ${news.outcome.outcome}`) },
  };
}

export interface SessionOptions {
  readonly resume?: boolean;
  readonly trySkipped?: boolean;
  readonly operator?: Operator;
  readonly words?: Words;
  readonly openJournal?: (path: string) => JournalFile;
  readonly world?: (ready: ReadyCampaign) => World;
  readonly playRun?: CampaignInput['playRun'];
  /** Called with the way to ask for something, once the session begins. */
  readonly begin?: (ask: (request: OperatorRequest) => void) => void;
}

/** One session of a campaign, in process. The folder is given back however it ends, as the system does for a dead process. */
export async function session(bench: Bench, options: SessionOptions = {}): Promise<CampaignEnd> {
  const ready = prepareCampaign(bench.file);
  const how = { ...(options.openJournal === undefined ? {} : { openJournal: options.openJournal }), trySkipped: options.trySkipped ?? false };
  const folder = options.resume === true ? CampaignFolder.resume(bench.records, ready, how) : CampaignFolder.start(bench.records, ready, how);
  const world = options.world?.(ready) ?? twin(ready);
  const requests = new Subject<OperatorRequest>();
  try {
    await world.connect();
    options.begin?.((request) => requests.next(request));
    return await runCampaign({
      ready, world, folder, requests, reporter: options.words?.reporter ?? SILENT, operator: options.operator ?? NOBODY,
      figures: () => ({ text: '', values: {} }), ...(options.playRun === undefined ? {} : { playRun: options.playRun }),
    });
  } finally {
    world.close();
    folder.close();
  }
}

export function twin(ready: ReadyCampaign): TwinWorld {
  return new TwinWorld(twinInput(ready));
}

export function twinInput(ready: ReadyCampaign): ConstructorParameters<typeof TwinWorld>[0] {
  return { rig: ready.rig, article: ready.article, channels: ready.channels, maps: MAPS, breathe: () => new Promise((done) => { setImmediate(done); }), now_ms: () => performance.now() };
}

/** The campaign's folders below `records`, oldest first. */
export function foldersIn(bench: Bench): string[] {
  return fs.existsSync(bench.records) ? fs.readdirSync(bench.records).sort().map((name) => path.join(bench.records, name)) : [];
}

export function journalOf(folder: string): readonly JournalEntry[] {
  return readJournal(fs.readFileSync(path.join(folder, 'journal.jsonl'), 'utf8')).entries;
}

/** What the journal says of one kind of thing. */
export function notedIn(folder: string, what: string): { readonly run: number; readonly data: Record<string, unknown> }[] {
  return journalOf(folder).flatMap((e) => (e.type === 'noted' && e.what === what ? [{ run: e.run, data: e.data as Record<string, unknown> }] : []));
}

export const GOOD: RunOutcome = {
  outcome: 'done', stop_confirmed: true, trip: null, also: [], segments_played: 1, desyncs: 0, closest: [], detail: 'pretended',
};

/** A bench that only pretends: nothing turns, no time passes, and it remembers what was set. */
export class PretendedWorld implements World {
  readonly set: Record<string, number | boolean> = {};
  readonly blocks = NEVER;
  private now = 0;
  readonly clock = { scheduler: new VirtualTimeScheduler(), now_us: () => this.now };
  readonly bench: World['bench'] = {
    blocks: NEVER, events: NEVER, permit: () => ({ granted: true, reasons: [] }), arm: () => NEVER, feed: () => undefined, start: () => undefined,
    endSegment: () => undefined, finishSegment: () => undefined, stopNow: () => undefined, beat: () => undefined, closest: () => [],
  };
  connect = (): Promise<void> => Promise.resolve();
  playUntil(done: () => boolean, within_s = 0): Promise<boolean> {
    if (!done()) this.now += within_s * 1e6;
    return Promise.resolve(done());
  }
  readings() {
    return { motor_degC: 25, esc_degC: 25, speed_rpm: null, current_A: 0, voltage_V: null };
  }
  beginRun(): void {
    this.now += 1e6;
  }
  endRun(): void {
    this.now += 1e6;
  }
  setSupply(volts: number): Promise<void> {
    this.set.supply = volts;
    return Promise.resolve();
  }
  outputOff(): Promise<boolean> {
    this.set.output = false;
    return Promise.resolve(true);
  }
  outputOn(): Promise<boolean> {
    this.set.output = true;
    return Promise.resolve(true);
  }
  setPropeller(on: boolean): Promise<void> {
    this.set.propeller = on;
    return Promise.resolve();
  }
  setParameter(name: string, value: number): void {
    this.set[name] = value;
  }
  follow(name: string, value: number | null): void {
    if (value !== null) this.set[name] = value;
  }
  mute(): boolean {
    return false;
  }

  pressStop(): boolean {
    return false;
  }

  remount(mounting: number): Promise<void> {
    this.set.mounting = mounting;
    return Promise.resolve();
  }
  clearTrip = (): Promise<readonly string[]> => Promise.resolve([]);
  close(): void {
    // Nothing is open.
  }
}
