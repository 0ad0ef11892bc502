// Where a campaign stands: its journal folded into what is done, what comes next, and what holds it.
import type { Outcome } from '../model/events';
import type { TripCode } from '../model/trip';
import type { DecidedEntry, EndedEntry, JournalEntry } from './journal';

/** What the ledger needs of each run. */
export interface LedgerRun {
  readonly id: string;
  readonly setting: { readonly id: string };
}

export type Next =
  /** Make this run; `attempt` counts from 1. */
  | { readonly kind: 'run'; readonly run: number; readonly attempt: number }
  /** The last run ended badly and nobody has decided yet: ask `decideAfter`. */
  | { readonly kind: 'undecided'; readonly ended: EndedEntry }
  /** Stopped until a person resumes. */
  | { readonly kind: 'held'; readonly why: string; readonly run: number }
  /** Every run is good or skipped. */
  | { readonly kind: 'complete'; readonly skipped: number };

/** Journal entries that do not fit the plan. */
export class JournalMismatch extends Error {
  constructor(message: string) {
    super(message);
    this.name = 'JournalMismatch';
  }
}

/**
 * State of a campaign. Apply entries in their order: those of the journal first, then each new one as it is written, so
 * that a resumed campaign and one that never stopped stand at the same place. A run with one good outcome is never next again.
 */
export class Ledger {
  private readonly good: Uint8Array;
  private readonly attempts: Uint32Array;
  private readonly retries: Uint8Array;
  private readonly last: (Outcome | undefined)[];
  private readonly skippedSettings = new Set<string>();
  private readonly trips = new Map<TripCode, Set<number>>();
  private readonly present: Record<string, string | undefined> = {};
  private readonly byHand = new Set<string>();
  private hold: { why: string; run: number } | null = null;
  private pending: EndedEntry | null = null;
  private open: number | null = null;
  private cursor = 1;
  private goodCount = 0;
  private skippedRuns = 0;

  /** @param runs the plan's runs, in order. @param fingerprint of the frozen plan; a journal of another plan is refused. */
  constructor(private readonly runs: readonly LedgerRun[], private readonly fingerprint: string) {
    this.good = new Uint8Array(runs.length + 1);
    this.attempts = new Uint32Array(runs.length + 1);
    this.retries = new Uint8Array(runs.length + 1);
    this.last = new Array<Outcome | undefined>(runs.length + 1).fill(undefined);
  }

  /** @throws JournalMismatch when the entry speaks of another plan or a run that the plan does not have. */
  apply(entry: JournalEntry): void {
    switch (entry.type) {
      case 'planned': return this.planned(entry.fingerprint, entry.runs);
      case 'changing':
        this.check(entry.run);
        for (const name of Object.keys(entry.conditions)) this.present[name] = undefined;
        return;
      case 'changed':
        this.check(entry.run);
        for (const [name, to] of Object.entries(entry.conditions)) this.present[name] = to;
        for (const name of entry.byHand ?? []) this.byHand.add(name);
        return;
      case 'started':
        this.check(entry.run);
        this.attempts[entry.run] = Math.max(this.attempts[entry.run] + 1, entry.attempt);
        this.open = entry.run;
        this.pending = null;
        return;
      case 'ended': return this.ended(entry);
      case 'decided': return this.decided(entry);
      case 'noted': return;
    }
  }

  applyAll(entries: Iterable<JournalEntry>): this {
    for (const entry of entries) this.apply(entry);
    return this;
  }

  /** What to do now. */
  next(): Next {
    if (this.hold !== null) return { kind: 'held', ...this.hold };
    if (this.pending !== null) return { kind: 'undecided', ended: this.pending };
    while (this.cursor <= this.runs.length && (this.good[this.cursor] === 1 || this.isSkipped(this.cursor))) this.cursor++;
    if (this.cursor <= this.runs.length) return { kind: 'run', run: this.cursor, attempt: this.attempts[this.cursor] + 1 };
    return { kind: 'complete', skipped: this.skippedCount() };
  }

