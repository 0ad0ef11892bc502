// Figures per setting while a campaign runs and at its end: plain means over the good runs. No verdicts.
import { METRIC_NAMES, metricFact, type MetricName } from '../analysis/metrics/catalogue';
import { runMetrics } from '../analysis/metrics/run-metrics';
import type { JournalEntry, PlannedRun } from '../campaign';
import { readRecord } from '../record/file-reader';
import { formatQuantity } from '../units';
import { settingText } from './setting-text';
import type { ReadyCampaign } from './prepare';
import { runDataOf } from './run-data';

export interface FigureValue {
  readonly value: number;
  readonly unit: string;
}

/** A good run's figures: for the journal, and as words beside the run. */
export interface RunFigures {
  readonly text: string;
  readonly values: Readonly<Record<string, FigureValue>>;
}

/** Mean of a metric over the repeats of a setting. */
export interface Figure {
  readonly mean: number;
  readonly unit: string;
  readonly repeats: number;
}

export interface SettingFigures {
  readonly setting: string;
  readonly text: string;
  readonly figures: Readonly<Partial<Record<MetricName, Figure>>>;
}

/** What is shown beside each run and, in this order, in the table at the end. */
export const HEADLINES: readonly MetricName[] = [
  'kv_rpm_per_V', 'full_throttle_rpm', 'full_throttle_thrust_N', 'rise_time_10_90_s', 'fall_time_90_10_s', 'desyncs', 'hold_rpm', 'hold_efficacy_N_per_W',
];

/** Reads each good run's record back and gathers its metrics. One record in memory at a time. */
export class FigureTable {
  private readonly sums = new Map<string, Map<MetricName, { sum: number; n: number; unit: string }>>();

  constructor(private readonly ready: Pick<ReadyCampaign, 'plan'>) {}

  /** Takes a run's record; returns its figures, and the headlines among them as one line of text. */
  take(run: PlannedRun, record: string): RunFigures {
    const { metrics } = runMetrics(runDataOf(readRecord(record)));
    const values: Record<string, FigureValue> = {};
    for (const { name, value, unit } of metrics) if (value !== null) values[name] = { value, unit };
    this.add(run, values);
    const shown = metrics.filter((m) => HEADLINES.includes(m.name) && m.value !== null);
    return { values, text: shown.map((m) => `${metricFact(m.name).title.toLowerCase()} ${showMetric(m.name, m.value ?? 0)}`).join(', ') };
  }

  /** Takes over what earlier sessions wrote down. Baseline runs are no repeats of their setting and stay out. */
  takeOver(before: readonly JournalEntry[]): void {
    for (const { run, values } of figuresIn(before)) this.add(this.ready.plan.runs[run - 1], values);
  }

  private add(run: PlannedRun, values: Readonly<Record<string, FigureValue>>): void {
    if (run.kind === 'baseline') return;
    const mine = this.sums.get(run.setting.id) ?? new Map<MetricName, { sum: number; n: number; unit: string }>();
    this.sums.set(run.setting.id, mine);
    for (const name of METRIC_NAMES) {
      const figure = values[name];
      if (figure === undefined) continue;
      const sum = mine.get(name) ?? { sum: 0, n: 0, unit: figure.unit };
      mine.set(name, { sum: sum.sum + figure.value, n: sum.n + 1, unit: sum.unit });
    }
  }

  /** One entry a setting, in the plan's order. */
  rows(): SettingFigures[] {
    return this.ready.plan.settings.map((setting) => ({
      setting: setting.id, text: settingText(setting),
      figures: Object.fromEntries([...(this.sums.get(setting.id) ?? [])].map(([name, s]) => [name, { mean: s.sum / s.n, unit: s.unit, repeats: s.n }])),
    }));
  }
}

/** Figures of good runs as a journal keeps them, in its order. */
export function figuresIn(entries: readonly JournalEntry[]): { readonly run: number; readonly values: Readonly<Record<string, FigureValue>> }[] {
  return entries.flatMap((e) => (e.type === 'noted' && e.what === 'figures' ? [{ run: e.run, values: e.data as Readonly<Record<string, FigureValue>> }] : []));
}

/** A metric's value as people read it. */
export function showMetric(name: MetricName, value: number): string {
  const { shown } = metricFact(name);
  return shown === 'count' ? String(Math.round(value * 100) / 100) : formatQuantity(value, shown);
}

/** Short heading of a metric. */
export function metricTitle(name: MetricName): string {
  return metricFact(name).title;
}
