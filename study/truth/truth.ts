/** The truth of an article: what every metric would be without noise and sensor errors, and how it goes with the mounting. */
import fs from 'node:fs';
import type { ReadyCampaign } from '../../src/app/prepare';
import type { RunData } from '../../src/analysis/run-data';
import { MapCache, type RigParameters } from '../../src/twin/physics';
import { benchOf } from '../bench';
import { levelsOf, type ArticleName } from '../cells';
import { play, startReading, type PlayedRun } from '../play';
import { holdTruth, soakTruth, startTruth } from './holds';
import { fullThrottleTruth, kvTruth } from './plateaus';
import type { Conditions } from './static';
import { responseTruth } from './steps';
import { hoverTruth, lagTruth } from './sweep';
import { traceOf, type Trace } from './trace';

/** Value with mounting factors 1, its change for one whole unit of each factor, and for a kelvin more at the start of its runs. */
export type Linear = { readonly value: number; readonly perThrust: number; readonly perTorque: number; readonly perKelvin: number; readonly label: string; readonly start_degC: number };
/** By setting, by metric. */
export type Truths = Readonly<Record<string, Readonly<Record<string, Linear>>>>;

/** Mean of a metric over its runs, with how warm they began. */
type Mean = { readonly value: number; readonly label: string; readonly start_degC: number };
type Means = Record<string, Record<string, Mean>>;
type Conditioned = { readonly thrustFactor: number; readonly torqueFactor: number; readonly warmer_K: number };

/** Step of the factors for the slopes: mountings spread by 0.4 %. */
const STEP = 0.01;
const WARMER_K = 1;
const AS_IS: Conditioned = { thrustFactor: 1, torqueFactor: 1, warmer_K: 0 };
/** Orders of the runs that truths are averaged over. */
const ORDERS = [-1, -2];

/** Truths of an article: noise-free campaigns in two orders; the slopes from one of them. */
export async function truthsOf(article: ArticleName, orders: readonly number[] = ORDERS): Promise<Truths> {
  const maps = new MapCache();
  const centres: Means[] = [];
  for (const order of orders) centres.push(await campaign(article, maps, order, AS_IS));
  const thrust = await campaign(article, maps, orders[0], { ...AS_IS, thrustFactor: 1 + STEP });
  const torque = await campaign(article, maps, orders[0], { ...AS_IS, torqueFactor: 1 + STEP });
  const warm = await campaign(article, maps, orders[0], { ...AS_IS, warmer_K: WARMER_K });
  const linear = (setting: string, name: string, first: Mean): Linear => {
    const mean = (of: (m: Mean) => number): number => centres.reduce((s, c) => s + of(c[setting][name]), 0) / centres.length;
    const hot = warm[setting][name];
    return {
      value: mean((m) => m.value), perThrust: (thrust[setting][name].value - first.value) / STEP, perTorque: (torque[setting][name].value - first.value) / STEP,
      perKelvin: hot.start_degC - first.start_degC < 0.1 ? 0 : (hot.value - first.value) / (hot.start_degC - first.start_degC), label: first.label, start_degC: mean((m) => m.start_degC),
    };
  };
  return Object.fromEntries(Object.entries(centres[0]).map(([setting, metrics]) => [setting, Object.fromEntries(Object.entries(metrics).map(([name, first]) => [name, linear(setting, name, first)]))]));
}

async function campaign(article: ArticleName, maps: MapCache, orderSeed: number, { thrustFactor, torqueFactor, warmer_K }: Conditioned): Promise<Means> {
  const { ready, folder } = benchOf({ article, rig: 'default' }, 'none');
  const heard: { parameters: RigParameters; take: () => Trace }[] = [];
  const all: Record<string, Record<string, Mean[]>> = {};
  await play({
    ready, article, folder, seed: 1, orderSeed, warmer_K, maps, environment: { temperature_degC: 20, pressure_Pa: 100_000, humidity: 0.4 },
    onRig: (rig) => {
      rig.drive.thrustFactor = thrustFactor;
      rig.drive.torqueFactor = torqueFactor;
      rig.setPropeller(true);
      heard.push({ parameters: rig.parameters, take: traceOf(rig).take });
    },
  }, (run) => {
    if (run.data === null) throw new Error(`the noise-free ${run.id} ended as ${run.why}`);
    const [{ parameters, take }] = heard;
    const trace = take();
    const values = valuesOf(run, inTimeOf(trace, run.data), trace, ready, { parameters, maps, thrustFactor, torqueFactor, levels: levelsOf(article, run.setting) });
    const start_degC = startReading(run.data);
    const own = (all[run.setting] ??= {});
    for (const [name, value] of Object.entries(values)) (own[name] ??= []).push({ value, label: run.label, start_degC });
  });
  fs.rmSync(folder, { recursive: true });
  const mean = (runs: readonly Mean[], of: (m: Mean) => number): number => runs.reduce((s, m) => s + of(m), 0) / runs.length;
  return Object.fromEntries(Object.entries(all).map(([setting, metrics]) => [setting, Object.fromEntries(Object.entries(metrics).map(([name, runs]) => [name, {
    value: mean(runs, (m) => m.value), label: runs[0].label, start_degC: mean(runs, (m) => m.start_degC),
  }]))]));
}

/** A station that has greeted the board anew counts device time from its last wrap at 2³² µs; the trace never wraps. */
function inTimeOf(trace: Trace, data: RunData): RunData {
  const wraps = Math.round((trace.begin_us[0] - data.origin_us) / 2 ** 32);
  return { ...data, origin_us: data.origin_us + wraps * 2 ** 32 };
}

function valuesOf(run: PlayedRun, data: RunData, trace: Trace, ready: ReadyCampaign, rig: Omit<Conditions, 'winding_degC' | 'case_degC'>): Record<string, number> {
  switch (run.label) {
    case 'kv': return kvTruth(data, trace, ready.article.motor.resistance_ohm);
    case 'thrust-curve': return { ...fullThrottleTruth(data, trace, rig.parameters), ...hoverTruth(data, trace, rig, ready.article.hover_thrust_N ?? NaN), ...lagTruth(data, trace) };
    case 'response': return responseTruth(data, trace);
    case 'efficiency-hold': return holdTruth(data, trace, rig);
    case 'spin-up': return startTruth(data, trace, rig.parameters.esc.startFailure);
    case 'soak': return soakTruth(data, trace);
    default: throw new Error(`the study knows no truth for the protocol "${run.label}"`);
  }
}

/** What a seed's own bench is like. */
export type BenchState = { readonly thrustFactor: number; readonly torqueFactor: number; readonly starts: Readonly<Record<string, number>> };

/** The truth in one mounting, for runs that began as warm as the seed's. */
export function inMounting(t: Linear, setting: string, state: BenchState): number {
  const warmer = (state.starts[`${setting}/${t.label}`] ?? t.start_degC) - t.start_degC;
  return t.value + t.perThrust * (state.thrustFactor - 1) + t.perTorque * (state.torqueFactor - 1) + t.perKelvin * warmer;
}
