// records/<campaign>-<start time>/: the frozen plan, the journal, the runs. Nothing in it is ever overwritten.
import { describeDifference, diffPlans, freezePlan, journalLine, Ledger, readJournal, thawPlan, type FrozenPlan, type JournalEntry } from '../campaign';
import { sha256 } from '../host/digest';
import { ensureFolder, exists, isFolder, join, list, makeNewFolder, readText, writeNew } from '../host/files';
import { lockFolder } from '../host/lock';
import { stamp, stampForFile, wallClock_ms } from '../host/wall-clock';
import { limitList } from '../model/limits';
import { LineFile, readLines } from '../record/file-lines';
import { BadInput } from './errors';
import type { ReadyCampaign } from './prepare';
import { versions } from './version';

const PLAN = 'campaign.json';
const JOURNAL = 'journal.jsonl';
const RUNS = 'runs';

/** An open campaign folder: the journal and what it adds up to. */
export class CampaignFolder {
  readonly ledger: Ledger;
  private readonly journal: LineFile;
  private readonly release: () => void;

  private constructor(readonly path: string, readonly frozen: FrozenPlan, ready: ReadyCampaign) {
    this.release = lockFolder(path);
    this.ledger = new Ledger(ready.plan.runs, frozen.fingerprint).applyAll(readJournal(readLines(join(path, JOURNAL))).entries);
    this.journal = new LineFile(join(path, JOURNAL));
  }

  /** Starts a new folder below `records`. */
  static start(records: string, ready: ReadyCampaign): CampaignFolder {
    const frozen = freeze(ready);
    const path = newName(join(records, `${ready.campaign.name}-${stampForFile(wallClock_ms())}`));
    makeNewFolder(path);
    ensureFolder(join(path, RUNS));
    writeNew(join(path, PLAN), `${JSON.stringify(frozen, null, 1)}\n`);
    const folder = new CampaignFolder(path, frozen, ready);
    folder.note({ type: 'planned', fingerprint: frozen.fingerprint, runs: ready.plan.runs.length });
    return folder;
  }

  /**
   * Takes up the newest unfinished folder of this campaign below `records`, or starts one.
   * @throws BadInput saying what changed, when the plan is no longer the one that was begun
   */
  static resume(records: string, ready: ReadyCampaign): CampaignFolder {
    const path = newestUnfinished(records, ready.campaign.name);
    if (path === null) return CampaignFolder.start(records, ready);
    const thawed = thawPlan(readText(join(path, PLAN)), sha256);
    if (!thawed.ok) throw new BadInput([`${join(path, PLAN)}: ${thawed.problem}`]);
    const differences = diffPlans(thawed.frozen, freeze(ready));
    if (differences.length > 0) {
      throw new BadInput([
        `${path}: the campaign cannot go on, because it is no longer the one that was begun:`,
        ...differences.map((d) => `  ${describeDifference(d)}`),
        'Undo the change, or start a new campaign without --resume.',
      ]);
    }
    const folder = new CampaignFolder(path, thawed.frozen, ready);
    folder.note({ type: 'decided', what: 'resume', by: 'person', run: 0, why: 'run --resume' });
    return folder;
  }

  /** Writes an entry to the medium, then counts it. */
  note(entry: JournalEntry): void {
    const timed = { ...entry, at: stamp(wallClock_ms()) };
    this.journal.append(journalLine(timed));
    this.ledger.apply(timed);
  }

  /** Path of a record in this folder. */
  recordPath(stem: string): string {
    return join(this.path, RUNS, `${stem}.mcap`);
  }

  close(): void {
    this.journal.close();
    this.release();
  }
}

function freeze(ready: ReadyCampaign): FrozenPlan {
  const bench = {
    rig: plain(ready.rig), article: plain(ready.article), limits: plain(limitList(ready.rig)), calibration: plain(ready.calibrations),
    files: Object.fromEntries(ready.written.map((w) => [w.name, sha256(w.text)])),
  };
  const { spoolbench, wire, controller } = versions();
  return freezePlan(ready.plan, bench, { spoolbench, wire: String(wire), controller }, sha256);
}

type Plain = null | boolean | number | string | readonly Plain[] | { readonly [key: string]: Plain };
function plain(value: unknown): Plain {
  return JSON.parse(JSON.stringify(value)) as Plain;
}

/** The name, or with a number behind it when two campaigns start in one second. */
function newName(path: string): string {
  for (let n = 1; ; n++) {
    const name = n === 1 ? path : `${path}-${n}`;
    if (!exists(name)) return name;
  }
}

function newestUnfinished(records: string, campaign: string): string | null {
  const mine = list(records).filter((name) => name.startsWith(`${campaign}-`)).map((name) => join(records, name))
    .filter((path) => isFolder(path) && exists(join(path, PLAN)));
  for (const path of mine.reverse()) {
    const thawed = thawPlan(readText(join(path, PLAN)), sha256);
    if (!thawed.ok || thawed.frozen.plan.campaign !== campaign) continue;
    const runs = thawed.frozen.plan.runs.map((r) => ({ id: r.id, setting: { id: r.setting } }));
    const ledger = new Ledger(runs, thawed.frozen.fingerprint).applyAll(readJournal(readLines(join(path, JOURNAL))).entries);
    if (ledger.goodRuns + ledger.skippedCount() < runs.length) return path;
  }
  return null;
}
