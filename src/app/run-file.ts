// The main job: a campaign or a protocol, run under the supervisor, with records on disk and figures at the end.
import { Subject } from 'rxjs';
import { FileProblem, freeBytes, join } from '../host/files';
import { FolderInUse } from '../host/lock';
import { findProgram } from '../host/program';
import { onFinishSignal, onStopSignal } from '../host/signals';
import type { OperatorRequest } from '../sequencer/options';
import { newestUnfinished, type ReadFolder } from './campaign-files';
import { CampaignFolder, TRY_SKIPPED } from './campaign-folder';
import { runCampaign, type CampaignEnd } from './campaign-run';
import { STOPPED_BY_PERSON } from './changeover-run';
import { checkMass, checkMassRequests } from './check-mass';
import { BadInput } from './errors';
import { FigureTable, measuredIn, type SettingFigures } from './figures';
import { prepareCampaign, withOwnProtocols, type PrepareOptions, type ReadyCampaign } from './prepare';
import { openWorld } from './open-world';
import { handsToCome, NOBODY, type Operator } from './operator';
import type { Reporter } from './reporter';
import { requireProof } from './rig-check/proven';
import type { World } from './world';
import { isSimulated } from '../model/simulated';

export interface RunOptions extends PrepareOptions {
  /** Parent folder of the campaign's folder; records/ in the bench folder when left out. */
  readonly records?: string;
  readonly resume?: boolean;
  /** With `resume`: skipped settings are taken back in. */
  readonly trySkipped?: boolean;
  /** Somebody has seen that the guard is closed: do not ask before a real rig starts. */
  readonly yes?: boolean;
  /** Who is asked for hands; nobody when left out. */
  readonly operator?: OperatorSource;
}

/** Finds who can be asked, once the campaign is known. Throws BadInput. */
export type OperatorSource = (ready: ReadyCampaign) => Operator;

export interface RunSummary extends CampaignEnd {
  readonly campaign: string;
  readonly simulated: boolean;
  readonly figures: readonly SettingFigures[];
}

const GUARD_CLOSED = 'This is a real rig: before it starts somebody says that the guard is closed, and nobody can be asked here; accepted: a terminal, --answers FILE, or --yes';
/** Room that must be left on the disk besides what the plan estimates. */
const DISK_RESERVE = 50e6;

/**
 * Runs what `target` names. The reporter hears everything on the way.
 * @throws BadInput before anything has turned, with every problem of the files, a full disk or a folder in use
 */
export async function runFile(target: string, options: RunOptions, reporter: Reporter): Promise<RunSummary> {
  const ready = prepareCampaign(target, await withOwnProtocols(target, options));
  const records = options.records ?? join(ready.folder, 'records');
  const operator = options.operator?.(ready) ?? NOBODY;
  requireProof(ready.folder, ready.rig);
  checkPrograms(ready);
  const { resume = false, trySkipped = false } = options;
  if (trySkipped && !resume) throw new BadInput(['--try-skipped: skipped settings belong to a campaign that has been begun; accepted: --resume --try-skipped']);
  const begun = resume ? newestUnfinished(records, ready.campaign.name, trySkipped) : null;
  if (trySkipped) begun?.ledger.apply(TRY_SKIPPED);
  checkHands(ready, operator, begun);
  const ask = ready.rig.link.kind !== 'twin' && options.yes !== true;
  if (ask && operator === NOBODY) throw new BadInput([GUARD_CLOSED]);
  checkDisk(ready, records, begun);
  const folder = openFolder(ready, records, resume, trySkipped);
  const world = openWorld({ ...ready, note: (text) => { reporter.note(text); } });
  const requests = new Subject<OperatorRequest>();
  const stopping = new AbortController();
  requests.subscribe((request) => { if (request === 'stop-now') stopping.abort(); });
  const unlisten = [
    onStopSignal((count) => {
      if (count === 1) reporter.note('Stopping now: the motor first, then the record.');
      requests.next('stop-now');
    }),
    onFinishSignal(() => {
      reporter.note('Finishing this segment, then stopping.');
      requests.next('finish-segment');
    }),
  ];
  const table = new FigureTable(ready);
  const nothing = (): RunSummary => ({ ...nothingRun(folder, ready), campaign: ready.campaign.name, simulated: isSimulated(ready.rig), figures: table.rows() });
  try {
    takeOverFigures(folder, table);
    await world.connect();
    if (ask && (await operator.clear({ simulated: false, output_off: false }, stopping.signal)) === 'stop') return nothing();
    const mass = await checkMass(ready, world, operator, stopping.signal);
    if (mass === 'stop') return nothing();
    if (mass !== null) folder.remark('check-mass', 0, mass);
    const end = await runCampaign({ ready, world, folder, requests, reporter, operator, figures: (run, record) => table.take(run, record), soFar: () => table.soFar() });
    return { ...end, campaign: ready.campaign.name, simulated: isSimulated(ready.rig), figures: table.rows() };
  } finally {
    await switchOff(world, reporter);
    world.close();
    folder.close();
    for (const stop of unlisten) stop();
  }
}

