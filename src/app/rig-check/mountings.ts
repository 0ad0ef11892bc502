// The repeatability study: what a new mounting changes, found before a campaign rests on it.
import { Subject } from 'rxjs';
import { segmentMean } from '../../analysis/commissioning/spin';
import { remountSplit, type RemountSplit } from '../../analysis/commissioning/remount';
import { withRole, type RunData } from '../../analysis/run-data';
import type { NoResult } from '../../analysis/stats/check';
import { join, makeNewFolder, writeNew } from '../../host/files';
import { onStopSignal } from '../../host/signals';
import { stampForFile, wallClock_ms } from '../../host/wall-clock';
import type { OperatorRequest } from '../../sequencer/options';
import { formatNumber } from '../../units';
import { BadInput } from '../errors';
import { opener, type CheckOptions } from './check';
import { CheckSession, readyCheck } from './session';

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
  const now = options.now_ms ?? wallClock_ms;
  const requests = new Subject<OperatorRequest>();
  let stopped = false;
  const unlisten = onStopSignal(() => {
    stopped = true;
    requests.next('stop-now');
  });
  const ready = readyCheck(options.bench, 'check-mounting');
  const started_ms = now();
  const records = join(options.records ?? join(options.bench, 'records'), `mountings-${stampForFile(started_ms)}`);
  makeNewFolder(records);
  const session = new CheckSession({ bench: options.bench, records, reporter: options.reporter, requests, open: () => world });
  const world = (options.open ?? opener(options.reporter))(ready);
  const groups: Record<StudyQuantity, number[][]> = { thrust: [], speed: [], power: [] };
  try {
    await world.connect();
    for (let mounting = 1; mounting <= options.mountings && !stopped; mounting++) {
      const question = mounting === 1 ? 'Mounted as usual, guard closed. May the motor turn?' : 'Take motor and propeller off and mount them again. Done, guard closed?';
      if (await options.person.ask(`Mounting ${mounting} of ${options.mountings}: ${question}`, 'Cut the power before hands go in.') !== 'yes') stopped = true;
      if (mounting > 1 && !stopped) await world.remount(mounting);
      for (const quantity of QUANTITIES) groups[quantity].push([]);
      for (let run = 1; run <= options.runs && !stopped; run++) {
        options.reporter.note(`Mounting ${mounting} of ${options.mountings}, run ${run} of ${options.runs}`);
        const { outcome, data } = await session.play('check-mounting', { set: [`throttle=${formatNumber(100 * options.throttle, 6)} %`], world });
        if (stopped) break;
        if (outcome.outcome !== 'done' || data === null) throw new BadInput([`mounting ${mounting}, run ${run} ended as ${outcome.outcome}: ${outcome.detail}`]);
        const level = levelMeans(data);
        for (const quantity of QUANTITIES) if (level[quantity] !== null) groups[quantity][mounting - 1].push(level[quantity]);
      }
    }
  } finally {
    world.close();
    unlisten();
  }
  const study = studyOf(ready.rig.name, ready.rig.link.kind === 'twin', groups, options, stopped);
  if (stopped) return { study, path: null };
  const path = join(options.bench, 'checks', `mountings-${stampForFile(started_ms)}.json`);
  writeNew(path, `${JSON.stringify({ ...study, values: groups }, null, 2)}\n`);
  return { study, path };
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

function studyOf(rig: string, simulated: boolean, groups: Readonly<Record<StudyQuantity, number[][]>>, options: StudyOptions, stopped: boolean): Study {
  const split = { thrust: remountSplit(groups.thrust), speed: remountSplit(groups.speed), power: remountSplit(groups.power) };
  const entries = QUANTITIES.flatMap((q) => {
    const s = split[q];
    return s.ok ? [`${q}: ${formatNumber(100 * s.between, 2)} %`] : [];
  });
  const remount = stopped || entries.length === 0 ? null : `remount: { mounts: ${options.mountings}, ${entries.join(', ')} }`;
  return { rig, simulated, mountings: options.mountings, runs: options.runs, throttle: options.throttle, split, remount, stopped };
}
