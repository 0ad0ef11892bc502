/**
 * The truth of a soak where it really took place. The loop holds the power that the stand reads, so another power flows, and what a
 * soak shows is said of that power. The fit of one exponential to a short soak bends with power and torque, so a slope will not do.
 */
import fs from 'node:fs';
import type { ReadyCampaign } from '../../src/app/prepare';
import { CHANNEL, type MapCache } from '../../src/twin/physics';
import { benchOf } from '../bench';
import type { ArticleName } from '../cells';
import { play } from '../play';
import { soakTruth } from './holds';
import { inTimeOf, traceOf } from './trace';

/** What moves a soak: the mounting's torque factor, and the power that flowed over the one that was read. */
export type SoakPlace = { readonly torqueFactor: number; readonly power: number };

/** Each metric by torque (rows) and power (columns). */
export type SoakTable = { readonly torque: readonly number[]; readonly power: readonly number[]; readonly values: Readonly<Record<string, readonly (readonly number[])[]>> };

/** Mountings differ by 0.4 or 1 %, stands read the power to about 0.5 %. Nodes are densest where most seeds are. */
export const TORQUE = [0.98, 0.99, 0.995, 1, 1.005, 1.01, 1.02];
const POWER = [0.988, 0.994, 0.997, 1, 1.003, 1.006, 1.012];

/**
 * A bench whose loop is that of real ones: noise carries its throttle over the steps of the duty, and its ESC's clock is a little off.
 * Without, 48 kHz is six conversions exactly, and ripple makes the stand read 0.65 % too much current for ever. The errors of its sensors are taken out.
 */
const SOAK_SEED = 2001;

/** Plays the soak once for each node. */
export async function soakTable(article: ArticleName, maps: MapCache): Promise<SoakTable> {
  const values: Record<string, number[][]> = {};
  for (const [row, torqueFactor] of TORQUE.entries()) {
    for (const power of POWER) {
      for (const [metric, value] of Object.entries(await soakAt(article, maps, { torqueFactor, power }))) ((values[metric] ??= [])[row] ??= []).push(value);
    }
  }
  return { torque: TORQUE, power: POWER, values };
}

async function soakAt(article: ArticleName, maps: MapCache, { torqueFactor, power }: SoakPlace): Promise<Record<string, number>> {
  const { ready, folder } = benchOf({ article, rig: 'quiet' });
  let take: ReturnType<typeof traceOf>['take'] | null = null;
  let truth: Record<string, number> | null = null;
  await play({
    ready, article, folder, seed: SOAK_SEED, beginSpread_K: 0, only: (run) => run.label === 'soak' && run.repeat === 1, maps, environment: STATED_AIR,
    onRig: (rig) => {
      Object.assign(rig.drive, { thrustFactor: 1, torqueFactor });
      for (const converter of rig.converters) Object.assign(converter, { gainError: 0, offsetError: 0 });
      // A stand that reads its current too low by this much lets so much more flow.
      Object.assign(rig.converters[CHANNEL.current], { gainError: 1 / power - 1 });
      rig.setPropeller(true);
      take = traceOf(rig).take;
    },
  }, (run) => {
    if (run.data === null || take === null) throw new Error(`${run.id} ended as ${run.why}`);
    const trace = take();
    truth = soakTruth(inTimeOf(trace, run.data), trace);
  });
  fs.rmSync(folder, { recursive: true });
  if (truth === null) throw new Error('the campaign of the study plays no soak');
  return truth;
}

/** Air that a rig file states; no truth depends on it. */
export const STATED_AIR: NonNullable<ReadyCampaign['rig']['environment']> = { temperature_degC: 20, pressure_Pa: 100_000, humidity: 0.4 };

/** A metric of the table at a place, on straight lines between the nodes and beyond them; null when it is none of a soak. */
export function soakValue({ torque, power, values }: SoakTable, metric: string, at: SoakPlace): number | null {
  if (!(metric in values)) return null;
  const rows = values[metric].map((row) => onLine(power, row, at.power));
  return onLine(torque, rows, at.torqueFactor);
}

/** On straight lines between nodes, and beyond the last ones. */
export function onLine(x: readonly number[], y: readonly number[], at: number): number {
  let i = 1;
  while (i < x.length - 1 && at > x[i]) i++;
  return y[i - 1] + ((at - x[i - 1]) / (x[i] - x[i - 1])) * (y[i] - y[i - 1]);
}
