/** One seed of the study: everything played, everything analysed by the shipped analysis, written as one line. */
import { analyzeCampaign } from '../src/analysis/campaign/analyze';
import { effectsOnDifference } from '../src/analysis/campaign/absolute';
import type { CampaignInput, RunInput } from '../src/analysis/campaign/input';
import { powerAtSpeed } from '../src/analysis/metrics/run-curve';
import { runMetrics, type RunMetrics } from '../src/analysis/metrics/run-metrics';
import { cipm2007 } from '../src/analysis/physics/air';
import type { Margin } from '../src/model/files/campaign-choice';
import type { Contrast, Results } from '../src/model/results';
import { CHANNEL, Rng, type MapCache, type SimulatedRig } from '../src/twin/physics';
import type { ReadyCampaign } from '../src/app/prepare';
import { QUICK_TOP, SOAK_W, type ArticleName, type SettingName } from './cells';
import { play, replay, type PlayedRun } from './play';
import { trueValue, type Truths } from './truth/truth';

/**
 * An interval as results hold it: value, standard uncertainty, degrees of freedom, ends; null where there is none. `bounded`: the
 * share of u² that comes from errors which cannot exceed a bound.
 */
export type Told = { readonly value: number | null; readonly u: number | null; readonly dof: number | null; readonly lower: number | null; readonly upper: number | null; readonly bounded: number };
/** A difference with its verdict. */
export type ToldContrast = Told & { readonly verdict: Contrast['verdict']; readonly p: number | null };

/** What a seed gave. */
export type SeedLine = {
  readonly seed: number;
  readonly thrustFactor: number;
  readonly torqueFactor: number;
  /** Drawn errors of the current channel: relative gain, and A. */
  readonly currentGain: number;
  readonly currentOffset_A: number;
  /** Power that flowed in the soak over the power that its loop held: what the errors of current and voltage make of it. */
  readonly soakPower: number;
  /** Speed at which power_at_equal_speed_W was read, rpm. */
  readonly reference_rpm: number | null;
  /** Metrics at the base setting. */
  readonly values: Readonly<Record<string, Told>>;
  /** Values of the repeats at the base setting. */
  readonly repeats: Readonly<Record<string, readonly number[]>>;
  /** Metrics at the other settings less those at the base, each analysed as a campaign of two settings. */
  readonly contrasts: Readonly<Record<string, Readonly<Record<string, ToldContrast>>>>;
  /** Runs that did not end well, each with its outcome. */
  readonly failed: readonly string[];
  readonly cpu_s: number;
};

export interface SeedInput {
  readonly ready: ReadyCampaign;
  readonly article: ArticleName;
  readonly folder: string;
  readonly seed: number;
  readonly maps: MapCache;
  readonly truths: Truths;
  /** Keep the records, or analyse those that were kept. */
  readonly records: 'drop' | 'keep' | 'kept';
}

const AIR_STREAM = 901;
/** Standard uncertainty of the density that shipped analysis assumes of a bench's barometer and thermometer. */
const U_DENSITY = 0.003;
const HUMIDITY = 0.4;

/** Air whose density is off the true one as instruments are. */
function airFor(density: number, ambient_degC: number, seed: number): { temperature_degC: number; pressure_Pa: number; humidity: number } {
  const wanted = density * (1 + U_DENSITY * new Rng(seed, AIR_STREAM).normal());
  const state = (pressure_Pa: number) => ({ temperature_degC: ambient_degC, pressure_Pa, humidity: HUMIDITY });
  const unit = cipm2007(state(100_000)).density_kg_m3;
  const slope = (cipm2007(state(101_000)).density_kg_m3 - unit) / 1000;
  return state(100_000 + (wanted - unit) / slope);
}

