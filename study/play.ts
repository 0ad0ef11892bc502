/** Plays the study's campaign once on the simulated bench: protocol → board → station → record → the figures of shipped analysis. */
import fs from 'node:fs';
import path from 'node:path';
import { Subject } from 'rxjs';
import type { RunData } from '../src/analysis/run-data';
import type { PlannedRun } from '../src/campaign';
import type { ReadyCampaign } from '../src/app/prepare';
import { runHeader } from '../src/app/record-header';
import type { Reporter } from '../src/app/reporter';
import { runDataOf } from '../src/app/run-data';
import { runOnce } from '../src/app/run-once';
import { TwinWorld } from '../src/app/twin-world';
import { breathe } from '../src/host/event-loop';
import { steady_ms } from '../src/host/wall-clock';
import { readRecord } from '../src/record/file-reader';
import type { RunHeader } from '../src/record/header';
import type { RunRecord } from '../src/record/reader';
import { Rng, type MapCache, type SimulatedRig } from '../src/twin/physics';
import { BEGIN_degC, BEGIN_SPREAD_K, levelsOf, planned, REST_S, schedule, type ArticleName, type PlayedAt } from './cells';

/** A stream of the seed that the simulated rig does not use. */
const WARMTH_STREAM = 902;

const nothing = (): void => undefined;
const silent = { note: nothing, alarm: nothing, preparing: nothing, runStarted: nothing, segment: nothing, live: nothing, progress: nothing, soFar: nothing, event: nothing, runEnded: nothing };
const SILENT: Reporter = silent;

export interface PlayInput {
  readonly ready: ReadyCampaign;
  readonly article: ArticleName;
  readonly folder: string;
  readonly seed: number;
  /** Decides the order of the runs; `seed` when left out. */
  readonly orderSeed?: number;
  /** How much the temperatures differ at which runs begin, K; as in `cells` when left out. */
  readonly beginSpread_K?: number;
  /** Records stay in the folder. */
  readonly keep?: boolean;
  readonly maps: MapCache;
  /** Air as the rig file would state it. */
  readonly environment: NonNullable<ReadyCampaign['rig']['environment']>;
  /** Called once, before anything is played, with what only a grader may see. */
  readonly onRig?: (rig: SimulatedRig) => void;
  /** Which runs of the schedule; all when left out. */
  readonly only?: (run: PlayedAt) => boolean;
}

/** A run that was played; `data` is null when it did not end well, and `why` says how it ended. */
export type PlayedRun = PlayedAt & { readonly id: string; readonly index: number; readonly data: RunData | null; readonly why: string };

/** Plays every run of the schedule, and hands each over as it ends; its samples may be let go then. */
export async function play(input: PlayInput, take: (run: PlayedRun) => void): Promise<void> {
  const ready: ReadyCampaign = { ...input.ready, rig: { ...input.ready.rig, environment: input.environment } };
  const world = new TwinWorld({ rig: ready.rig, article: ready.article, channels: ready.channels, seed: input.seed, maps: input.maps, breathe, now_ms: steady_ms });
  input.onRig?.(world.simulated);
  await world.connect();
  try {
    let index = 0;
    const warmth = new Rng(input.orderSeed ?? input.seed, WARMTH_STREAM);
    for (const at of schedule(input.orderSeed ?? input.seed)) {
      index++;
      const begin_degC = BEGIN_degC[input.article] + (input.beginSpread_K ?? BEGIN_SPREAD_K) * warmth.normal();
      if (input.only?.(at) === false) continue;
      const run = plannedRun(at, index);
      const protocol = ready.protocols.get(at.label);
      if (protocol === undefined) throw new Error(`the campaign of the study has no protocol "${at.label}"`);
      const supply_V = protocol.prepared.needs.supply_V ?? ready.article.nominal_voltage_V;
      const propeller = protocol.prepared.needs.propeller !== 'off';
      await world.setPropeller(propeller);
      await world.setSupply(supply_V);
      for (const [name, value] of Object.entries(levelsOf(input.article, at.setting))) world.setParameter(name, value);
      rested(world.simulated, begin_degC, supply_V, ready.rig.supply.current_limit_A);
      await world.playUntil(() => false, REST_S);
      const file = recordOf(input.folder, run.id, input.seed);
      const header: RunHeader = runHeader({ ready, protocol, run, supply_V, propeller, seed: input.seed });
      const { outcome } = await runOnce({
        world, protocol, header, attachments: [], path: file, open: { sync: 'never' }, zero_s: ready.campaign.between_runs.zero_s, requests: new Subject(), reporter: SILENT,
      });
      const record = readRecord(file);
      if (input.keep !== true) fs.rmSync(file);
      take(playedRun(at, run.id, index, record));
      if (outcome.trip !== null) await world.clearTrip('the study goes on');
    }
  } finally {
    world.close();
  }
}

/** The bench after a long rest: motor and ESC at one temperature, the battery full. */
function rested(rig: SimulatedRig, begin_degC: number, supply_V: number, limit_A: number): void {
  rig.heat.setAll(begin_degC);
  rig.supply.charge = 1;
  rig.setSupply(supply_V, limit_A);
}

function playedRun(at: PlayedAt, id: string, index: number, record: RunRecord): PlayedRun {
  const { outcome, end } = record;
  const good = outcome?.outcome === 'done' && end.status === 'complete';
  return { ...at, id, index, data: good ? runDataOf(record) : null, why: good ? '' : `${outcome?.outcome ?? 'no outcome'}: ${outcome?.detail ?? end.detail}` };
}

/** The runs of a seed again, from the records that were kept. */
export function replay(folder: string, seed: number, take: (run: PlayedRun) => void): void {
  schedule(seed).forEach((at, i) => {
    const { id } = plannedRun(at, i + 1);
    take(playedRun(at, id, i + 1, readRecord(recordOf(folder, id, seed))));
  });
}

const recordOf = (folder: string, id: string, seed: number): string => path.join(folder, `${seed}-${id}.mcap`);

function plannedRun(at: PlayedAt, index: number): PlannedRun {
  return {
    index, id: `${String(index).padStart(3, '0')}-${at.label}-${at.setting}`, kind: 'cell', protocol: at.label, label: at.label, params: {}, setting: planned(at.setting), repeat: at.repeat,
    mounting: 1, block: at.repeat, stretch: 1, conditions: [], changes: [], needsHands: false, duration_s: 0, before_s: 0, bytes: 0,
  };
}
