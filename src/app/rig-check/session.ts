// One run of a check: a world opened for it, a record of it, and what is needed to judge it.
import { timer, type Subject } from 'rxjs';
import type { RunData } from '../../analysis/run-data';
import { join } from '../../host/files';
import type { BenchEvent, RunOutcome } from '../../model/events';
import type { RigLimits } from '../../model/files/rig';
import { readRecord } from '../../record/file-reader';
import type { OperatorRequest } from '../../sequencer/options';
import { NothingToAnalyze, runDataOf } from '../run-data';
import { prepareCampaign, type ReadyCampaign } from '../prepare';
import { attachmentsOf, runHeader } from '../record-header';
import type { Reporter } from '../reporter';
import { runOnce } from '../run-once';
import { RunWatch, type StiffnessNote } from '../run-watch';
import type { World } from '../world';
import { CHECK_PROTOCOLS } from './protocols';

export interface Layers {
  readonly station?: RigLimits;
  readonly board?: RigLimits;
}

export interface CheckBench {
  /** Bench folder. */
  readonly bench: string;
  /** Folder of this check's records. */
  readonly records: string;
  readonly reporter: Reporter;
  readonly requests: Subject<OperatorRequest>;
  readonly open: (ready: ReadyCampaign, layers?: Layers) => World;
}

export interface Played {
  readonly ready: ReadyCampaign;
  readonly outcome: RunOutcome;
  /** Name of the record in the folder of records. */
  readonly record: string;
  /** Null when the record holds nothing. */
  readonly data: RunData | null;
  readonly stiffness: StiffnessNote | null;
  /** From the stop to measured standstill, s; null when it was not confirmed. */
  readonly standstill_s: number | null;
  /** Device time at which a program did `cause`, s since the first row; null when none did, or a person was to. */
  readonly caused_s: number | null;
}

export interface Cause {
  readonly after_s: number;
  /** True when it is done by now; false when a person was told to do it, whenever that will be. */
  readonly act: (world: World) => boolean;
  /** Role of the segment that it waits for; `proof` when left out. */
  readonly during?: string;
  /** What a person has to undo before the trip can be cleared. */
  readonly undo?: () => void;
}

export interface PlayOptions {
  /** Parameters as on a command line. */
  readonly set?: readonly string[];
  readonly layers?: Layers;
  /** Does something so long after the segment of its role has begun. */
  readonly cause?: Cause;
  /** Propeller on or off; as the article says when left out. */
  readonly propeller?: boolean;
  /** A world that is open already and stays open: the article is as the run before left it. */
  readonly world?: World;
}

/** A pressed button is waited for this long, s. */
const LET_GO_WITHIN_S = 30;

/** What a check protocol would be played with; nothing turns. @throws BadInput with every problem of the bench's files */
export function readyCheck(bench: string, protocol: string, set: readonly string[] = []): ReadyCampaign {
  return prepareCampaign(protocol, { bench, own: CHECK_PROTOCOLS, set });
}

/** Plays check runs one after the other; each gets a world of its own, so that no layer keeps another's limits. */
export class CheckSession {
  private count = 0;

  constructor(private readonly bench: CheckBench) {}

  /** @throws BadInput when the board is not ours or does not answer */
  async play(protocol: string, options: PlayOptions = {}): Promise<Played> {
    const ready = readyCheck(this.bench.bench, protocol, options.set);
    const world = options.world ?? this.bench.open(ready, options.layers);
    const heard = new Heard(world, options.cause);
    const propeller = options.propeller ?? ready.article.propeller.mounted;
    try {
      if (options.world === undefined) await world.connect();
      await world.setPropeller(propeller);
      return await this.run(ready, world, heard, propeller, options);
    } finally {
      heard.close();
      if (options.world === undefined) await letGo(world);
    }
  }

  private async run(ready: ReadyCampaign, world: World, heard: Heard, propeller: boolean, options: PlayOptions): Promise<Played> {
    const [run] = ready.plan.runs;
    const protocol = ready.protocols.get(run.label);
    if (protocol === undefined) throw new Error(`${run.label} is no protocol of its own plan`);
    const name = `${String(++this.count).padStart(2, '0')}-${protocol.prepared.name}.mcap`;
    const path = join(this.bench.records, name);
    const watch = new RunWatch(ready.channels);
    const watching = [world.blocks.subscribe((b) => { watch.block(b); }), world.bench.events.subscribe((e) => { watch.event(e); })];
    const header = runHeader({
      ready, protocol, run: { ...run, id: name.slice(0, -5) }, supply_V: ready.article.nominal_voltage_V, propeller,
      seed: ready.rig.link.kind === 'twin' ? ready.rig.link.seed : null,
    });
    const { outcome } = await runOnce({ world, protocol, header, attachments: attachmentsOf(ready), path, zero_s: 1, requests: this.bench.requests, reporter: this.bench.reporter });
    for (const w of watching) w.unsubscribe();
    const data = dataOf(path);
    world.mute(false);
    world.pressStop(false);
    if (outcome.trip !== null) await clear(world, heard.byPerson ? options.cause?.undo : undefined);
    return {
      ready, outcome, record: name, data, stiffness: watch.stiffness(), standstill_s: heard.standstill_s,
      caused_s: heard.caused_us === null || data === null ? null : (heard.caused_us - data.origin_us) / 1e6,
    };
  }
}

/** Listens to one run: when it stood still, and when the cause of its stop was to be made. */
class Heard {
  standstill_s: number | null = null;
  caused_us: number | null = null;
  /** A person was told to make the cause. */
  byPerson = false;
  private readonly subscriptions: { unsubscribe(): void }[] = [];

  constructor(private readonly world: World, private readonly cause: PlayOptions['cause']) {
    this.subscriptions.push(world.bench.events.subscribe((event) => { this.event(event); }));
  }

  close(): void {
    for (const s of this.subscriptions) s.unsubscribe();
  }

  private event(event: BenchEvent): void {
    if (event.type === 'stopped' && event.confirmed) this.standstill_s = event.took_us / 1e6;
    const { cause, world } = this;
    if (cause === undefined || event.type !== 'segment-started' || event.segment.role !== (cause.during ?? 'proof')) return;
    this.subscriptions.push(timer(cause.after_s * 1000, world.clock.scheduler).subscribe(() => {
      const now_us = world.clock.now_us();
      if (cause.act(world)) this.caused_us = now_us;
      else this.byPerson = true;
    }));
  }
}

/** A trip that was looked at is cleared; what a person pressed has to be let go of first. */
async function clear(world: World, undo: (() => void) | undefined): Promise<void> {
  undo?.();
  for (let second = 0; (await world.clearTrip('rig check: this trip was looked at')).length > 0 && undo !== undefined && second < LET_GO_WITHIN_S; second++) {
    await world.playUntil(() => false, 1);
  }
}

/** Closed, and the port free for whoever comes next. */
export async function letGo(world: World): Promise<void> {
  if (world.closed === undefined) world.close();
  else await world.closed();
}

function dataOf(path: string): RunData | null {
  try {
    return runDataOf(readRecord(path));
  } catch (error) {
    if (error instanceof NothingToAnalyze) return null;
    throw error;
  }
}