/** A session that a person ended before its first run. */
function nothingRun(folder: CampaignFolder, ready: ReadyCampaign): CampaignEnd {
  const { goodRuns } = folder.ledger;
  return { folder: folder.path, outcomes: [], planned: ready.plan.runs.length, good: goodRuns, skipped: folder.ledger.skippedCount(), stopped: STOPPED_BY_PERSON, trip: null };
}

/** Figures of earlier sessions; those that a kill kept from being written down are read from the record and written down now. */
function takeOverFigures(folder: CampaignFolder, table: FigureTable): void {
  const { noted, recovered } = measuredIn(folder.path, folder.before);
  for (const { run, values } of recovered) folder.remark('figures', run, values);
  table.takeOver([...noted, ...recovered]);
}

/** The output is off at the end, however it came: off is a property of the bench, not a last step of a good run. */
async function switchOff(world: World, reporter: Reporter): Promise<void> {
  try {
    await world.outputOff();
  } catch (error) {
    reporter.alarm(`THE SUPPLY'S OUTPUT MAY STILL BE ON: ${error instanceof Error ? error.message : String(error)}. Cut the power by hand.`);
  }
}

function openFolder(ready: ReadyCampaign, records: string, resume: boolean, trySkipped: boolean): CampaignFolder {
  try {
    return resume ? CampaignFolder.resume(records, ready, { trySkipped }) : CampaignFolder.start(records, ready);
  } catch (error) {
    if (error instanceof FolderInUse || error instanceof FileProblem) throw new BadInput([error.message], { cause: error });
    throw error;
  }
}

/** Refuses when somebody has to come and nobody can be asked. @throws BadInput listing what would be asked */
function checkHands(ready: ReadyCampaign, operator: Operator, folder: ReadFolder | null): void {
  const lacking = operator.lacks([...checkMassRequests(ready), ...handsToCome(ready, folder)]);
  if (lacking.length === 0) return;
  throw new BadInput([
    `${ready.campaign.name}: a person is needed, and nobody can be asked here (standard input is no terminal, or the answers do not cover it):`,
    ...lacking.map((line) => `  ${line}`),
    'Start it in a terminal, or give --answers FILE with an entry for each (see docs/files.md, answers).',
  ]);
}

/** Refuses when a program that the campaign names is not there. @throws BadInput with every one */
function checkPrograms(ready: ReadyCampaign): void {
  const { factors, notify } = ready.campaign;
  const named = [
    ...Object.entries(factors).flatMap(([name, f]) => (f.apply !== 'command' ? [] : [
      { where: `factors.${name}.command`, command: f.command },
      ...(f.read_back === null ? [] : [{ where: `factors.${name}.read_back`, command: f.read_back }]),
    ])),
    ...(notify === null ? [] : [{ where: 'notify.command', command: notify.command }]),
  ];
  const missing = named.flatMap(({ where, command }) => {
    const found = findProgram(command[0] ?? '', ready.folder);
    return found.path === null ? [`${ready.campaign.name}: ${where}: ${found.why}`] : [];
  });
  if (missing.length > 0) throw new BadInput(missing);
}

/** Refuses when the runs still to be made do not fit on the disk. @throws BadInput with the numbers */
function checkDisk(ready: ReadyCampaign, records: string, begun: ReadFolder | null): void {
  const need = ready.plan.runs.reduce((sum, run) => (begun?.ledger.isGood(run.index) === true ? sum : sum + run.bytes), DISK_RESERVE);
  const free = freeBytes(records);
  if (free < need) {
    throw new BadInput([`${records}: the plan needs about ${Math.ceil(need / 1e6)} MB, ${Math.floor(free / 1e6)} MB are free; make room or name another place with --records`]);
  }
}
