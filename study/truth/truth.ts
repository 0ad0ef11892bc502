/** The truth of an article: what every metric would be without noise and sensor errors, and how it goes with the mounting. */
import fs from 'node:fs';
import type { ReadyCampaign } from '../../src/app/prepare';
import type { RunData } from '../../src/analysis/run-data';
import { MapCache, type RigParameters } from '../../src/twin/physics';
import { benchOf } from '../bench';
import { levelsOf, type ArticleName, type SettingName } from '../cells';
import { play, type PlayedRun } from '../play';
import { holdTruth, soakTruth, startTruth } from './holds';
import { fullThrottleTruth, kvTruth } from './plateaus';
import type { Conditions } from './static';
import { responseTruth } from './steps';
import { hoverTruth, lagTruth } from './sweep';
import { traceOf, type Trace } from './trace';

/** Value with mounting factors 1, and its change for one whole unit of each factor. */
export type Linear = { readonly value: number; readonly perThrust: number; readonly perTorque: number };
/** By setting, by metric. */
export type Truths = Readonly<Record<string, Readonly<Record<string, Linear>>>>;

type Values = Record<string, Record<string, number>>;
/** Step of the factors for the slopes: mountings spread by 0.4 %. */
const STEP = 0.01;

/** Orders that truths are averaged over: how warm a run begins depends on what went before it. */
const ORDERS = [-1, -2, -3, -4];

/** Truths of an article: noise-free campaigns in several orders; the slopes from one of them. */
export async function truthsOf(article: ArticleName, orders: readonly number[] = ORDERS): Promise<Truths> {
  const maps = new MapCache();
  const centres: Values[] = [];
  for (const order of orders) centres.push(await campaign(article, maps, order, 1, 1));
  const thrust = await campaign(article, maps, orders[0], 1 + STEP, 1);
  const torque = await campaign(article, maps, orders[0], 1, 1 + STEP);
  return Object.fromEntries(Object.entries(centres[0]).map(([setting, metrics]) => [setting, Object.fromEntries(Object.entries(metrics).map(([name, first]) => [name, {
    value: centres.reduce((s, c) => s + c[setting][name], 0) / centres.length,
    perThrust: (thrust[setting][name] - first) / STEP, perTorque: (torque[setting][name] - first) / STEP,
  }]))]));
}

async function campaign(article: ArticleName, maps: MapCache, orderSeed: number, thrustFactor: number, torqueFactor: number): Promise<Values> {
  const { ready, folder } = benchOf({ article, rig: 'default' }, 'none');
  const sums: Record<string, Record<string, number[]>> = {};
  const heard: { parameters: RigParameters; take: () => Trace }[] = [];
  const runs: { run: PlayedRun; values: Record<string, number> }[] = [];
  await play({
    ready, article, folder, seed: 1, orderSeed, maps, environment: { temperature_degC: 20, pressure_Pa: 100_000, humidity: 0.4 },
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
    runs.push({ run, values: valuesOf(run, inTimeOf(trace, run.data), trace, ready, { parameters, maps, thrustFactor, torqueFactor, levels: levelsOf(article, run.setting) }) });
  });
  fs.rmSync(folder, { recursive: true });
  for (const { run, values } of runs) {
    const own = (sums[run.setting] ??= {});
    for (const [name, value] of Object.entries(values)) (own[name] ??= []).push(value);
  }
  return Object.fromEntries(Object.entries(sums).map(([setting, metrics]) => [setting, Object.fromEntries(Object.entries(metrics).map(([name, all]) => [name, all.reduce((a, b) => a + b, 0) / all.length]))]));
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

/** The truth of one mounting. */
export const inMounting = (t: Linear, thrustFactor: number, torqueFactor: number): number => t.value + t.perThrust * (thrustFactor - 1) + t.perTorque * (torqueFactor - 1);

export type { SettingName };
