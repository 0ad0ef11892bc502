// Where a campaign stands, told from its folder by anybody at any time. Takes no lock, changes nothing.
import { FigureBoard, type FrozenPlan, type FrozenRun, type JournalEntry, type Ledger } from '../campaign';
import { processIn } from '../host/lock';
import { METRIC_NAMES } from '../analysis/metrics/catalogue';
import { readCampaignFolder, type ReadFolder } from './campaign-files';
import { HEADLINES, measuredIn } from './figures';
import type { SoFar } from './reporter';

export interface StatusFigure {
  readonly mean: number;
  readonly latest: number;
  readonly repeats: number;
  readonly unit: string;
}

export interface CampaignStatus {
  readonly campaign: string;
  readonly folder: string;
  /** Process that works in the folder now, null when none does. */
  readonly process: number | null;
  readonly state: 'complete' | 'running' | 'waiting for hands' | 'held' | 'interrupted';
  /** Why it is held, or what it waits for; empty otherwise. */
  readonly why: string;
  readonly of: number;
  /** In how many mountings everything is run. */
  readonly mountings: number;
  readonly good: number;
  readonly skipped: number;
  /** Run under way or next; null when complete. */
  readonly run: (FrozenRun & { readonly index: number; readonly setting_text: string; readonly attempts: number }) | null;
  /** Bench time still to come, s, corrected by what finished runs took. */
  readonly left_s: number;
  readonly next_hands: { readonly run: number; readonly in_s: number; readonly what: readonly string[] } | null;
  /** Runs by their last known outcome. */
  readonly outcomes: Readonly<Record<string, number>>;
  readonly last_entry_at: string | null;
  readonly settings: readonly { readonly setting: string; readonly text: string; readonly good: number; readonly of: number; readonly skipped: boolean; readonly figures: Readonly<Record<string, StatusFigure>> }[];
  /** What the figures said when the campaign last looked: after which run, and metric by metric. Null before that. */
  readonly so_far: SoFar | null;
  /** Lines of the journal that are no entries: remains of crashes. */
  readonly unreadable_lines: readonly number[];
}

/** @throws BadInput when the folder is no campaign's */
export function statusOf(folder: string): CampaignStatus {
  const read = readCampaignFolder(folder);
  const { frozen, entries, ledger, unreadable } = read;
  const holder = processIn(folder);
  const { runs } = frozen.plan;
  const run = currentRun(runs, ledger, entries);
  const left = timeLeft(frozen, entries, ledger);
  const waiting = holder === null ? null : waitingFor(entries);
  const next = ledger.next();
  const state = run === null ? 'complete' : waiting !== null ? 'waiting for hands' : holder !== null ? 'running' : next.kind === 'held' ? 'held' : 'interrupted';
  const outcomes: Record<string, number> = {};
  runs.forEach((_, i) => {
    const o = ledger.outcomeOf(i + 1);
    const underWay = holder !== null && o === 'cut-off' && i + 1 === run;
    if (o !== undefined && !underWay) outcomes[o] = (outcomes[o] ?? 0) + 1;
  });
  return {
    campaign: frozen.plan.campaign, folder, process: holder, state, why: waiting ?? (next.kind === 'held' && holder === null ? next.why : ''),
    of: runs.length, mountings: runs.reduce((most, r) => Math.max(most, r.mounting), 1), good: ledger.goodRuns, skipped: ledger.skippedCount(),
    run: run === null ? null : { ...runs[run - 1], index: run, setting_text: textOf(frozen, runs[run - 1].setting), attempts: ledger.attemptsOf(run) },
    left_s: left.total_s, next_hands: run === null ? null : nextHands(frozen, run, left.excess_s), outcomes,
    last_entry_at: entries.at(-1)?.at ?? null, settings: settings(read), so_far: lastSoFar(entries), unreadable_lines: unreadable,
  };
}

/** The run that was begun and has not ended, else the next one. */
function currentRun(runs: readonly FrozenRun[], ledger: Ledger, entries: readonly JournalEntry[]): number | null {
  for (let i = entries.length - 1; i >= 0; i--) {
    const e = entries[i];
    if (e.type === 'started' || (e.type === 'changing' && !ledger.isGood(e.run) && !ledger.isSkipped(e.run))) return e.run;
    if (e.type === 'ended') break;
  }
  for (let run = 1; run <= runs.length; run++) if (!ledger.isGood(run) && !ledger.isSkipped(run)) return run;
  return null;
}

