/** From runs to a table: for each metric and setting, one value a repeat. Samples were left behind in the runs. */
import type { InputDofs } from '../metrics/calibration-facts';
import type { RunMetric } from '../metrics/reading';
import { METRIC_NAMES, metricFact, type MetricName } from '../metrics/catalogue';
import { powerAtSpeed } from '../metrics/run-curve';
import type { CampaignInput, RunInput } from './input';

/** One repeat of a metric. */
export type Repeat = {
  readonly run: string;
  readonly index: number;
  readonly setting: string;
  readonly mounting: number;
  readonly kind: 'cell' | 'baseline';
  readonly value: number;
  readonly effects: RunMetric['effects'];
  readonly flags: readonly string[];
  /** Degrees of freedom of the inputs in `effects`. */
  readonly dofs?: InputDofs;
  /** Tries that the value is the rate of; only for rates. */
  readonly trials?: number;
};

/** A metric of a campaign, under its key. */
export type Column = {
  /** The name, with the protocol's label in front from the second protocol on that gives it. */
  readonly key: string;
  readonly name: MetricName;
  readonly label: string;
  readonly repeats: readonly Repeat[];
  /** Reasons of runs that give no value, with how many. */
  readonly gaps: ReadonlyMap<string, number>;
};

/** Every metric that some run speaks of, in the order of the catalogue. */
export function collect(input: CampaignInput): Column[] {
  const used = input.runs.filter((r) => r.metrics !== null);
  const reference = referenceSpeed(input, used);
  const byLabel = new Map(input.labels.map((label) => [label, used.filter((r) => r.label === label)]));
  const columns: Column[] = [];
  for (const name of METRIC_NAMES) {
    let first = true;
    for (const [label, runs] of byLabel) {
      const column = columnOf(name, label, runs, reference, first);
      if (column === null) continue;
      columns.push(column);
      first = false;
    }
  }
  return columns;
}

function columnOf(name: MetricName, label: string, runs: readonly RunInput[], reference: number | null, first: boolean): Column | null {
  const repeats: Repeat[] = [];
  const gaps = new Map<string, number>();
  let spoken = false;
  for (const run of runs) {
    const metric = metricIn(run, name, reference);
    if (metric === null) continue;
    spoken = true;
    if (metric.value === null) {
      const reason = metric.reason ?? 'no value';
      gaps.set(reason, (gaps.get(reason) ?? 0) + 1);
      continue;
    }
    repeats.push({ run: run.id, index: run.index, setting: run.setting, mounting: run.mounting, kind: run.kind, value: metric.value, effects: metric.effects, flags: metric.flags, ...dofsIn(run), ...(isRate(name) && run.metrics?.starts ? { trials: run.metrics.starts.tried } : {}) });
  }
  return spoken ? { key: first ? name : `${label}.${name}`, name, label, repeats, gaps } : null;
}

function metricIn(run: RunInput, name: MetricName, reference: number | null): RunMetric | null {
  const { metrics } = run;
  if (metrics === null) return null;
  if (name === 'power_at_equal_speed_W') return metrics.curve === null ? null : powerAtSpeed(metrics.curve, reference);
  return metrics.metrics.find((m) => m.name === name) ?? null;
}

/** The speed at which all settings are compared: that of the baseline at hover, or the mean of all where there is no baseline. */
function referenceSpeed(input: CampaignInput, used: readonly RunInput[]): number | null {
  const speeds = (runs: readonly RunInput[]): number[] => runs.flatMap((r) => {
    const value = r.metrics?.metrics.find((m) => m.name === 'speed_at_hover_rpm')?.value ?? null;
    return value === null ? [] : [value];
  });
  const own = speeds(used.filter((r) => r.setting === input.baseline));
  const all = own.length > 0 ? own : speeds(used);
  return all.length === 0 ? null : all.reduce((a, b) => a + b, 0) / all.length;
}

/** Keys that the user named in margins or choice. */
export function keysOfInterest(input: CampaignInput): Set<string> {
  const { choice, margins } = input;
  return new Set([...Object.keys(margins), ...(choice === null ? [] : [choice.objective.metric, ...choice.constraints.map((c) => c.metric)])]);
}

/** Names that the user wrote and no run gives. */
export function unknownKeys(input: CampaignInput, columns: readonly Column[]): string[] {
  return [...keysOfInterest(input)].filter((key) => !columns.some((c) => c.key === key));
}

/** Whether a metric is a share of tries. */
export const isRate = (name: string): boolean => metricFact(name).name === 'start_success';

/** Whether a metric counts events or successes, so that its repeats are no normal numbers. */
export const isCount = (name: string): boolean => metricFact(name).name === 'desyncs' || isRate(name);

/** What a repeat takes over of its run about calibrations. */
export const dofsIn = ({ metrics }: Pick<RunInput, 'metrics'>): Pick<Repeat, 'dofs'> => (metrics?.dofs === undefined ? {} : { dofs: metrics.dofs });
