// A campaign driver without a bench: does what the ledger says, appends to a journal kept as text, and dies where it is told to.
import { decideAfter, type TripPolicy } from '../../src/campaign/trips';
import { Ledger, type Next } from '../../src/campaign/resume';
import { journalLine, readJournal, type JournalEntry } from '../../src/campaign/journal';
import { changesFor, type PlannedRun } from '../../src/campaign/plan';
import type { Outcome } from '../../src/model/events';
import type { TripCode } from '../../src/model/trip';

export const FINGERPRINT = 'f00d';
export const STOP_ALWAYS: TripPolicy = { retry_once: [], skip_setting: [] };

/** How an attempt ends. */
export type Fate = (run: number, attempt: number) => { outcome: Outcome; trip?: TripCode };

class Killed extends Error {}

/** The disk: a journal that survives, and writes that may be cut. */
export class Disk {
  text = '';
  writes = 0;
  /** Dies at this write (from 1) after `kept` of its bytes; Infinity = never. */
  dieAt = Infinity;
  kept = 0;

  append(line: string): void {
    this.writes++;
    if (this.writes === this.dieAt) {
      this.text += line.slice(0, Math.floor(this.kept * line.length));
      throw new Killed();
    }
    this.text += line;
  }
}

export interface Session {
  readonly killed: boolean;
  readonly last: Next;
  /** Runs that reached their end on the bench, in order, good ones only. */
  readonly made: number[];
  /** Conditions that were on the bench when each run was made. */
  readonly under: Readonly<Record<string, string | undefined>>[];
}

/** One session: opens the journal as found and goes on until complete, held or killed. `bench` is what is really in place. */
export function session(runs: readonly PlannedRun[], disk: Disk, policy: TripPolicy, fate: Fate, bench: Record<string, string | undefined>, by: 'tool' | 'person' = 'person'): Session {
  const made: number[] = [];
  const under: Readonly<Record<string, string | undefined>>[] = [];
  const ledger = new Ledger(runs, FINGERPRINT);
  const read = readJournal(disk.text);
  ledger.applyAll(read.entries);
  let prefix = read.cutTail ? '\n' : '';
  const write = (entry: JournalEntry): void => {
    disk.append(prefix + journalLine(entry));
    prefix = '';
    ledger.apply(entry);
  };
  try {
    if (!read.entries.some((e) => e.type === 'planned')) write({ type: 'planned', fingerprint: FINGERPRINT, runs: runs.length });
    else write({ type: 'decided', what: 'resume', by, run: 0, why: 'asked to go on' });
    for (;;) {
      const next = ledger.next();
      if (next.kind === 'complete' || next.kind === 'held') return { killed: false, last: next, made, under };
      if (next.kind === 'undecided') {
        const decision = decideAfter(next.ended, policy, ledger);
        if (decision.what !== 'go-on') write({ type: 'decided', what: decision.what, by: 'tool', run: next.ended.run, why: decision.why });
        continue;
      }
      const run = runs[next.run - 1];
      const changes = changesFor(ledger.inPlace(), run.conditions);
      if (changes.length > 0) {
        const conditions = Object.fromEntries(changes.map((c) => [c.name, c.to]));
        write({ type: 'changing', run: next.run, conditions });
        for (const c of changes) bench[c.name] = c.to;
        write({ type: 'changed', run: next.run, conditions, byHand: changes.filter((c) => c.by === 'operator').map((c) => c.name) });
      }
      write({ type: 'started', run: next.run, attempt: next.attempt });
      const end = fate(next.run, next.attempt);
      if (end.outcome === 'done') under.push({ ...bench });
      write({ type: 'ended', run: next.run, attempt: next.attempt, ...end });
      if (end.outcome === 'done') made.push(next.run);
    }
  } catch (e) {
    if (e instanceof Killed) return { killed: true, last: ledger.next(), made, under };
    throw e;
  }
}
