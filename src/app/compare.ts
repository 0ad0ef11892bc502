// Use case: two campaign folders against each other.
import { compareCampaigns, type CompareOptions } from '../analysis/campaign/compare';
import type { CompareBench, CompareSide } from '../analysis/campaign/compare-bench';
import { hoverThrustOf } from '../analysis/campaign/fly';
import { FileProblem, writeNew } from '../host/files';
import type { Article, Craft, Rig } from '../model/files';
import type { Comparison } from '../model/comparison';
import { isSimulated } from '../model/simulated';
import type { JsonObject } from '../record/header';
import { formatQuantity } from '../units';
import { airIn } from './bench-words';
import { readCampaignFolder, type ReadFolder } from './campaign-files';
import { campaignInputOnThreads } from './campaign-input';
import { BadInput } from './errors';

export interface CompareRequest extends CompareOptions {
  /** File to write the comparison to; nothing is written without it. */
  readonly out?: string;
}

/**
 * Compares the second folder with the first. Reads both, changes neither.
 * @throws BadInput when a folder is no campaign's, the two may not be compared (each reason), or the file cannot be written
 */
export async function compareFolders(first: string, second: string, request: CompareRequest = {}): Promise<Comparison> {
  const compared = compareCampaigns(await sideOf(first), await sideOf(second), request);
  if (!compared.ok) throw new BadInput(compared.reasons.map((why) => `${first} and ${second} cannot be compared: ${why}`));
  if (request.out !== undefined) {
    try {
      writeNew(request.out, `${JSON.stringify(compared.comparison, null, 1)}\n`);
    } catch (error) {
      if (error instanceof FileProblem) throw new BadInput([error.message], { cause: error });
      throw error;
    }
  }
  return compared.comparison;
}

async function sideOf(path: string): Promise<CompareSide> {
  const folder = readCampaignFolder(path);
  const input = await campaignInputOnThreads(path);
  const files = input.runs.flatMap((r) => (r.status === 'used' && r.file !== null ? [r.file] : []));
  return { input, bench: { ...benchOf(folder, input.craft), air: airIn(path, files) } };
}

/** What the frozen plan says that a campaign rests on. Parts that an older plan does not hold are not stated. */
function benchOf({ frozen, entries }: ReadFolder, craft: Craft | null): Omit<CompareBench, 'air'> {
  const bench = frozen.plan.bench as unknown as { readonly rig?: Partial<Rig>; readonly article?: Partial<Article>; readonly calibration?: JsonObject; readonly limits?: JsonObject; readonly 'segments of'?: Readonly<Record<string, string>> };
  const { rig = {}, article = {} } = bench;
  const plays = bench['segments of'] ?? {};
  const protocols = Object.entries(frozen.plan.protocols).map(([label, use]) => {
    const { protocol, params } = use as unknown as { protocol: string; params: unknown };
    return [label, { text: `${protocol} ${JSON.stringify(params)}`, plays: plays[label] ?? JSON.stringify(use) }] as const;
  });
  return {
    simulated: isSimulated(rig), day: entries.map((e) => ('at' in e && typeof e.at === 'string' ? e.at.slice(0, 10) : null)).find((d) => d !== null) ?? null,
    rig: rig.name ?? null, conditions: conditionsOf(rig), parts: partsOf(article, rig), mounting: article.mounting?.name ?? null,
    // A simulated stand draws the true gains of its sensors from its seed: another seed is another stand's calibration.
    calibration: JSON.stringify([rig.channels ?? null, bench.calibration ?? null, rig.lead_resistance_ohm ?? null, rig.link?.kind === 'twin' ? rig.link.seed : null]),
    protocols: Object.fromEntries(protocols), hover_thrust_N: article.hover_thrust_N ?? (craft === null ? null : hoverThrustOf(craft))
  };
}

/** What decides which quantity a figure is: the same throttle means another thing at another voltage. */
function conditionsOf(rig: Partial<Rig>): Record<string, string> {
  return {
    'the supply voltage': rig.supply === undefined ? 'not stated' : formatQuantity(rig.supply.voltage_V, 'voltage'),
    'the place where voltage is sensed': rig.voltage_at ?? 'not stated',
    'what takes braking energy': rig.sink === undefined ? 'not stated' : rig.sink.kind,
  };
}

function partsOf({ name, motor, propeller, esc }: Partial<Article>, rig: Partial<Rig>): Record<string, string | null> {
  return {
    article: name ?? null, motor: motor?.name ?? null, 'motor specimen': motor?.specimen ?? null, propeller: propeller?.name ?? null, 'propeller specimen': propeller?.specimen ?? null,
    ESC: esc?.name ?? null, 'ESC specimen': esc?.specimen ?? null, 'ESC firmware': esc?.firmware ?? null,
    'ESC settings': esc === undefined ? null : JSON.stringify(esc.settings),
    'sampling of the channels': (rig.channels ?? []).map((c) => `${c.kind} every ${c.period_us / 1000} ms, filter ${c.filter_Hz === null ? 'none' : formatQuantity(c.filter_Hz, 'frequency')}, ${c.averages} averaged`).join('; '),
    ...(rig.link?.kind === 'twin' ? { 'simulated stand': `seed ${rig.link.seed}` } : {}),
  };
}
