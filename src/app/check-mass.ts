// The check mass at the start of a campaign: one known mass on the load cell tells whether its calibration still holds.
import type { Operator, HandsRequest } from './operator';
import type { ReadyCampaign } from './prepare';
import type { World } from './world';
import { toSI } from '../model/channel';
import { ReferenceBench } from '../twin/reference-bench';
import { formatQuantity, STANDARD_GRAVITY } from '../units';
import { readCounts } from './calibrate/rig';
import { BadInput } from './errors';

/** Kept in the journal. */
export interface CheckMassNote {
  readonly mass_kg: number;
  /** What the load cell shows with the mass less without it, N; and how far that is from the mass, relative. */
  readonly reading_N: number;
  readonly off: number;
  readonly within: number;
  readonly simulated: boolean;
}

const CHANGE = 'check_mass';
const READ_S = 2;

/** What a person will be asked for it; nothing on the simulated rig, which plays the mass itself. */
export function checkMassRequests(ready: ReadyCampaign): HandsRequest[] {
  const { check_mass, link } = ready.rig;
  if (check_mass === null || link.kind === 'twin') return [];
  const mass = formatQuantity(check_mass.mass_kg, 'mass', { unit: 'g' });
  const request = (to: string, from: string, title: string, step: string): HandsRequest => ({
    run: 0, of: ready.plan.runs.length, condition: CHANGE, from, to, title, checklist: [step], ask: [], simulated: false, output_off: false,
  });
  return [
    request(mass, 'nothing', `Check mass: put ${mass} on the load cell`, `${mass} hangs or stands still on the load cell, in the direction of thrust`),
    request('nothing', mass, 'Check mass: take it off again', 'Nothing is left on the stand'),
  ];
}

/**
 * Reads the check mass. Nothing is driven; the supply's output is off meanwhile.
 * @returns what was found, `stop` when the person ends it, null when the rig file asks for none
 * @throws BadInput when the reading is further off than the rig file accepts
 */
export async function checkMass(ready: ReadyCampaign, world: World, operator: Operator, signal: AbortSignal): Promise<CheckMassNote | 'stop' | null> {
  const { check_mass, link } = ready.rig;
  const thrust = ready.channels.find((c) => c.kind === 'thrust');
  if (check_mass === null || thrust === undefined) return null;
  const simulated = link.kind === 'twin';
  const counts = simulated ? simulatedCounts(ready, check_mass.mass_kg) : await countsByHand(ready, world, operator, signal);
  if (counts === 'stop') return 'stop';
  const wanted_N = check_mass.mass_kg * STANDARD_GRAVITY;
  const reading_N = toSI(thrust.conversion, counts.loaded) - toSI(thrust.conversion, counts.empty);
  const off = reading_N / wanted_N - 1;
  if (Math.abs(off) > check_mass.within) {
    const percent = (share: number): string => `${Number((100 * share).toPrecision(3))} %`;
    throw new BadInput([
      `Check mass: ${formatQuantity(check_mass.mass_kg, 'mass', { unit: 'g' })} reads ${formatQuantity(reading_N, 'force', { unit: 'gf', digits: 5 })}, ${percent(off)} off (accepted: ${percent(check_mass.within)}). ` +
      'Is it the right mass, free of everything else? Else calibrate again: spoolbench rig calibrate thrust',
    ]);
  }
  return { mass_kg: check_mass.mass_kg, reading_N, off, within: check_mass.within, simulated };
}

interface Counts {
  readonly empty: number;
  readonly loaded: number;
}

async function countsByHand(ready: ReadyCampaign, world: World, operator: Operator, signal: AbortSignal): Promise<Counts | 'stop'> {
  const [on, off] = checkMassRequests(ready);
  const empty = await readCounts(world, ready.channels, 'thrust', READ_S);
  const output_off = await world.outputOff();
  if ((await operator.hands({ ...on, output_off }, signal)) === 'stop') return 'stop';
  const loaded = await readCounts(world, ready.channels, 'thrust', READ_S);
  if ((await operator.hands({ ...off, output_off }, signal)) === 'stop') return 'stop';
  if ((await operator.clear({ simulated: false, output_off }, signal)) === 'stop') return 'stop';
  await world.outputOn();
  return { empty: empty.mean, loaded: loaded.mean };
}

/** The mass is played with the errors of this simulated load cell, and none of its own. */
function simulatedCounts(ready: ReadyCampaign, mass_kg: number): Counts {
  const bench = new ReferenceBench(ready.rig, ready.article, 0);
  bench.apply(0);
  const empty = bench.read('thrust', READ_S).mean;
  bench.apply(mass_kg * STANDARD_GRAVITY);
  return { empty, loaded: bench.read('thrust', READ_S).mean };
}
