// Campaign folders as anybody may read them, in use or not: the frozen plan, the journal, what they add up to. Takes no lock.
import { JournalMismatch, Ledger, readJournal, thawPlan, type FrozenPlan, type JournalEntry } from '../campaign';
import { sha256 } from '../host/digest';
import { exists, isFolder, join, list, readText } from '../host/files';
import { readLines } from '../record/file-lines';
import { BadInput } from './errors';

export const PLAN_FILE = 'campaign.json';
export const JOURNAL_FILE = 'journal.jsonl';

/** A campaign folder as anybody may read it, without a lock. */
export interface ReadFolder {
  readonly path: string;
  readonly frozen: FrozenPlan;
  readonly entries: readonly JournalEntry[];
  readonly ledger: Ledger;
  /** Lines of the journal, from 1, that are no entries. */
  readonly unreadable: readonly number[];
}

/**
 * Reads a campaign folder that may be in use.
 * @throws BadInput when it is none, or cannot be understood
 */
export function readCampaignFolder(path: string): ReadFolder {
  const file = join(path, PLAN_FILE);
  if (!exists(file)) throw new BadInput([`${path}: this is no campaign folder (it has no ${PLAN_FILE}); accepted: a folder that \`spoolbench run\` made, such as records/NAME-2026-03-01T14-05-09Z`]);
  const thawed = thawPlan(readText(file), sha256);
  if (!thawed.ok) throw new BadInput([`${file}: ${thawed.problem}`]);
  const { entries, unreadable } = readJournal(readLines(join(path, JOURNAL_FILE)));
  const { frozen } = thawed;
  const runs = frozen.plan.runs.map((r) => ({ id: r.id, setting: { id: r.setting } }));
  return { path, frozen, entries, unreadable, ledger: ledgerOf(path, runs, frozen.fingerprint, entries) };
}

/** Folders of a campaign below `records`, newest first by name. */
export function campaignFolders(records: string, campaign: string): string[] {
  return list(records).filter((name) => name.startsWith(`${campaign}-`)).map((name) => join(records, name))
    .filter((path) => isFolder(path) && exists(join(path, PLAN_FILE))).reverse();
}

/** @throws BadInput when the journal belongs to another plan */
export function ledgerOf(path: string, runs: ConstructorParameters<typeof Ledger>[0], fingerprint: string, entries: readonly JournalEntry[]): Ledger {
  try {
    return new Ledger(runs, fingerprint).applyAll(entries);
  } catch (error) {
    if (error instanceof JournalMismatch) throw new BadInput([`${join(path, JOURNAL_FILE)}: ${error.message} Start a new campaign.`], { cause: error });
    throw error;
  }
}

/**
 * The folder that `--resume` takes up, as it stands; null when there is none. A run that is skipped counts as finished, unless
 * skipped settings are to be tried again.
 * @throws BadInput for a folder in which something was run and whose plan cannot be read any more
 */
export function newestUnfinished(records: string, campaign: string, trySkipped = false): ReadFolder | null {
  for (const path of campaignFolders(records, campaign)) {
    // Killed while the plan was being written: nothing was run in it, and nothing is lost.
    if (!exists(join(path, JOURNAL_FILE)) && !thawPlan(readText(join(path, PLAN_FILE)), sha256).ok) continue;
    const folder = readCampaignFolder(path);
    if (folder.frozen.plan.campaign !== campaign) continue;
    const { goodRuns } = folder.ledger;
    const skipped = folder.ledger.skippedCount();
    if (goodRuns + (trySkipped ? 0 : skipped) < folder.frozen.plan.runs.length) return folder;
  }
  return null;
}
