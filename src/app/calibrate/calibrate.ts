// Calibrates one channel: step by step, resumable, stored with its reference, residuals, uncertainty and expiry.
import { leadPair_ohm } from '../../analysis/calibration/copper';
import { exists, join, resolve, writeNew } from '../../host/files';
import { today } from '../../host/wall-clock';
import { channelFacts } from '../../model/channel-facts';
import { checkRig } from '../../model/check-rig';
import type { Rig } from '../../model/files';
import { loadFile } from '../../model/load';
import { isSimulated } from '../../model/simulated';
import { formatQuantity } from '../../units';
import { ReferenceBench } from '../../twin/reference-bench';
import { benchFolderOf, loadBench, refuse } from '../bench-folder';
import { BadInput } from '../errors';
import { evaluate, type Evaluated, type TakenPoint } from './evaluate';
import { calibrationText } from './file';
import { readTargets, stepsFor, usualTargets, type CalibrationStep, type Target } from './plan';
import { simulatedRig, worldRig, type CalibrationRig } from './rig';
import { CalibrationState } from './state';

/** Whoever applies what a step asks for: a person, a file of answers, the simulated reference. */
export interface Guide {
  /** Why it cannot do these steps; empty when it can. */
  lacks(steps: readonly CalibrationStep[]): readonly string[];
  /** Resolves to what the reference says, SI (leads: the drop, V), or `stop`. */
  apply(step: CalibrationStep, n: number, of: number): Promise<number | 'stop'>;
}

export interface CalibrateOptions {
  readonly bench?: string;
  readonly points?: string;
  readonly reference?: string;
  readonly identifier?: string;
  /** Standard uncertainty of the reference, relative. */
  readonly u_reference?: number;
  readonly by?: string;
  readonly valid_days?: number;
  readonly law?: 'auto' | 'linear' | 'quadratic';
  readonly restart?: boolean;
  /** Leads: gauge and length of the pair, to notice what cannot be right. */
  readonly leads?: { readonly gauge: number; readonly length_m: number };
  /** How long each reading takes, s; how long creep is watched, s. */
  readonly read_s?: number;
  readonly creep_s?: number;
  readonly note: (text: string) => void;
  readonly guide: Guide;
}

export interface Calibrated {
  readonly channel: Target;
  readonly simulated: boolean;
  /** The file that was written; null when it was stopped and can be taken up again. */
  readonly file: string | null;
  readonly steps: number;
  readonly done: number;
  readonly points: readonly TakenPoint[];
  readonly result: Evaluated | null;
}

const READ_S = 2;
const CREEP_S = 60;
const VALID_DAYS = 365;
const DAY_MS = 86_400_000;
/** Measured leads may exceed bare copper by plugs and joints; less than this share of it, or more than that, is told. Rules of ours. */
const COPPER = { least: 0.8, most: 3 };

/** @throws BadInput with what is wrong and what to do; nothing that was taken so far is lost */
export async function calibrate(channel: Target, options: CalibrateOptions): Promise<Calibrated> {
  const folder = resolve(options.bench ?? benchFolderOf('.'));
  const files = loadBench(folder);
  // An expired calibration is why one calibrates: problems of the old files are no reason against it.
  refuse([...files.rig.problems, ...files.article.problems]);
  const rig = files.rig.value;
  const article = files.article.value;
  if (rig === null || article === null) throw new Error('a bench without problems has no rig or no article');
  const declared = channel === 'lead_resistance' ? null : rig.channels.find((c) => c.kind === channel) ?? null;
  if (channel !== 'lead_resistance' && declared === null) throw new BadInput([`${channel}: the rig file declares no such channel; accepted: ${[...rig.channels.map((c) => c.kind), 'lead_resistance'].join(', ')}`]);
  const targets = options.points === undefined ? usualTargets(channel, rig) : readTargets(channel, options.points);
  const steps = stepsFor(channel, targets);
  const reference = { name: options.reference ?? 'reference, not named', identifier: options.identifier ?? null, u: options.u_reference ?? 0 };
  if (reference.u === 0) options.note('No uncertainty of the reference was given (--u): it counts as exact, and what is stated below is too good by as much as it is not.');
  const simulated = rig.link.kind === 'twin';
  const bench = simulated ? new ReferenceBench(rig, article, reference.u) : null;
  const guide = bench === null ? options.guide : simulatedGuide(bench, channel);
  const lacking = guide.lacks(steps);
  if (lacking.length > 0) throw new BadInput([`A person is needed to calibrate ${channel}, and nobody can be asked here:`, ...lacking.map((l) => `  ${l}`), 'Start it in a terminal, or give --answers FILE with an entry for each.']);
  const state = CalibrationState.open(folder, { rig: rig.name, channel, steps: steps.map((s) => s.id), reference: reference.name, u_reference: reference.u, date: today() }, options.restart ?? false);
  if (state.done.length > 0) options.note(`Going on with an unfinished calibration: ${state.done.length} of ${steps.length} steps are there.`);
  const reader = channel === 'lead_resistance' ? null : bench === null ? await worldRig(rig, article, channelFacts(rig), options.note) : simulatedRig(bench);
  let finished: boolean;
  try {
    finished = await takeSteps(channel, steps, state, guide, reader, options);
  } finally {
    await reader?.close();
  }
  const points = pointsOf(steps, state);
  const base = { channel, simulated: isSimulated(rig), steps: steps.length, done: state.done.length, points };
  if (!finished) {
    state.leave();
    return { ...base, file: null, result: null };
  }
  const creepStep = state.done.find((d) => d.first !== undefined);
  const result = evaluate({ channel, points, creep: creepStep?.first === undefined ? null : { first: creepStep.first, last: creepStep.counts }, u_reference: reference.u, law: options.law ?? 'auto', declared });
  if (typeof result === 'string') {
    state.leave();
    throw new BadInput([`${channel}: this is no calibration: ${result}. The points are kept; --restart begins anew.`]);
  }
  const date = today();
  const name = freeName(folder, `${channel.replaceAll('_', '-')}-${date}`);
  const expires = new Date(Date.parse(date) + (options.valid_days ?? VALID_DAYS) * DAY_MS).toISOString().slice(0, 10);
  const text = calibrationText({ name, rig, channel, date, expires, by: options.by ?? null, reference, points, result, simulated: isSimulated(rig) });
  const file = join(folder, 'calibration', `${name}.yaml`);
  writeNew(file, text);
  state.finish();
  for (const n of [...result.notes, ...leadNotes(result, options), ...afterwards(files.rig, rig, text)]) options.note(n);
  return { ...base, file, result };
}

