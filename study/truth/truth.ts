/** The truth of an article: what every metric would be without noise and sensor errors, and how it goes with the mounting. */
import fs from 'node:fs';
import type { ReadyCampaign } from '../../src/app/prepare';
import type { RunData } from '../../src/analysis/run-data';
import { MapCache, type RigParameters } from '../../src/twin/physics';
import { benchOf } from '../bench';
import { levelsOf, QUICK_TOP, type ArticleName } from '../cells';
import { play, type PlayedRun } from '../play';
import { holdTruth, soakTruth, startTruth } from './holds';
import { fullThrottleTruth, kvTruth } from './plateaus';
import type { Conditions, State } from './static';
import { responseTruth } from './steps';
import { hoverTruth, lagTruth } from './sweep';
import { traceOf, type Trace } from './trace';

/** Value with mounting factors 1, and its change for one whole unit of each factor. */
export type Linear = { readonly value: number; readonly perThrust: number; readonly perTorque: number };
/** By setting, by metric. */
export type Truths = Readonly<Record<string, Readonly<Record<string, Linear>>>>;

type Values = Record<string, Record<string, number>>;
/** Factors of a mounting. */
export type Mounting = { readonly thrustFactor: number; readonly torqueFactor: number };

/** Step of the factors for the slopes: mountings spread by 0.4 %, on the hostile rig by 1 %. */
const STEP = 0.01;

/** Truths of an article: every run of the schedule once, without noise, in three mountings. */
export async function truthsOf(article: ArticleName): Promise<Truths> {
  const maps = new MapCache();
  const centre = await campaign(article, maps, { thrustFactor: 1, torqueFactor: 1 });
  const thrust = await campaign(article, maps, { thrustFactor: 1 + STEP, torqueFactor: 1 });
  const torque = await campaign(article, maps, { thrustFactor: 1, torqueFactor: 1 + STEP });
  return Object.fromEntries(Object.entries(centre).map(([setting, metrics]) => [setting, Object.fromEntries(Object.entries(metrics).map(([name, value]): [string, Linear] => [name, {
    value, perThrust: (thrust[setting][name] - value) / STEP, perTorque: (torque[setting][name] - value) / STEP,
  }]))]));
}

async function campaign(article: ArticleName, maps: MapCache, { thrustFactor, torqueFactor }: Mounting): Promise<Values> {
  const { ready, folder } = benchOf({ article, rig: 'default' }, 'none');
  const heard: { parameters: RigParameters; take: () => Trace }[] = [];
  const all: Values = {};
  await play({
    ready, article, folder, seed: 1, beginSpread_K: 0, only: (run) => run.repeat === 1, maps, environment: { temperature_degC: 20, pressure_Pa: 100_000, humidity: 0.4 },
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
    Object.assign((all[run.setting] ??= {}), valuesOf(run, inTimeOf(trace, run.data), trace, ready, { parameters, maps, thrustFactor, torqueFactor, levels: levelsOf(article, run.setting) }));
  });
  fs.rmSync(folder, { recursive: true });
  return all;
}

/** A station that has greeted the board anew counts device time from its last wrap at 2³² µs; the trace never wraps. */
function inTimeOf(trace: Trace, data: RunData): RunData {
  const wraps = Math.round((trace.begin_us[0] - data.origin_us) / 2 ** 32);
  return { ...data, origin_us: data.origin_us + wraps * 2 ** 32 };
}

function valuesOf(run: PlayedRun, data: RunData, trace: Trace, ready: ReadyCampaign, rig: Omit<Conditions, keyof State>): Record<string, number> {
  switch (run.label) {
    case 'kv': return kvTruth(data, trace, ready.article.motor.resistance_ohm);
    case 'thrust-curve': return { ...fullThrottleTruth(data, trace, rig.parameters), ...hoverTruth(data, trace, rig, ready.article.hover_thrust_N ?? NaN), ...lagTruth(data, trace) };
    case QUICK_TOP: return { [`${QUICK_TOP}.full_throttle_rpm`]: fullThrottleTruth(data, trace, rig.parameters).full_throttle_rpm };
    case 'response': return responseTruth(data, trace);
    case 'efficiency-hold': return holdTruth(data, trace, rig);
    case 'spin-up': return startTruth(data, trace, rig.parameters.esc.startFailure);
    case 'soak': return soakTruth(data, trace);
    default: throw new Error(`the study knows no truth for the protocol "${run.label}"`);
  }
}

/** The truth in one mounting. */
export const inMounting = (t: Linear, mounting: Mounting): number => t.value + t.perThrust * (mounting.thrustFactor - 1) + t.perTorque * (mounting.torqueFactor - 1);