/** Plays and analyses a seed. */
export async function studySeed(input: SeedInput): Promise<SeedLine> {
  const { ready, article, folder, seed, maps, truths } = input;
  const began = process.cpuUsage().user;
  const runs: { run: PlayedRun; metrics: RunMetrics | null }[] = [];
  const drawn = { thrustFactor: NaN, torqueFactor: NaN, currentGain: NaN, currentOffset_A: NaN, soakPower: NaN };
  const note = (rig: SimulatedRig): void => {
    const [current, voltage] = [rig.converters[CHANNEL.current], rig.converters[CHANNEL.voltage]];
    Object.assign(drawn, {
      thrustFactor: rig.truth.thrustFactor, torqueFactor: rig.truth.torqueFactor, currentGain: current.gainError, currentOffset_A: current.offsetError,
      soakPower: flowedOverRead(current, voltage, SOAK_W[article] / ready.article.nominal_voltage_V, ready.article.nominal_voltage_V),
    });
  };
  const take = (run: PlayedRun): void => {
    runs.push({ run: { ...run, data: null }, metrics: run.data === null ? null : runMetrics(run.data) });
  };
  if (input.records === 'kept') {
    await play({ ready, article, folder, seed, maps, environment: airFor(1.2, 20, seed), onRig: note, only: () => false }, take);
    replay(folder, seed, take);
  } else {
    // The air is known before the rig is: its density is the same in every rig of an article.
    const density = article === 'scout' ? 1.19 : 1.2;
    await play({ ready, article, folder, seed, maps, environment: airFor(density, article === 'scout' ? 26 : 22, seed), onRig: note, keep: input.records === 'keep' }, take);
  }
  const truth = (setting: SettingName, name: string): number | null => trueValue(truths, setting, name, drawn);
  const inputs = runs.map(({ run, metrics }) => runInput(run, metrics));
  const whole = analyzeCampaign(campaignOf(inputs, ['base', 'same', 'switching', 'timing'], {}));
  const pair = (other: SettingName, margins: Record<string, Margin>): Record<string, ToldContrast> =>
    contrastsIn(analyzeCampaign(campaignOf(inputs.filter((r) => r.setting === 'base' || r.setting === other), ['base', other], margins)), inputs);
  const reference = repeatsOf(whole, 'speed_at_hover_rpm');
  return {
    seed, ...drawn, reference_rpm: reference.length === 0 ? null : reference.reduce((a, b) => a + b, 0) / reference.length,
    values: Object.fromEntries(whole.metrics.flatMap((m) => toldAt(m, 'base', inputs))),
    repeats: Object.fromEntries(whole.metrics.map((m) => [m.key, repeatsOf(whole, m.key)])),
    contrasts: { same: pair('same', {}), switching: pair('switching', edges(whole, truth)), timing: pair('timing', TIMING_MARGINS) },
    failed: runs.filter((r) => r.metrics === null).map((r) => `${r.run.id}: ${r.run.why}`),
    cpu_s: (process.cpuUsage().user - began) / 1e6,
  };
}

type ReadingError = { readonly gainError: number; readonly offsetError: number };

/** Power that flows over the power read, where current and voltage read so much. */
function flowedOverRead(current: ReadingError, voltage: ReadingError, read_A: number, read_V: number): number {
  const flowing = (read: number, { gainError, offsetError }: ReadingError): number => (read - offsetError) / (1 + gainError) / read;
  return flowing(read_A, current) * flowing(read_V, voltage);
}

const repeatsOf = (results: Results, key: string): number[] => results.metrics.find((m) => m.key === key)?.settings.find((s) => s.setting === 'base')?.values.map((v) => v.value) ?? [];

/** Timing advance is expected to leave the dynamics alone (common practice, no published source): within 5 %. */
const TIMING_MARGINS: Record<string, Margin> = Object.fromEntries(['rise_t80_s', 'fall_t80_s', 'rise_t50_s', 'fall_t50_s'].map((name) => [name, { kind: 'relative', value: 0.05, text: '5 %' }]));

