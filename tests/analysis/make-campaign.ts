// Made-up campaigns: values of metrics per setting and repeat, without records. Seeded by whoever makes the values.
import type { CampaignInput, RunInput, SettingInput } from '../../src/analysis/campaign/input';
import type { MetricName } from '../../src/analysis/metrics/catalogue';
import { metric, type Effects } from '../../src/analysis/metrics/reading';
import type { RunMetrics } from '../../src/analysis/metrics/run-metrics';

export interface MadeValue { readonly value: number; readonly effects?: Effects }
/** Setting → repeats → metric → value. */
export type MadeTable = Readonly<Record<string, readonly Readonly<Partial<Record<MetricName, MadeValue | number>>>[]>>;

export function madeMetrics(id: string, values: Readonly<Partial<Record<MetricName, MadeValue | number>>>, over: Partial<RunMetrics> = {}): RunMetrics {
  return {
    record_id: id, simulated: true, protocol: 'p', version: '0.1.0', duration_s: 1, steps: [], curve: null, starts: null, desyncs: 0, stepsLeftOut: 0, closest: [], zeroDrift_N: null, flags: [],
    metrics: Object.entries(values).map(([name, v]) => metric(name as MetricName, typeof v === 'number' ? { value: v, within: 0, effects: {} } : { value: v.value, within: 0, effects: v.effects ?? {} }, 'made up')),
    ...over,
  };
}

/** A campaign whose settings are the keys of the table; the first is the baseline. Repeats are run in turn over the settings. */
export function makeCampaign(table: MadeTable, over: Partial<CampaignInput> = {}): CampaignInput {
  const ids = Object.keys(table);
  const settings = ids.map((id): SettingInput => ({ id, text: id, levels: Object.fromEntries(id.split(' ').map((level, i) => [`f${i}`, level])) }));
  const factors = Array.from({ length: ids[0].split(' ').length }, (_, i) => {
    const levels = [...new Set(ids.map((id) => id.split(' ')[i]))];
    return { name: `f${i}`, levels, order: levels.map((_l, k) => k), specimen: false };
  });
  const most = Math.max(...Object.values(table).map((r) => r.length));
  const runs: RunInput[] = [];
  for (let k = 0; k < most; k++) {
    for (const id of ids) {
      const values = table[id][k];
      if (values === undefined) continue;
      const run = `${String(runs.length + 1).padStart(4, '0')}-${id}`;
      runs.push({
        id: run, index: runs.length + 1, label: 'p', protocol: 'p', setting: id, repeat: k + 1, mounting: 1, block: 1, kind: 'cell', file: `runs/${run}.mcap`, sha256: 'ab',
        metrics: madeMetrics(run, values), status: 'used', reason: null,
      });
    }
  }
  return {
    campaign: 'made', confidence: 0.95, factors, settings, labels: ['p'], runs, foreign: [], baseline: ids[0], margins: {}, choice: null, estimand: 'over-mountings', craft: null, remount: null,
    provenance: {}, ...over,
  };
}
