// Figures per setting while a campaign runs and at its end: plain means over the good runs, and what they say so far.
import { METRIC_NAMES, metricFact, type MetricName } from '../analysis/metrics/catalogue';
import { runMetrics } from '../analysis/metrics/run-metrics';
import type { JournalEntry, PlannedRun } from '../campaign';
import { exists, FileProblem, join } from '../host/files';
import { NotARecord } from '../record/errors';
import { readRecord } from '../record/file-reader';
import { formatQuantity } from '../units';
import { settingText } from './setting-text';
import type { ReadyCampaign } from './prepare';
import { NothingToAnalyze, runDataOf } from './run-data';
import type { FigureValue } from './figure-value';
import { RunningVerdicts, soughtMetrics, type RunningVerdict } from './verdicts';

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
  private readonly verdicts: RunningVerdicts;

  constructor(private readonly ready: Pick<ReadyCampaign, 'plan' | 'campaign'>) {
    const settings = new Map(ready.plan.settings.map((s) => [s.id, settingText(s)]));
    this.verdicts = new RunningVerdicts(settings, soughtMetrics(ready.campaign, HEADLINES), ready.campaign.margins);
  }

  /** Takes a run's record; returns its figures, and the headlines among them as one line of text. */
  take(run: PlannedRun, record: string): RunFigures {
    const { values, text } = figuresOfRecord(record);
    this.add(run, values);
    return { values, text };
  }

  /** Takes over what earlier sessions measured. */
  takeOver(before: Measured): void {
    for (const { run, values } of before) this.add(this.ready.plan.runs[run - 1], values);
  }

  /** Baseline runs are no repeats of their setting and stay out. */
  private add(run: PlannedRun, values: Readonly<Record<string, FigureValue>>): void {
    if (run.kind === 'baseline') return;
    this.verdicts.note({ ...run, setting: run.setting.id }, values);
    const mine = this.sums.get(run.setting.id) ?? new Map<MetricName, { sum: number; n: number; unit: string }>();
    this.sums.set(run.setting.id, mine);
    for (const name of METRIC_NAMES) {
      const figure = values[name];
      if (figure === undefined) continue;
      const sum = mine.get(name) ?? { sum: 0, n: 0, unit: figure.unit };
      mine.set(name, { sum: sum.sum + figure.value, n: sum.n + 1, unit: sum.unit });
    }
  }

  /** Which setting leads so far, metric by metric, and whether that is settled. */
  soFar(): RunningVerdict[] {
    return this.verdicts.now();
  }

  /** One entry a setting, in the plan's order. */
  rows(): SettingFigures[] {
    return this.ready.plan.settings.map((setting) => ({
      setting: setting.id, text: settingText(setting),
      figures: Object.fromEntries([...(this.sums.get(setting.id) ?? [])].map(([name, s]) => [name, { mean: s.sum / s.n, unit: s.unit, repeats: s.n }])),
    }));
  }
}

function figuresOfRecord(record: string): RunFigures {
  const { metrics } = runMetrics(runDataOf(readRecord(record)));
  const values: Record<string, FigureValue> = {};
  for (const { name, value, unit } of metrics) if (value !== null) values[name] = { value, unit };
  const shown = metrics.filter((m) => HEADLINES.includes(m.name) && m.value !== null);
  return { values, text: shown.map((m) => `${metricFact(m.name).title.toLowerCase()} ${showMetric(m.name, m.value ?? 0)}`).join(', ') };
}

/** Figures of good runs, by number of the run. */
export type Measured = readonly { readonly run: number; readonly values: Readonly<Record<string, FigureValue>> }[];

/**
 * Figures of good runs as a journal keeps them, in its order; and, read back from the record, those of a run whose ending was
 * written down and whose figures were not any more, because the program was killed between the two lines.
 */
export function measuredIn(folder: string, entries: readonly JournalEntry[]): { readonly noted: Measured; readonly recovered: Measured } {
  const noted = entries.flatMap((e) => (e.type === 'noted' && e.what === 'figures' ? [{ run: e.run, values: e.data as Readonly<Record<string, FigureValue>> }] : []));
  const known = new Set(noted.map((n) => n.run));
  const records = new Map(entries.flatMap((e) => (e.type === 'started' && e.record !== undefined ? [[`${e.run}.${e.attempt}`, e.record] as const] : [])));
  const lost = entries.flatMap((e) => (e.type === 'ended' && e.outcome === 'done' && !known.has(e.run) ? [{ run: e.run, record: records.get(`${e.run}.${e.attempt}`) }] : []));
  return { noted, recovered: lost.flatMap(({ run, record }) => recoveredFigures(run, record === undefined ? null : join(folder, record))) };
}

/** A record that is gone or cannot be read gives nothing; `analyze` says what is wrong with it. */
function recoveredFigures(run: number, record: string | null): Measured {
  if (record === null || !exists(record)) return [];
  try {
    return [{ run, values: figuresOfRecord(record).values }];
  } catch (error) {
    if (error instanceof NotARecord || error instanceof NothingToAnalyze || error instanceof FileProblem) return [];
    throw error;
  }
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
