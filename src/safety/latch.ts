// The latch: first cause first, later causes behind it, cleared only by a deliberate act.
// Practice of emergency stops (ISO 13850): a reset never restarts; it only permits a restart, which is an act of its own.
import type { Trip } from '../model/trip';

export interface Latch {
  readonly first: Trip | null;
  /** Later causes, in order; a cause already there is not repeated. */
  readonly also: readonly Trip[];
}

export const OPEN_LATCH: Latch = { first: null, also: [] };

/** Is this cause, on this channel, already latched? */
export function holds(latch: Latch, code: Trip['code'], channel: string | null): boolean {
  const same = (trip: Trip) => trip.code === code && trip.channel === channel;
  return (latch.first !== null && same(latch.first)) || latch.also.some(same);
}

/** Latches a trip: as the first cause, or behind it. Returns the same latch when the cause is already there. */
export function latchTrip(latch: Latch, trip: Trip): Latch {
  if (latch.first === null) return { first: trip, also: [] };
  return holds(latch, trip.code, trip.channel) ? latch : { first: latch.first, also: [...latch.also, trip] };
}

/** Who clears a trip, and why: a person at the bench, or a rule that a person wrote into the campaign beforehand. */
export interface ClearAct {
  readonly by: 'operator' | 'campaign';
  readonly note: string;
}

/** What must be true before a trip may be cleared. */
export interface ClearConditions {
  /** The motor was measured to stand still. */
  readonly stopConfirmed: boolean;
  readonly stopInput: boolean;
}

export type Cleared = { readonly ok: true; readonly latch: Latch } | { readonly ok: false; readonly reasons: readonly string[] };

/**
 * Clears the latch. Refused while the motor is not known to stand still, while the stop input is pressed, and without a note.
 * Clearing arms nothing. There is no other way to open a latch: not a reset, not a reconnect, not the next run.
 */
export function clearLatch(latch: Latch, act: ClearAct, now: ClearConditions): Cleared {
  const reasons: string[] = [];
  if (latch.first === null) reasons.push('There is no trip to clear.');
  if (act.note.trim() === '') reasons.push('Say why the trip may be cleared: an empty note is not a deliberate act.');
  if (now.stopInput) reasons.push('The stop input is pressed. Release it first.');
  if (!now.stopConfirmed) reasons.push('The motor was not measured to stand still. Cut the power, then look.');
  return reasons.length > 0 ? { ok: false, reasons } : { ok: true, latch: OPEN_LATCH };
}
