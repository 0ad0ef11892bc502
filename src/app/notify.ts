// Tells the user's program that something needs to be known. Its failure is reported and kept, never more than that.
import { runProgram } from '../host/program';
import type { TripCode } from '../model/trip';
import { isSimulated } from '../model/simulated';
import type { CampaignFolder } from './campaign-folder';
import type { ReadyCampaign } from './prepare';
import type { Reporter } from './reporter';

/** What the program gets on its standard input, as JSON. */
export interface Notice {
  readonly event: 'finished' | 'tripped' | 'needs-hands';
  /** One sentence for a person. */
  readonly detail: string;
  /** Run that it is about, null for the campaign. */
  readonly run: number | null;
  readonly trip?: TripCode;
  /** Whether the campaign goes on by itself. */
  readonly going_on: boolean;
  /** For needs-hands: what is to be done. */
  readonly hands?: readonly string[];
}

/** Sends notices without making the bench wait; `settled` waits for the last of them. */
export class Notifier {
  private readonly underWay = new Set<Promise<void>>();

  constructor(private readonly ready: ReadyCampaign, private readonly folder: CampaignFolder, private readonly reporter: Reporter) {}

  tell(notice: Notice): void {
    const { campaign } = this.ready;
    const { notify } = campaign;
    if (notify?.on.includes(notice.event) !== true) return;
    const { ledger } = this.folder;
    const summary = {
      ...notice, campaign: campaign.name, folder: this.folder.path, simulated: isSimulated(this.ready.rig),
      of: this.ready.plan.runs.length, good: ledger.goodRuns, skipped: ledger.skippedCount(),
    };
    const call = runProgram({ command: notify.command, folder: this.ready.folder, input: `${JSON.stringify(summary)}\n`, time_limit_s: notify.time_limit_s });
    const telling = call.then((result) => {
      const well = result.how === 'ended' && result.exit_code === 0;
      this.folder.remark('notice', notice.run ?? 0, { event: notice.event, well, detail: result.detail, stdout: result.stdout, stderr: result.stderr });
      if (!well) this.reporter.note(`Nobody may have been told that the campaign is ${notice.event}: ${result.detail}${result.stderr === '' ? '' : `: ${result.stderr.trim().split('\n')[0]}`}`);
    }).catch((error: unknown) => {
      this.reporter.note(`The notice of ${notice.event} could not be sent or kept: ${String(error)}`);
    }).finally(() => {
      this.underWay.delete(telling);
    });
    this.underWay.add(telling);
  }

  /** Resolves when every notice has been taken or given up. Never rejects. */
  async settled(): Promise<void> {
    await Promise.all(this.underWay);
  }
}
