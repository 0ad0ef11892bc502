// The dry run: what a campaign or a protocol will do, how long it takes, which limits it comes near. Touches no hardware.
import type { CampaignPlan, PlannedRun } from '../campaign';
import { freeBytes, join } from '../host/files';
import type { Rig } from '../model/files';
import { firmataAbilities } from '../model/firmata-abilities';
import { limitList } from '../model/limits';
import { isSimulated } from '../model/simulated';
import { draw } from '../protocols/draw';
import type { WalkedSegment } from '../protocols/walk';
import type { MeasuredCooling } from './cooling';
import { detect, type Detect } from './detect';
import { settingText } from './setting-text';
import { prepareCampaign, withOwnProtocols, type PrepareOptions, type ReadyCampaign, type ReadyProtocol } from './prepare';

/** A limit and the most that the plan is known to ask of it; `asks` is null where only the run itself will show it. */
export interface TouchedLimit {
  readonly limit: string;
  readonly asks: number | null;
  readonly bound: number;
  readonly unit: string;
  readonly because: string;
}

export interface PlannedProtocol {
  readonly label: string;
  readonly protocol: string;
  readonly summary: string;
  readonly parameters: Readonly<Record<string, number | null>>;
  readonly notes: readonly string[];
  readonly duration_s: number;
  readonly segments: readonly WalkedSegment[];
  readonly propeller: string;
  readonly supply_V: number | null;
  readonly limits: readonly TouchedLimit[];
  /** Throttle profile in characters, for the width asked for. */
  readonly draw: (width: number, ascii: boolean) => string;
}

export interface FilePlan {
  readonly campaign: string;
  readonly single: boolean;
  readonly simulated: boolean;
  /** What a person must know of this kind of board before anything turns. */
  readonly cautions: readonly string[];
  readonly rig: string;
  readonly article: string;
  readonly settings: readonly { readonly id: string; readonly text: string }[];
  readonly protocols: readonly PlannedProtocol[];
  readonly runs: CampaignPlan['runs'];
  readonly estimate: CampaignPlan['estimate'];
  readonly blocks: readonly { readonly block: number; readonly first: number; readonly last: number }[];
  /** First and last run of each mounting. */
  readonly mountings: readonly { readonly mounting: number; readonly first: number; readonly last: number }[];
  /** How waits for cooling are counted; null when nothing is waited for. */
  readonly cooling: { readonly bound_s: number; readonly measured: MeasuredCooling | null } | null;
  readonly free_bytes: number;
  readonly records: string;
  /** Repeats that a margin needs; null when not asked for. */
  readonly detect: Detect | null;
}

export interface PlanOptions extends PrepareOptions {
  /** Margin that is to be seen: a share, or `margins` for those of the campaign file. */
  readonly detect?: string;
  /** Campaign folder to take the spread from; all below the records when left out. */
  readonly from?: string;
}

/** What `target` will do. Throws `BadInput` with every problem of the files. */
export async function planFile(target: string, options: PlanOptions = {}): Promise<FilePlan> {
  const ready = prepareCampaign(target, await withOwnProtocols(target, options));
  const records = options.records ?? join(ready.folder, 'records');
  return {
    campaign: ready.campaign.name, single: ready.single, simulated: isSimulated(ready.rig), cautions: firmataAbilities(ready.rig)?.cautions ?? [], rig: ready.rig.name, article: ready.article.name,
    settings: ready.plan.settings.map((s) => ({ id: s.id, text: settingText(s) })),
    protocols: [...ready.protocols.values()].map((p) => plannedProtocol(p, ready)),
    runs: ready.plan.runs, estimate: ready.plan.estimate, blocks: stretchesOf(ready.plan.runs, 'block').map(({ of, ...b }) => ({ block: of, ...b })),
    mountings: stretchesOf(ready.plan.runs, 'mounting').map(({ of, ...m }) => ({ mounting: of, ...m })), cooling: coolingOf(ready), free_bytes: freeBytes(records), records,
    detect: options.detect === undefined ? null : detect(ready, options.detect, records, options.from),
  };
}

/** First and last run of each block or mounting. */
function stretchesOf(runs: readonly PlannedRun[], what: 'block' | 'mounting'): { of: number; first: number; last: number }[] {
  const found: { of: number; first: number; last: number }[] = [];
  for (const run of runs) {
    const open = found.at(-1);
    if (open?.of === run[what]) open.last = run.index;
    else found.push({ of: run[what], first: run.index, last: run.index });
  }
  return found;
}

function coolingOf({ campaign, cooling }: ReadyCampaign): FilePlan['cooling'] {
  const until = campaign.between_runs.cool_until;
  return until === null ? null : { bound_s: until.within_s, measured: cooling };
}

function plannedProtocol(ready: ReadyProtocol, campaign: ReadyCampaign): PlannedProtocol {
  const { prepared, walk } = ready;
  return {
    label: ready.label, protocol: prepared.name, summary: prepared.summary, parameters: prepared.values, notes: prepared.notes,
    duration_s: walk.duration_s, segments: walk.segments, propeller: prepared.needs.propeller, supply_V: prepared.needs.supply_V,
    limits: touched(ready, campaign),
    draw: (width, ascii) => draw(walk, { width, ascii }),
  };
}

function touched(ready: ReadyProtocol, { rig, article }: ReadyCampaign): TouchedLimit[] {
  const { peaks, duration_s } = ready.walk;
  const volts = ready.prepared.needs.supply_V ?? article.nominal_voltage_V;
  const topSpeed = article.motor.kv_rpm_per_V * volts * Math.min(peaks.throttle, rig.limits.throttle_cap);
  const known: Readonly<Record<string, { readonly asks: number | null; readonly because: string }>> = {
    'limits.current_peak': { asks: peaks.current_A, because: 'highest hold; steps draw more for ms' },
    'limits.current_mean': { asks: peaks.current_A, because: 'highest hold; full throttle draws more' },
    'limits.voltage_high': { asks: volts, because: 'supply voltage; braking adds to it' },
    'limits.voltage_low': { asks: volts, because: 'supply voltage; load takes from it' },
    'limits.speed': { asks: Math.max(peaks.speed_rpm ?? 0, topSpeed), because: 'declared KV times voltage, without load' },
    'limits.longest_run': { asks: duration_s, because: 'every wait at its bound' },
  };
  const cap: TouchedLimit = { limit: 'throttle_cap', asks: peaks.throttle, bound: rig.limits.throttle_cap, unit: '1', because: 'highest throttle commanded' };
  return [cap, ...distinct(rig).map(({ key, value, unit }): TouchedLimit => ({
    limit: key.replace(/^limits\./, ''), bound: value, unit, asks: known[key]?.asks ?? null, because: known[key]?.because ?? 'shows while running',
  }))];
}

/** One line a key: what is stale or frozen is watched on every channel alike. */
function distinct(rig: Rig): ReturnType<typeof limitList> {
  const seen = new Set<string>();
  return limitList(rig).filter((l) => !seen.has(`${l.key} ${l.unit}`) && seen.add(`${l.key} ${l.unit}`) !== undefined && l.kind !== 'impossible');
}