/** Takes every step that is not there yet. False when somebody stopped. */
async function takeSteps(channel: Target, steps: readonly CalibrationStep[], state: CalibrationState, guide: Guide, reader: CalibrationRig | null, options: CalibrateOptions): Promise<boolean> {
  const { read_s = READ_S, creep_s = CREEP_S } = options;
  for (const [i, step] of steps.entries()) {
    if (state.has(step)) continue;
    // The load of a creep watch is that of the point before it, which a person left on.
    const applied = await guide.apply(step, i + 1, steps.length);
    if (applied === 'stop') return false;
    if (reader === null || channel === 'lead_resistance') {
      state.take({ id: step.id, applied: step.target, counts: applied });
      continue;
    }
    const first = await reader.read(channel, read_s);
    if (step.role === 'creep') {
      await reader.read(channel, Math.max(0, creep_s - 2 * read_s));
      const last = await reader.read(channel, read_s);
      state.take({ id: step.id, applied, counts: last.mean, first: first.mean });
    } else state.take({ id: step.id, applied, counts: first.mean, sd: first.sd });
  }
  return true;
}

function pointsOf(steps: readonly CalibrationStep[], state: CalibrationState): TakenPoint[] {
  return steps.flatMap((s) => {
    const done = state.done.find((d) => d.id === s.id);
    return done === undefined || s.role === 'creep' ? [] : [{ id: s.id, applied: done.applied, direction: s.direction, counts: done.counts, sd: done.sd ?? null }];
  });
}

/** The reference played by the simulated rig: no hand is needed. */
function simulatedGuide(bench: ReferenceBench, channel: Target): Guide {
  return { lacks: () => [], apply: (step) => Promise.resolve(channel === 'lead_resistance' ? bench.leadDrop(step.target) : bench.apply(step.target)) };
}

function freeName(folder: string, wanted: string): string {
  for (let n = 1; ; n++) {
    const name = n === 1 ? wanted : `${wanted}-${n}`;
    if (!exists(join(folder, 'calibration', `${name}.yaml`))) return name;
  }
}

function leadNotes(result: Evaluated, { leads }: CalibrateOptions): string[] {
  if (leads === undefined || result.law.kind !== 'constant') return [];
  const copper = leadPair_ohm(leads.gauge, leads.length_m);
  const share = result.law.value / copper;
  if (share >= COPPER.least && share <= COPPER.most) return [];
  return [`The leads measure ${formatQuantity(result.law.value, 'resistance')}; bare copper of AWG ${leads.gauge} and ${formatQuantity(leads.length_m, 'length')} each way has ${formatQuantity(copper, 'resistance')}. Look at plugs, joints and where the meter was.`];
}

/** What the bench says with the new calibration in it. */
function afterwards(rigFile: Parameters<typeof checkRig>[0], rig: Rig, text: string): string[] {
  const made = loadFile('calibration', 'new', text).value;
  if (made === null) return [];
  const before = new Set(checkRig(rigFile, []).map((p) => p.message));
  return checkRig(rigFile, [made]).filter((p) => !before.has(p.message)).map((p) => `${rig.name}: ${p.key}: ${p.message}; accepted: ${p.accepted}. Calibrate over a wider range, or lower the limit.`);
}
