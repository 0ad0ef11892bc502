// The start check, where no temperature is measured: is the current of a short spin as it was at first?
import type { JournalEntry } from '../campaign';
import { readRecord } from '../record/file-reader';
import { runDataOf } from './run-data';

export interface CheckNote {
  /** Mean current of the second half of the level, A. */
  readonly current_A: number;
  /** Share by which it lies from the first check's; 0 for the first itself. */
  readonly off: number;
  readonly reached: boolean;
  /** How many checks were made before this run. */
  readonly checks: number;
}

/** So many checks, then the run begins in whatever state the drive is, and its record says so. */
export const MOST_CHECKS = 6;
/** At least this long a rest before another check, s: a check itself warms the motor. */
const LEAST_REST_S = 10;

/** Currents of the first checks of earlier sessions, A, by the conditions that they were made under. */
export function firstChecks(before: readonly JournalEntry[]): Map<string, number> {
  const first = new Map<string, number>();
  for (const e of before) {
    if (e.type !== 'noted' || e.what !== 'start-check') continue;
    const { under, current_A } = e.data as CheckNote & { readonly under: string };
    if (!first.has(under)) first.set(under, current_A);
  }
  return first;
}

/** Reads a check's record. `again_after_s` is the rest before the next check, null when the run may begin. */
export function checkState(record: string, first_A: number | null, within: number, check: number, rest_s: number): { note: CheckNote; again_after_s: number | null } {
  const current_A = meanCurrent(record);
  const off = first_A === null ? 0 : current_A / first_A - 1;
  const reached = Math.abs(off) <= within;
  return { note: { current_A, off, reached, checks: check }, again_after_s: reached || check >= MOST_CHECKS ? null : Math.max(LEAST_REST_S, rest_s) };
}

/** @throws Error when the record holds no level or no current */
function meanCurrent(record: string): number {
  const run = runDataOf(readRecord(record));
  const level = run.segments.find((s) => s.segment.role === 'start-check');
  const current = run.channels.find((c) => c.kind === 'current');
  if (level === undefined || current === undefined) throw new Error(`${record}: a start check without a level or without a current`);
  const from_s = (level.start_s + level.end_s) / 2;
  let sum = 0;
  let n = 0;
  for (let i = 0; i < current.t_s.length; i++) {
    if (current.t_s[i] < from_s || current.t_s[i] > level.end_s) continue;
    sum += current.value[i];
    n++;
  }
  if (n === 0) throw new Error(`${record}: the start check has no current sample in its second half`);
  return sum / n;
}
