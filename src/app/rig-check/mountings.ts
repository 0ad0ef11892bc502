// The repeatability study: what a new mounting changes, found before a campaign rests on it.
import { segmentMean } from '../../analysis/commissioning/spin';
import { remountSplit, type RemountSplit } from '../../analysis/commissioning/remount';
import { withRole, type RunData } from '../../analysis/run-data';
import type { NoResult } from '../../analysis/stats/check';
import { join, writeNew } from '../../host/files';
import { stampForFile } from '../../host/wall-clock';
import { formatNumber } from '../../units';
import { BadInput } from '../errors';
import type { World } from '../world';
import { duringCheck, type Check, type CheckOptions } from './during';
import { letGo } from './session';
import { CHECKS } from './store';
import { isSimulated } from '../../model/simulated';

export interface StudyOptions extends CheckOptions {
  /** Mountings, 2 or more, and runs in each, 2 or more. */
  readonly mountings: number;
  readonly runs: number;
  /** Throttle of the level, fraction. */
  readonly throttle: number;
}

export const QUANTITIES = ['thrust', 'speed', 'power'] as const;
export type StudyQuantity = (typeof QUANTITIES)[number];

export interface Study {
  readonly rig: string;
  readonly simulated: boolean;
  readonly mountings: number;
  readonly runs: number;
  readonly throttle: number;
  readonly split: Readonly<Record<StudyQuantity, RemountSplit | NoResult>>;
  /** What to write into the rig file; null when the study was stopped or gave nothing. */
  readonly remount: string | null;
  readonly stopped: boolean;
}

/** Runs the study and keeps it beside the checks. @throws BadInput for bad files or a run that did not come to its end */
export async function studyMountings(options: StudyOptions): Promise<{ study: Study; path: string | null }> {
  if (options.mountings < 2 || options.runs < 2) throw new BadInput([`${options.mountings} mountings of ${options.runs} runs: a study needs 2 of each at least; 5 mountings or more make it worth its time`]);
  return await duringCheck(options, 'check-mounting', 'mountings', async (check) => {
    const groups: Groups = { thrust: [], speed: [], power: [] };
    const world = check.open(check.ready);
    const stopped = await playAll(options, check, world, groups).finally(() => letGo(world));
    const { rig } = check.ready;
    const study = studyOf(rig.name, isSimulated(rig), groups, options, stopped);
    if (stopped) return { study, path: null };
    const path = join(options.bench, CHECKS, `mountings-${stampForFile(check.now())}.json`);
    writeNew(path, `${JSON.stringify({ ...study, values: groups }, null, 2)}\n`);
    return { study, path };
  });
}

type Groups = Record<StudyQuantity, number[][]>;

/** Every run of every mounting, in one world. True when a person stopped it. */
async function playAll(options: StudyOptions, { session, asked }: Check, world: World, groups: Groups): Promise<boolean> {
  await world.connect();
  for (let mounting = 1; mounting <= options.mountings; mounting++) {
    const question = mounting === 1 ? 'Mounted as usual, guard closed. May the motor turn?' : 'Take motor and propeller off and mount them again. Done, guard closed?';
    // Off before hands go in, where a program switches it.
    const off = await world.outputOff();
    const answer = await options.person.ask(`Mounting ${mounting} of ${options.mountings}: ${question}`, off ? 'The supply’s output is off; a battery beside it may still hold charge.' : 'Cut the power before hands go in.');
    if (answer !== 'yes' || asked()) return true;
    if (off) await world.outputOn();
    if (mounting > 1) await world.remount(mounting);
    for (const quantity of QUANTITIES) groups[quantity].push([]);
    for (let run = 1; run <= options.runs; run++) {
      options.reporter.note(`Mounting ${mounting} of ${options.mountings}, run ${run} of ${options.runs}`);
      const { outcome, data } = await session.play('check-mounting', { set: [`throttle=${formatNumber(100 * options.throttle, 6)} %`], world });
      if (asked()) return true;
      if (outcome.outcome !== 'done' || data === null) throw new BadInput([`mounting ${mounting}, run ${run} ended as ${outcome.outcome}: ${outcome.detail}`]);
      const level = levelMeans(data);
      for (const quantity of QUANTITIES) if (level[quantity] !== null) groups[quantity][mounting - 1].push(level[quantity]);
    }
  }
  return false;
}

/** Net thrust, speed and power at the level; null where not measured. */
function levelMeans(data: RunData): Record<StudyQuantity, number | null> {
  const level = withRole(data, 'mounting').at(0);
  const zero = withRole(data, 'zero-before').at(0);
  if (level === undefined) return { thrust: null, speed: null, power: null };
  const of = (kind: 'thrust' | 'speed' | 'current' | 'voltage'): number | null => segmentMean(data, level, kind, 0.5);
  const [thrust, speed, current, voltage] = [of('thrust'), of('speed'), of('current'), of('voltage')];
  const zero_N = zero === undefined ? null : segmentMean(data, zero, 'thrust');
  return {
    thrust: thrust === null || zero_N === null ? null : thrust - zero_N, speed,
    power: current === null || voltage === null ? null : current * voltage,
  };
}

function studyOf(rig: string, simulated: boolean, groups: Readonly<Groups>, options: StudyOptions, stopped: boolean): Study {
  const split = { thrust: remountSplit(groups.thrust), speed: remountSplit(groups.speed), power: remountSplit(groups.power) };
  const entries = QUANTITIES.flatMap((q) => {
    const s = split[q];
    return s.ok ? [`${q}: ${formatNumber(100 * s.between, 2)} %`] : [];
  });
  const remount = stopped || entries.length === 0 ? null : `remount: { mounts: ${options.mountings}, ${entries.join(', ')} }`;
  return { rig, simulated, mountings: options.mountings, runs: options.runs, throttle: options.throttle, split, remount, stopped };
}
