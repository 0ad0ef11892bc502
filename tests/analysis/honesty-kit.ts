// A campaign on a simulated bench, from the protocol over records to results, as `run` and `analyze` would do it.
import fs from 'node:fs';
import path from 'node:path';
import { analyzeCampaign } from '../../src/analysis/campaign/analyze';
import { campaignInput } from '../../src/app/campaign-input';
import type { ResultMetric, Results } from '../../src/model/results';
import { session } from '../app/unattended-kit';

const ROOT = path.resolve(import.meta.dirname, '../..');
const BENCHES = {
  tiny: { rig: 'study/benches/tiny-rig.yaml', article: 'study/benches/tiny-article.yaml', cool: '27 °C' },
  scout: { rig: 'demo/bench/rig.yaml', article: 'demo/bench/article.yaml', cool: '35 °C' },
} as const;
export type BenchName = keyof typeof BENCHES;

export interface Asked {
  readonly bench?: BenchName;
  /** Lines of a YAML list. */
  readonly protocols: readonly string[];
  readonly repeats: number;
  /** Factor → levels, as in a campaign file. */
  readonly factors?: Readonly<Record<string, string>>;
  /** Further lines of the campaign file. */
  readonly more?: string;
}

/** Plays a campaign in a folder. */
export async function playCampaign(folder: string, { bench = 'scout', protocols, repeats, factors = {}, more = '' }: Asked): Promise<{ readonly campaign: string; readonly files: string[] }> {
  const { rig, article, cool } = BENCHES[bench];
  // Without its propeller the one-cell motor turns faster at 4 V than the study's rig, made for 2 V, allows.
  fs.writeFileSync(path.join(folder, 'rig.yaml'), fs.readFileSync(path.join(ROOT, rig), 'utf8').replace('above: 85000 rpm', 'above: 95000 rpm'));
  fs.copyFileSync(path.join(ROOT, article), path.join(folder, 'article.yaml'));
  const file = path.join(folder, 'campaign.yaml');
  const lines = Object.entries(factors).map(([name, levels]) => `  ${name}: { levels: [${levels}], apply: rig }`);
  fs.writeFileSync(file, [
    'spoolbench: 1', 'campaign: honesty', 'rig: rig.yaml', 'article: article.yaml', ...(lines.length === 0 ? [] : ['factors:', ...lines]), 'protocols:', ...protocols.map((p) => `  - ${p}`),
    `repeats: ${repeats}`, `between_runs: { rest: 1 s, zero: 1 s, cool_until: { motor_temperature: ${cool}, within: 5 min } }`, more, '',
  ].join('\n'));
  const records = path.join(folder, 'records');
  const end = await session({ folder, records, file });
  if (end.good !== end.planned) throw new Error(`${end.good} of ${end.planned} runs were good`);
  const runs = path.join(end.folder, 'runs');
  return { campaign: end.folder, files: fs.readdirSync(runs).sort().map((f) => path.join(runs, f)) };
}

/** What the tool itself says of a campaign. */
export const resultsOf = (campaign: string): Results => analyzeCampaign(campaignInput(campaign));

export function metricOf(results: Results, key: string): ResultMetric {
  const found = results.metrics.find((m) => m.key === key);
  if (found === undefined) throw new Error(`no metric ${key}`);
  return found;
}

/** Values by setting, in the order of the factor's levels. */
export function valuesOf(results: Results, key: string): number[] {
  return metricOf(results, key).settings.map((s) => s.estimate.value ?? NaN);
}

/** Whether two settings, by their place, are told apart: the simultaneous interval of their difference excludes zero. */
export function apart(results: Results, key: string, a: number, b: number): boolean {
  const m = metricOf(results, key);
  const pair = m.pairs.find((p) => (p.a === m.settings[a].setting && p.b === m.settings[b].setting));
  if (pair === undefined) throw new Error(`no pair ${a}, ${b} of ${key}`);
  return pair.apart;
}