/** The last thing that the campaign did was to ask for hands. */
function waitingFor(entries: readonly JournalEntry[]): string | null {
  for (let i = entries.length - 1; i >= 0; i--) {
    const e = entries[i];
    if (e.type === 'noted' && e.what === 'hands-wanted') return (e.data as { readonly hands: readonly string[] }).hands.join('; ');
    if (e.type !== 'noted' || (e.what !== 'notice' && e.what !== 'operator')) return null;
  }
  return null;
}

function timeLeft(frozen: FrozenPlan, entries: readonly JournalEntry[], ledger: Ledger): { total_s: number; excess_s: number } {
  // What a person takes is planned with the run before which they come, and is not measured.
  const hands_s = new Map(frozen.estimate.stretches.map((s) => [s.first, s.hands_s]));
  let excess = 0;
  let n = 0;
  for (const e of entries) {
    if (e.type !== 'ended' || e.took_s === undefined) continue;
    n++;
    excess += (e.took_s + (hands_s.get(e.run) ?? 0) - frozen.takes_s[e.run - 1] - excess) * Math.max(0.1, 1 / n);
  }
  let total_s = 0;
  frozen.takes_s.forEach((takes, i) => {
    if (!ledger.isGood(i + 1) && !ledger.isSkipped(i + 1)) total_s += Math.max(0, takes + excess);
  });
  return { total_s, excess_s: excess };
}

function nextHands(frozen: FrozenPlan, run: number, excess_s: number): CampaignStatus['next_hands'] {
  const stretch = frozen.estimate.stretches.find((s) => s.hands.length > 0 && s.first >= run);
  if (stretch === undefined) return null;
  let in_s = 0;
  for (let r = run; r < stretch.first; r++) in_s += Math.max(0, frozen.takes_s[r - 1] + excess_s);
  return { run: stretch.first, in_s, what: stretch.hands.map((h) => `${h.name.replaceAll('_', ' ')} ${h.to}`) };
}

function lastSoFar(entries: readonly JournalEntry[]): SoFar | null {
  for (let i = entries.length - 1; i >= 0; i--) {
    const e = entries[i];
    if (e.type === 'noted' && e.what === 'so-far') return e.data as SoFar;
  }
  return null;
}

function settings({ path, frozen, entries, ledger }: ReadFolder): CampaignStatus['settings'] {
  const board = new FigureBoard();
  const { runs } = frozen.plan;
  const { noted, recovered } = measuredIn(path, entries);
  for (const { run, values } of [...noted, ...recovered]) {
    if (runs[run - 1].kind !== 'cell') continue;
    for (const [name, f] of Object.entries(values)) if (Number.isFinite(f.value)) board.note(runs[run - 1].setting, name, f.value, f.unit);
  }
  const count = new Map<string, { good: number; of: number; skipped: boolean }>();
  runs.forEach((r, i) => {
    const c = count.get(r.setting) ?? { good: 0, of: 0, skipped: false };
    count.set(r.setting, { good: c.good + (ledger.isGood(i + 1) ? 1 : 0), of: c.of + 1, skipped: c.skipped || ledger.isSkipped(i + 1) });
  });
  return [...count].map(([setting, c]) => ({
    setting, text: textOf(frozen, setting), ...c,
    figures: Object.fromEntries([...board.of(setting)].map(([name, f]) => [name, { mean: f.mean, latest: f.latest, repeats: f.n, unit: f.unit }])),
  })).sort((a, b) => a.text.localeCompare(b.text, 'en', { numeric: true }));
}

function textOf(frozen: FrozenPlan, setting: string): string {
  const levels = Object.values(frozen.plan.settings[setting] as Readonly<Record<string, string>>);
  return levels.length === 0 ? 'as it is' : levels.join(', ');
}

/** Metrics to show of a status, headlines first, then whatever else a protocol of the bench's own gave. */
export function shownMetrics(status: CampaignStatus): (typeof METRIC_NAMES)[number][] {
  const known = METRIC_NAMES.filter((name) => status.settings.some((s) => s.figures[name] !== undefined));
  const heads = HEADLINES.filter((name) => known.includes(name));
  return heads.length > 0 ? heads : known.slice(0, 6);
}
