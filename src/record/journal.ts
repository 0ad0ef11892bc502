// The journal of a campaign: one JSON object a line, only ever appended to. Pure; see file-journal.ts for the file.
import { OUTCOMES, type Outcome } from '../model/events';
import type { JsonObject } from './header';

/** Host time of an entry, ISO 8601. The only place where wall-clock time is kept. */
interface Timed {
  readonly at: string;
}

/** The plan is frozen: order, seed and versions are in campaign.json, whose checksum this is. */
export interface Planned extends Timed {
  readonly entry: 'planned';
  readonly campaign: string;
  readonly runs: number;
  readonly plan_sha256: string;
}

/** A run begins, or begins again: the record of an earlier try stays where it is. */
export interface Started extends Timed {
  readonly entry: 'started';
  readonly run: number;
  /** Relative to the campaign's folder. */
  readonly record: string;
}

export interface Ended extends Timed {
  readonly entry: 'ended';
  readonly run: number;
  readonly record: string;
  readonly outcome: Outcome;
  readonly detail: string;
  readonly sha256: string;
  readonly bytes: number;
}

/** Something was decided that later runs depend on: a skipped setting, a retry, a choice. */
export interface Decided extends Timed {
  readonly entry: 'decided';
  readonly what: string;
  readonly why: string;
  readonly about?: JsonObject;
}

export type JournalEntry = Planned | Started | Ended | Decided;

/** A line that is no entry. The last one of a journal that was cut off looks like this. */
export interface BadLine {
  /** Counted from 1. */
  readonly line: number;
  readonly text: string;
  readonly why: string;
}

export interface Journal {
  readonly entries: readonly JournalEntry[];
  /** Lines that were left out. */
  readonly bad: readonly BadLine[];
  /** The text ends inside a line: whoever appends must end that line first. */
  readonly open_ended: boolean;
}

const MEMBERS: Record<JournalEntry['entry'], Readonly<Record<string, 'string' | 'number'>>> = {
  planned: { at: 'string', campaign: 'string', runs: 'number', plan_sha256: 'string' },
  started: { at: 'string', run: 'number', record: 'string' },
  ended: { at: 'string', run: 'number', record: 'string', outcome: 'string', detail: 'string', sha256: 'string', bytes: 'number' },
  decided: { at: 'string', what: 'string', why: 'string' },
};

/** An entry as its line, with the line end. Throws when a reader would not take it back. */
export function journalLine(entry: JournalEntry): string {
  const line = JSON.stringify(entry);
  const why = whyBad(JSON.parse(line));
  if (why !== null) throw new TypeError(`journal: cannot write ${line}: ${why}`);
  return line + '\n';
}

/** Reads a journal. A line that is no entry is named and left out, wherever it is; nothing throws. */
export function parseJournal(text: string): Journal {
  const entries: JournalEntry[] = [];
  const bad: BadLine[] = [];
  const lines = text.split('\n');
  const last = lines.pop() ?? '';
  const take = (line: string, number: number, cut: boolean): void => {
    if (line.trim() === '') return;
    let value: unknown;
    try {
      value = JSON.parse(line);
    } catch {
      bad.push({ line: number, text: line, why: cut ? 'the line was cut off' : 'not JSON: the line was cut off and later lines were appended' });
      return;
    }
    const why = whyBad(value);
    if (why === null) entries.push(value as JournalEntry);
    else bad.push({ line: number, text: line, why });
  };
  lines.forEach((line, i) => { take(line, i + 1, false); });
  take(last, lines.length + 1, true);
  return { entries, bad, open_ended: last !== '' };
}

/** The last good word on each run: number of the run → its latest `ended` entry after its latest `started`. */
export function latestEnds(journal: Journal): ReadonlyMap<number, Ended> {
  const ends = new Map<number, Ended>();
  for (const e of journal.entries) {
    if (e.entry === 'ended') ends.set(e.run, e);
    else if (e.entry === 'started') ends.delete(e.run);
  }
  return ends;
}

function whyBad(value: unknown): string | null {
  if (typeof value !== 'object' || value === null || Array.isArray(value)) return 'not an object';
  const object = value as Record<string, unknown>;
  const kind = object.entry;
  if (typeof kind !== 'string' || !Object.hasOwn(MEMBERS, kind)) return `entry is ${JSON.stringify(kind)}; accepted: ${Object.keys(MEMBERS).join(', ')}`;
  for (const [key, type] of Object.entries(MEMBERS[kind as JournalEntry['entry']])) {
    if (typeof object[key] !== type) return `${kind}: ${key} is ${JSON.stringify(object[key])}; accepted: a ${type}`;
  }
  if (kind === 'ended' && !(OUTCOMES as readonly unknown[]).includes(object.outcome)) return `ended: outcome is ${JSON.stringify(object.outcome)}; accepted: ${OUTCOMES.join(', ')}`;
  return null;
}
