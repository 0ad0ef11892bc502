// records/<campaign>-<start time>/: the frozen plan, the journal, the runs. Nothing in it is ever overwritten.
import { describeDifference, diffPlans, journalLine, readJournal, recordStem, type DecidedEntry, type FrozenPlan, type JournalEntry, type Ledger, type NoteKind } from '../campaign';
import { ensureFolder, exists, join, makeNewFolder, syncFolder, writeNew } from '../host/files';
import { lockFolder } from '../host/lock';
import { stamp, stampForFile, wallClock_ms } from '../host/wall-clock';
import { LineFile, readLines } from '../record/file-lines';
import { JOURNAL_FILE, ledgerOf, newestUnfinished, PLAN_FILE, type ReadFolder } from './campaign-files';
import { BadInput } from './errors';
import { freeze } from './freeze';
import type { ReadyCampaign } from './prepare';

const RUNS = 'runs';
/** Records of what turns between two runs: pre-warms and start checks. */
const BETWEEN = 'between';

/** Where the journal's lines go. */
export interface JournalFile {
  append(line: string): void;
  close(): void;
}

export interface FolderOptions {
  /** Opens the journal for appending; tests pass a disk that dies. */
  readonly openJournal?: (path: string) => JournalFile;
  /** Takes skipped settings back in; only with a resume. */
  readonly trySkipped?: boolean;
}

/** What a person decides with `--try-skipped`. */
export const TRY_SKIPPED: DecidedEntry = { type: 'decided', what: 'try-skipped', by: 'person', run: 0, why: 'run --resume --try-skipped' };

/** An open campaign folder: the journal and what it adds up to. */
export class CampaignFolder {
  readonly ledger: Ledger;
  /** Entries of earlier sessions, in their order. */
  readonly before: readonly JournalEntry[];
  private readonly journal: JournalFile;
  private readonly release: () => void;

  private constructor(readonly path: string, readonly frozen: FrozenPlan, ready: ReadyCampaign, options: FolderOptions) {
    this.release = lockFolder(path);
    try {
      // Read under the lock: whoever held it before may have written until a moment ago.
      const file = join(path, JOURNAL_FILE);
      this.before = readJournal(readLines(file)).entries;
      this.ledger = ledgerOf(path, ready.plan.runs, frozen.fingerprint, this.before);
      this.journal = options.openJournal?.(file) ?? new LineFile(file);
      syncFolder(path);
    } catch (error) {
      this.release();
      throw error;
    }
  }

  /** Starts a new folder below `records`. */
  static start(records: string, ready: ReadyCampaign, options: FolderOptions = {}): CampaignFolder {
    const frozen = freeze(ready);
    const path = newName(join(records, `${ready.campaign.name}-${stampForFile(wallClock_ms())}`));
    makeNewFolder(path);
    ensureFolder(join(path, RUNS));
    writeNew(join(path, PLAN_FILE), `${JSON.stringify(frozen, null, 1)}\n`);
    return new CampaignFolder(path, frozen, ready, options).opened(ready, []);
  }

  /**
   * Takes up the newest unfinished folder of this campaign below `records`, or starts one.
   * @throws BadInput saying what changed, when the plan is no longer the one that was begun
   */
  static resume(records: string, ready: ReadyCampaign, options: FolderOptions = {}): CampaignFolder {
    const { trySkipped = false } = options;
    const found = newestUnfinished(records, ready.campaign.name, trySkipped);
    if (trySkipped) checkSkipped(found, records);
    if (found === null) return CampaignFolder.start(records, ready, options);
    const { path, frozen } = found;
    const differences = diffPlans(frozen, freeze(ready));
    if (differences.length > 0) {
      throw new BadInput([
        `${path}: the campaign cannot go on, because it is no longer the one that was begun:`,
        ...differences.map((d) => `  ${describeDifference(d)}`),
        'Undo the change, or start a new campaign without --resume.',
      ]);
    }
    return new CampaignFolder(path, frozen, ready, options).opened(ready, [
      { type: 'decided', what: 'resume', by: 'person', run: 0, why: 'run --resume' }, ...(trySkipped ? [TRY_SKIPPED] : []),
    ]);
  }

  /** Writes what a session begins with; what every journal begins with, unless an earlier session did. */
  private opened(ready: ReadyCampaign, first: readonly JournalEntry[]): this {
    // What a person would have to change counts as the bench files say it is, until somebody changes it.
    const names = Object.keys(ready.declared);
    const had = (type: JournalEntry['type']): boolean => this.before.some((e) => e.type === type);
    try {
      if (!had('planned')) this.note({ type: 'planned', fingerprint: this.frozen.fingerprint, runs: ready.plan.runs.length });
      if (names.length > 0 && !had('changed')) this.note({ type: 'changed', run: 1, conditions: ready.declared, byHand: names });
      for (const entry of first) this.note(entry);
    } catch (error) {
      this.close();
      throw error;
    }
    return this;
  }

  /** Writes entries to the medium, all in one go, then counts them. */
  note(...entries: readonly JournalEntry[]): void {
    const at = stamp(wallClock_ms());
    const timed = entries.map((entry) => ({ ...entry, at }));
    if (timed.length > 0) this.journal.append(timed.map(journalLine).join(''));
    this.ledger.applyAll(timed);
  }

  /** Writes down something that decides nothing. */
  remark(what: NoteKind, run: number, data: unknown): void {
    this.note({ type: 'noted', what, run, data });
  }

  /** A record for an attempt: its path in the folder and on the disk. A number of an attempt is never used twice. */
  recordFor(id: string, attempt: number): { readonly name: string; readonly path: string } {
    const name = join(RUNS, `${recordStem(id, attempt)}.mcap`);
    return { name, path: join(this.path, name) };
  }

  /** A path for the record of a pre-warm or a start check, never one that is there already. */
  betweenRecord(id: string, what: string): string {
    ensureFolder(join(this.path, BETWEEN));
    for (let n = 1; ; n++) {
      const path = join(this.path, BETWEEN, `${id}.${what}-${n}.mcap`);
      if (!exists(path)) return path;
    }
  }

  close(): void {
    this.journal.close();
    this.release();
  }
}

/**
 * Whether skipped settings can be tried again.
 * @throws BadInput when none is skipped, or when one belongs to a mounting that is gone: what would be run now is another mounting
 */
function checkSkipped(found: ReadFolder | null, records: string): asserts found is ReadFolder {
  if (found === null || found.ledger.skippedCount() === 0) {
    throw new BadInput([`--try-skipped: no setting is skipped in ${found?.path ?? `the campaign's folders below ${records}`}; accepted: --resume alone`]);
  }
  const { ledger } = found;
  const { runs } = found.frozen.plan;
  const now = runs.reduce((most, r, i) => (ledger.attemptsOf(i + 1) > 0 ? Math.max(most, r.mounting) : most), 1);
  const gone = runs.filter((r, i) => ledger.isSkipped(i + 1) && r.mounting < now);
  if (gone.length > 0) {
    throw new BadInput([`--try-skipped: ${gone.length} skipped runs, ${gone[0].id} the first, belong to mounting ${gone[0].mounting}, and the article is in mounting ${now}: what is run now would count to the wrong mounting; start a new campaign for these settings`]);
  }
}

/** The name, or with a number behind it when two campaigns start in one second. */
function newName(path: string): string {
  for (let n = 1; ; n++) {
    const name = n === 1 ? path : `${path}-${n}`;
    if (!exists(name)) return name;
  }
}