  /** Conditions known to be in place, by name; a half-applied one is absent and so is applied again. */
  inPlace(): Readonly<Record<string, string | undefined>> {
    return this.present;
  }

  isGood(run: number): boolean {
    return this.good[run] === 1;
  }

  /** Left out because its setting is skipped; a run that was good before stays good. */
  isSkipped(run: number): boolean {
    return this.good[run] === 0 && this.skippedSettings.has(this.runs[run - 1].setting.id);
  }

  /** Last known outcome; `cut-off` for an attempt that never ended, undefined for a run that never began. */
  outcomeOf(run: number): Outcome | 'cut-off' | undefined {
    return this.open === run ? 'cut-off' : (this.last[run] ?? (this.attempts[run] > 0 ? 'cut-off' : undefined));
  }

  attemptsOf(run: number): number {
    return this.attempts[run];
  }

  retriesOf(run: number): number {
    return this.retries[run];
  }

  /** Different runs that have tripped on a code since the campaign began. */
  runsTrippedOn(code: TripCode): number {
    return this.trips.get(code)?.size ?? 0;
  }

  get goodRuns(): number {
    return this.goodCount;
  }

  skippedCount(): number {
    return this.skippedRuns;
  }

  private planned(fingerprint: string, runs: number): void {
    if (fingerprint !== this.fingerprint || runs !== this.runs.length) {
      throw new JournalMismatch(`The journal belongs to another plan: ${runs} runs with fingerprint ${fingerprint}, the plan at hand has ${this.runs.length} with ${this.fingerprint}.`);
    }
  }

  private ended(entry: EndedEntry): void {
    this.check(entry.run);
    if (this.open === entry.run) this.open = null;
    this.attempts[entry.run] = Math.max(this.attempts[entry.run], entry.attempt);
    this.last[entry.run] = entry.outcome;
    if (entry.outcome === 'done') {
      if (this.isSkipped(entry.run)) this.skippedRuns--;
      if (this.good[entry.run] === 0) this.goodCount++;
      this.good[entry.run] = 1;
      this.pending = null;
      return;
    }
    if (entry.trip !== undefined) {
      const seen = this.trips.get(entry.trip) ?? new Set<number>();
      this.trips.set(entry.trip, seen.add(entry.run));
    }
    this.pending = entry;
  }

  private decided(entry: DecidedEntry): void {
    if (entry.run !== 0 || entry.what === 'retry' || entry.what === 'skip-setting') this.check(entry.run);
    switch (entry.what) {
      case 'retry':
        this.retries[entry.run]++;
        this.pending = null;
        return;
      case 'skip-setting':
        this.skip(this.runs[entry.run - 1].setting.id);
        this.pending = null;
        return;
      case 'stop':
        this.hold = { why: entry.why, run: entry.run };
        this.pending = null;
        return;
      case 'try-skipped':
        this.skippedSettings.clear();
        this.skippedRuns = 0;
        this.cursor = 1;
        return;
      case 'resume':
        // After a break only what a person changed by hand can be trusted to be still so.
        for (const name of Object.keys(this.present)) if (!this.byHand.has(name)) this.present[name] = undefined;
        if (entry.by === 'person') {
          this.hold = null;
          this.pending = null;
        }
        return;
    }
  }

  private skip(setting: string): void {
    if (this.skippedSettings.has(setting)) return;
    this.skippedSettings.add(setting);
    for (let run = 1; run <= this.runs.length; run++) if (this.good[run] === 0 && this.runs[run - 1].setting.id === setting) this.skippedRuns++;
  }

  private check(run: number): void {
    if (run < 1 || run > this.runs.length) throw new JournalMismatch(`The journal speaks of run ${run}; the plan has ${this.runs.length} runs.`);
  }
}

/** Stem of the record's file name: nothing is ever written over, so later attempts get a number. */
export function recordStem(id: string, attempt: number): string {
  return attempt <= 1 ? id : `${id}.attempt-${attempt}`;
}
