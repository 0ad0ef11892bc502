// How many repeats a margin needs, from the spread that earlier campaigns on this bench showed.
import { metricFact, METRIC_NAMES, type MetricName } from '../analysis/metrics/catalogue';
import { chi2Quantile, noncentralTCdf, tQuantile } from '../analysis/stats/quantiles';
import { cautiousSd, marginReached, pooledSpread, repeatsNeeded, type RepeatsAnswer, type RepeatsQuestion, type Spread } from '../campaign';
import { list, join, isFolder, exists } from '../host/files';
import type { CampaignFile } from '../model/files';
import { parseQuantity } from '../units';
import { PLAN_FILE, readCampaignFolder } from './campaign-files';
import { BadInput } from './errors';
import { HEADLINES, measuredIn } from './figures';
import type { ReadyCampaign } from './prepare';
import { soughtMetrics } from './verdicts';

export interface DetectLine {
  readonly metric: MetricName;
  /** Difference that is to be seen: relative, or in the metric's SI unit. */
  readonly margin: { readonly value: number; readonly relative: boolean; readonly text: string };
  /** Spread of one repeat inside a mounting, relative like the margin, and how many degrees of freedom it rests on. */
  readonly spread: Spread;
  readonly difference: RepeatsAnswer;
  readonly equivalence: RepeatsAnswer;
  /** As `difference`, with the upper 80 % limit of the spread. */
  readonly cautious: RepeatsAnswer;
  /** What the campaign's own number of repeats reaches, in the margin's terms; null below two repeats. */
  readonly reached: number | null;
}

export interface Detect {
  readonly from: readonly string[];
  readonly settings: number;
  readonly comparisons: number;
  readonly alpha: number;
  readonly power: number;
  readonly repeats: number;
  readonly lines: readonly DetectLine[];
}

const ALPHA = 0.05;
const POWER = 0.8;
/** Upper limit of the spread that a cautious plan counts with. */
const CAUTION = 0.8;
const FROM = { tQuantile, noncentralTCdf };

/**
 * @param wanted a share such as `2 %` for every metric, or `margins` for the campaign file's own
 * @param from a campaign folder; all below `records` when left out
 * @throws BadInput when the margin cannot be read or nothing has been measured
 */
export function detect(ready: ReadyCampaign, wanted: string, records: string, from?: string): Detect {
  const folders = from === undefined ? foldersBelow(records) : [from];
  const groups = spreadGroups(folders);
  if (groups.size === 0) throw new BadInput([`--detect: ${from ?? records}: no repeats have been measured there; run a campaign with at least two repeats first, or name another place with --from`]);
  const settings = Math.max(2, ready.plan.settings.length);
  const comparisons = settings - 1;
  const base = { alpha: ALPHA, power: POWER, settings, comparisons };
  const lines = sought(ready.campaign, groups).flatMap((metric): DetectLine[] => {
    const margin = marginFor(metric, wanted, ready.campaign);
    const values = groups.get(metric);
    if (margin === null || values === undefined) return [];
    const spread = pooledSpread(values, margin.relative);
    if (spread === null) return [];
    const question = (goal: RepeatsQuestion['goal'], sd: number): RepeatsQuestion => ({ ...base, sd, margin: margin.value, goal });
    return [{
      metric, margin, spread, difference: repeatsNeeded(question('difference', spread.sd), FROM), equivalence: repeatsNeeded(question('equivalence', spread.sd), FROM),
      cautious: repeatsNeeded(question('difference', cautiousSd(spread, CAUTION, chi2Quantile)), FROM),
      reached: marginReached({ ...base, sd: spread.sd, goal: 'difference' }, ready.campaign.repeats, FROM),
    }];
  });
  if (lines.length === 0) throw new BadInput([`--detect ${wanted}: none of the metrics that were measured in ${folders.join(', ')} has a margin${wanted === 'margins' ? '; write margins: into the campaign file' : ''}`]);
  return { from: folders, settings, comparisons, alpha: ALPHA, power: POWER, repeats: ready.campaign.repeats, lines };
}

/** The metrics that the campaign is about, as far as they were measured; else the headlines; else all. */
function sought(campaign: CampaignFile, measured: ReadonlyMap<string, unknown>): readonly MetricName[] {
  for (const usual of [[], HEADLINES, METRIC_NAMES]) {
    const found = soughtMetrics(campaign, usual).filter((name) => measured.has(name));
    if (found.length > 0) return found;
  }
  return [];
}

function marginFor(metric: MetricName, wanted: string, campaign: CampaignFile): DetectLine['margin'] | null {
  if (wanted === 'margins') {
    const margin = Object.hasOwn(campaign.margins, metric) ? campaign.margins[metric] : undefined;
    return margin === undefined ? null : { value: margin.value, relative: margin.kind === 'relative', text: margin.text };
  }
  const share = parseQuantity(wanted, 'ratio');
  if (!share.ok || share.value <= 0) throw new BadInput([`--detect ${wanted}: ${share.ok ? 'it must be above zero' : share.message}; accepted: a share such as "2 %", or margins for those of the campaign file`]);
  // A share of a count that may be zero means nothing.
  return metricFact(metric).shown === 'count' ? null : { value: share.value, relative: true, text: wanted };
}

/** Repeats of each setting in each campaign (one mounting each), by metric. Baseline runs are not among them. */
function spreadGroups(folders: readonly string[]): Map<string, number[][]> {
  const groups = new Map<string, Map<string, number[]>>();
  for (const folder of folders) {
    const { frozen, entries } = readCampaignFolder(folder);
    const { noted, recovered } = measuredIn(folder, entries);
    for (const { run, values } of [...noted, ...recovered]) {
      const planned = frozen.plan.runs[run - 1];
      if (planned.kind !== 'cell') continue;
      for (const [metric, { value }] of Object.entries(values)) {
        const mine = groups.get(metric) ?? new Map<string, number[]>();
        groups.set(metric, mine);
        const key = `${folder} ${planned.setting} ${planned.label} ${planned.mounting}`;
        mine.set(key, [...(mine.get(key) ?? []), value]);
      }
    }
  }
  return new Map([...groups].map(([metric, mine]) => [metric, [...mine.values()].filter((v) => v.length > 1)] as const).filter(([, v]) => v.length > 0));
}

function foldersBelow(records: string): string[] {
  return list(records).map((name) => join(records, name)).filter((path) => isFolder(path) && exists(join(path, PLAN_FILE)));
}