/** Margins as large as the true difference: every "no difference beyond the margin" is then wrong, at the worst place to be. */
function edges(results: Results, truth: (setting: SettingName, name: string) => number | null): Record<string, Margin> {
  return Object.fromEntries(results.metrics.flatMap((m): [string, Margin][] => {
    const [a, b] = [truth('base', m.name), truth('switching', m.name)];
    if (m.key !== m.name || a === null || b === null || Math.abs(b - a) <= 1e-6 * Math.abs(a)) return [];
    const dimension = m.shown === 'count' ? null : m.shown;
    return [[m.key, { kind: 'absolute', value: Math.abs(b - a), dimension, text: 'the true difference' } as Margin]];
  }));
}

/** Inputs whose error is bounded: the age of a sample by its period, the steps of telemetry by half a step. */
const isBounded = (input: string): boolean => /_timing$|_resolution/.test(input);

type Column = Results['metrics'][number];

/** Mean effects of the bounded inputs on a metric at a setting. */
function boundedEffects(runs: readonly RunInput[], { name, label }: Pick<Column, 'name' | 'label'>, setting: string): Record<string, number> {
  const hover = runs.flatMap((r) => (r.setting === 'base' ? r.metrics?.metrics.filter((m) => m.name === 'speed_at_hover_rpm') ?? [] : []))[0]?.value ?? null;
  const given = ({ metrics }: RunInput) => (metrics === null ? [] : name === 'power_at_equal_speed_W' ? [powerAtSpeed(metrics.curve, hover)] : metrics.metrics.filter((m) => m.name === name));
  const all = runs.filter((r) => r.setting === setting && r.label === label).flatMap(given).filter((m) => m.value !== null);
  const sum: Record<string, number> = {};
  for (const { effects } of all) for (const [input, effect] of Object.entries(effects)) if (isBounded(input)) sum[input] = (sum[input] ?? 0) + effect / all.length;
  return sum;
}

const shareOf = (effects: Record<string, number>, u: number | null): number => (u === null || u === 0 ? 0 : Object.values(effects).reduce((s, e) => s + e * e, 0) / u ** 2);

function toldAt(m: Column, setting: string, runs: readonly RunInput[]): [string, Told][] {
  return m.settings.filter((s) => s.setting === setting).map(({ estimate: e }) => [m.key, {
    value: e.value, u: e.u, dof: e.dof, lower: e.interval.lower, upper: e.interval.upper, bounded: shareOf(boundedEffects(runs, m, setting), e.u),
  }]);
}

function contrastsIn(results: Results, runs: readonly RunInput[]): Record<string, ToldContrast> {
  return Object.fromEntries(results.metrics.flatMap((m) => m.contrasts.map((c) => {
    const moved = effectsOnDifference(boundedEffects(runs, m, c.against), boundedEffects(runs, m, c.setting));
    return [m.key, { value: c.difference, u: c.u, dof: c.dof, lower: c.interval.lower, upper: c.interval.upper, verdict: c.verdict, p: c.p, bounded: shareOf(moved, c.u) }];
  })));
}

function runInput(run: PlayedRun, metrics: RunMetrics | null): RunInput {
  return {
    id: run.id, index: run.index, label: run.label, protocol: run.label, setting: run.setting, repeat: run.repeat, mounting: 1, block: run.repeat, kind: 'cell', file: run.id, sha256: null,
    metrics, status: metrics === null ? 'left-out' : 'used', reason: metrics === null ? run.why : null,
  };
}

function campaignOf(runs: readonly RunInput[], settings: readonly SettingName[], margins: Record<string, Margin>): CampaignInput {
  return {
    campaign: 'coverage', confidence: 0.95, factors: [{ name: 'setting', levels: settings, order: settings.map((_, i) => i), specimen: false }],
    settings: settings.map((s) => ({ id: s, text: s, levels: { setting: s } })), labels: ['kv', 'thrust-curve', 'response', 'efficiency-hold', 'spin-up', 'soak', QUICK_TOP],
    runs, foreign: [], baseline: 'base', margins, choice: null, estimand: 'this-mounting', craft: null, remount: null, provenance: {},
  };
}
