// The main job: a campaign or a protocol, run under the supervisor, with records on disk and figures at the end.
import { Subject } from 'rxjs';
import { breathe } from '../host/event-loop';
import { FileProblem, freeBytes, join } from '../host/files';
import { FolderInUse } from '../host/lock';
import { onFinishSignal, onStopSignal } from '../host/signals';
import { steady_ms } from '../host/wall-clock';
import type { OperatorRequest } from '../sequencer/options';
import { CampaignFolder } from './campaign-folder';
import { runCampaign, type CampaignEnd } from './campaign-run';
import { BadInput } from './errors';
import { FigureTable, type SettingFigures } from './figures';
import { prepareCampaign, withOwnProtocols, type PrepareOptions, type ReadyCampaign } from './prepare';
import type { Reporter } from './reporter';
import { TwinWorld } from './twin-world';
import type { World } from './world';

export interface RunOptions extends PrepareOptions {
  /** Parent folder of the campaign's folder; records/ in the bench folder when left out. */
  readonly records?: string;
  readonly resume?: boolean;
}

export interface RunSummary extends CampaignEnd {
  readonly campaign: string;
  readonly simulated: boolean;
  readonly figures: readonly SettingFigures[];
}

/** Room that must be left on the disk besides what the plan estimates. */
const DISK_RESERVE = 50e6;

/**
 * Runs what `target` names. The reporter hears everything on the way.
 * @throws BadInput before anything has turned, with every problem of the files, a full disk or a folder in use
 */
export async function runFile(target: string, options: RunOptions, reporter: Reporter): Promise<RunSummary> {
  const ready = prepareCampaign(target, await withOwnProtocols(target, options));
  const records = options.records ?? join(ready.folder, 'records');
  checkDisk(ready, records);
  const folder = openFolder(ready, records, options.resume ?? false);
  const world = openWorld(ready);
  const requests = new Subject<OperatorRequest>();
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
  try {
    await world.connect();
    const end = await runCampaign({ ready, world, folder, requests, reporter, figures: (run, record) => table.take(run, record) });
    return { ...end, campaign: ready.campaign.name, simulated: ready.rig.link.kind === 'twin', figures: table.rows() };
  } finally {
    world.close();
    folder.close();
    for (const stop of unlisten) stop();
  }
}

function openWorld(ready: ReadyCampaign): World {
  return new TwinWorld({ rig: ready.rig, article: ready.article, channels: ready.channels, breathe, now_ms: steady_ms });
}

function openFolder(ready: ReadyCampaign, records: string, resume: boolean): CampaignFolder {
  try {
    return resume ? CampaignFolder.resume(records, ready) : CampaignFolder.start(records, ready);
  } catch (error) {
    if (error instanceof FolderInUse || error instanceof FileProblem) throw new BadInput([error.message], { cause: error });
    throw error;
  }
}

function checkDisk(ready: ReadyCampaign, records: string): void {
  const need = ready.plan.estimate.disk_bytes + DISK_RESERVE;
  const free = freeBytes(records);
  if (free < need) {
    throw new BadInput([`${records}: the plan needs about ${Math.ceil(need / 1e6)} MB, ${Math.floor(free / 1e6)} MB are free; make room or name another place with --records`]);
  }
}
