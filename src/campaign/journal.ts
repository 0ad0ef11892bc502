// The campaign's journal: one JSON object a line, only ever appended to. What a line may say, and reading it after a crash.
import { OUTCOMES, type Outcome } from '../model/events';
import { TRIP_CODES, type TripCode } from '../model/trip';

interface Timed {
  /** Wall clock as text; for people, nothing is decided by it. */
  readonly at?: string;
}

/** The campaign began with this plan. */
export interface PlannedEntry extends Timed {
  readonly type: 'planned';
  readonly fingerprint: string;
  readonly runs: number;
}

/** Conditions are about to change (`changing`), have changed (`changed`), by name. Between the two nobody knows. */
export interface ChangeEntry extends Timed {
  readonly type: 'changing' | 'changed';
  readonly run: number;
  readonly conditions: Readonly<Record<string, string>>;
  /** Names among them that a person changed. */
  readonly byHand?: readonly string[];
}

/** An attempt at a run has begun; `record` is the file that it writes. */
export interface StartedEntry extends Timed {
  readonly type: 'started';
  readonly run: number;
  readonly attempt: number;
  readonly record?: string;
}

export interface EndedEntry extends Timed {
  readonly type: 'ended';
  readonly run: number;
  readonly attempt: number;
  readonly outcome: Outcome;
  /** First cause, when tripped. */
  readonly trip?: TripCode;
  readonly detail?: string;
  /** Bench time of the run with what came before it, s; waiting for a person left out. */
  readonly took_s?: number;
}

export const DECISIONS = ['retry', 'skip-setting', 'stop', 'resume', 'try-skipped'] as const;

/**
 * What was decided. `stop` holds the campaign until a person resumes it; `resume` opens a session (only by a person does
 * it lift a hold); `try-skipped` takes skipped settings back in.
 */
export interface DecidedEntry extends Timed {
  readonly type: 'decided';
  readonly what: (typeof DECISIONS)[number];
  readonly by: 'tool' | 'person';
  /** Run that it is about, 0 for the whole campaign. */
  readonly run: number;
  readonly why: string;
}

export const NOTES = ['command', 'hands-wanted', 'operator', 'cooling', 'pre-warm', 'start-check', 'supply', 'zero', 'environment', 'check-mass', 'figures', 'so-far', 'notice'] as const;
export type NoteKind = (typeof NOTES)[number];

/** Something measured, answered or said on the way. Nothing is decided by it; `data` is any JSON. */
export interface NotedEntry extends Timed {
  readonly type: 'noted';
  readonly what: NoteKind;
  /** Run that it is about, 0 for the whole campaign. */
  readonly run: number;
  readonly data: unknown;
}

export type JournalEntry = NotedEntry | PlannedEntry | ChangeEntry | StartedEntry | EndedEntry | DecidedEntry;

export interface ReadJournal {
  readonly entries: readonly JournalEntry[];
  /** The last line was cut off; whoever appends next must begin with a line break. */
  readonly cutTail: boolean;
  /** Numbers of the lines, from 1, that are not an entry: remains of earlier crashes, or another program's. */
  readonly unreadable: readonly number[];
}

/** One line of the journal, line break included. */
export function journalLine(entry: JournalEntry): string {
  return `${JSON.stringify(entry)}\n`;
}

/**
 * Reads a journal of any length, cut at any byte. A part of a line is never taken for an entry: no proper beginning of a
 * JSON object is JSON.
 */
export function readJournal(text: string): ReadJournal {
  const entries: JournalEntry[] = [];
  const unreadable: number[] = [];
  const lines = text.split('\n');
  const endsOpen = lines[lines.length - 1] !== '';
  lines.forEach((line, i) => {
    if (line.trim() === '') return;
    const entry = parseEntry(line);
    if (entry !== null) entries.push(entry);
    else unreadable.push(i + 1);
  });
  return { entries, cutTail: endsOpen, unreadable };
}

function parseEntry(line: string): JournalEntry | null {
  let value: unknown;
  try {
    value = JSON.parse(line);
  } catch {
    return null;
  }
  return isEntry(value) ? value : null;
}

function isEntry(value: unknown): value is JournalEntry {
  if (typeof value !== 'object' || value === null) return false;
  const e = value as Record<string, unknown>;
  switch (e.type) {
    case 'planned': return typeof e.fingerprint === 'string' && isRun(e.runs);
    case 'changing':
    case 'changed': return isRun(e.run) && typeof e.conditions === 'object' && e.conditions !== null;
    case 'started': return isRun(e.run) && isRun(e.attempt);
    case 'ended': return isRun(e.run) && isRun(e.attempt) && isOneOf(OUTCOMES, e.outcome) && (e.trip === undefined || isOneOf(TRIP_CODES, e.trip));
    case 'decided': return isOneOf(DECISIONS, e.what) && isRun(e.run) && (e.by === 'tool' || e.by === 'person');
    case 'noted': return isOneOf(NOTES, e.what) && isRun(e.run) && e.data !== undefined;
    default: return false;
  }
}

function isRun(value: unknown): boolean {
  return typeof value === 'number' && Number.isInteger(value) && value >= 0;
}

function isOneOf(list: readonly string[], value: unknown): boolean {
  return typeof value === 'string' && list.includes(value);
}
