/** The truth of an article: what every metric would be without noise and sensor errors, and how it goes with the mounting. */
import fs from 'node:fs';
import type { ReadyCampaign } from '../../src/app/prepare';
import type { RunData } from '../../src/analysis/run-data';
import { MapCache, type RigParameters } from '../../src/twin/physics';
import { benchOf } from '../bench';
import { levelsOf, QUICK_TOP, type ArticleName } from '../cells';
import { play, type PlayedRun } from '../play';
import { holdTruth, startTruth } from './holds';
import { fullThrottleTruth, kvTruth } from './plateaus';
import { onLine, soakTable, soakValue, STATED_AIR, TORQUE, type SoakTable } from './soak-table';
import type { Conditions, State } from './static';
import { responseTruth } from './steps';
import { hoverTruth, lagTruth } from './sweep';
import { inTimeOf, traceOf, type Trace } from './trace';

/**
 * A metric over the mountings: its values at the torque factors of {@link Truths}, and its change for one whole unit of the thrust
 * factor. Torque moves the drive along its curves, whose bends a straight line would miss; thrust moves only what is read as thrust.
 */
export type Along = { readonly values: readonly number[]; readonly perThrust: number };
/** By setting, by metric; and the soak at the base setting, by where it really took place. */
export type Truths = { readonly torque: readonly number[]; readonly settings: Readonly<Record<string, Readonly<Record<string, Along>>>>; readonly soak: SoakTable | null };

type Values = Record<string, Record<string, number>>;
/** Factors of a mounting. */
export type Mounting = { readonly thrustFactor: number; readonly torqueFactor: number };
/** What a truth depends on. `soakPower`: power that flowed in a soak over the power that its loop held. */
export type Bench = Mounting & { readonly soakPower: number };

/** The bench that every other one is drawn around. */
export const NOMINAL: Bench = { thrustFactor: 1, torqueFactor: 1, soakPower: 1 };

/** Step of the thrust factor for its slope: mountings spread by 0.4 %, on the hostile rig by 1 %. */
const STEP = 0.01;

/** Truths of an article: every run of the schedule once, without noise, in as many mountings as the table of torque has, and in one of another thrust. */
export async function truthsOf(article: ArticleName): Promise<Truths> {
  const maps = new MapCache();
  const along: Values[] = [];
  for (const torqueFactor of TORQUE) along.push(await campaign(article, maps, { thrustFactor: 1, torqueFactor }));
  const centre = along[TORQUE.indexOf(1)];
  const thrust = await campaign(article, maps, { thrustFactor: 1 + STEP, torqueFactor: 1 });
  const settings = Object.fromEntries(Object.entries(centre).map(([setting, metrics]) => [setting, Object.fromEntries(Object.entries(metrics).map(([name, value]): [string, Along] => [name, {
    values: along.map((a) => a[setting][name]), perThrust: (thrust[setting][name] - value) / STEP,
  }]))]));
  return { torque: TORQUE, settings, soak: await soakTable(article, maps) };
}

async function campaign(article: ArticleName, maps: MapCache, { thrustFactor, torqueFactor }: Mounting): Promise<Values> {
  const { ready, folder } = benchOf({ article, rig: 'default' }, 'none');
  const heard: { parameters: RigParameters; take: () => Trace }[] = [];
  const all: Values = {};
  await play({
    ready, article, folder, seed: 1, beginSpread_K: 0, only: (run) => run.repeat === 1 && run.label !== 'soak', maps, environment: STATED_AIR,
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

function valuesOf(run: PlayedRun, data: RunData, trace: Trace, ready: ReadyCampaign, rig: Omit<Conditions, keyof State>): Record<string, number> {
  switch (run.label) {
    case 'kv': return kvTruth(data, trace, ready.article.motor.resistance_ohm);
    case 'thrust-curve': return { ...fullThrottleTruth(data, trace, rig.parameters), ...hoverTruth(data, trace, rig, ready.article.hover_thrust_N ?? NaN), ...lagTruth(data, trace) };
    case QUICK_TOP: return { [`${QUICK_TOP}.full_throttle_rpm`]: fullThrottleTruth(data, trace, rig.parameters).full_throttle_rpm };
    case 'response': return responseTruth(data, trace);
    case 'efficiency-hold': return holdTruth(data, trace, rig);
    case 'spin-up': return startTruth(data, trace, rig.parameters.esc.startFailure);
    default: throw new Error(`the study knows no truth for the protocol "${run.label}"`);
  }
}

/** The truth of a metric at a setting on a bench; null where the study knows none. */
export function trueValue({ torque, settings, soak }: Truths, setting: string, metric: string, drawn: Bench): number | null {
  const t: Along | undefined = settings[setting]?.[metric];
  if (t !== undefined) return onLine(torque, t.values, drawn.torqueFactor) + t.perThrust * (drawn.thrustFactor - 1);
  return soak === null || setting !== 'base' ? null : soakValue(soak, metric, { torqueFactor: drawn.torqueFactor, power: drawn.soakPower });
}
