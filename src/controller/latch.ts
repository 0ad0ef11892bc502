// The trip latch: first cause, zero throttle, and both stay until CMD_CLEAR_TRIP.
import { NO_SLOT, recordTrip, state } from './board';
import { causeOf } from './limits';
import { endRun } from './player';
import { ordinal } from './queue';
import { boundOf, measuredBy } from './rules';
import { sendEnded, sendTripped } from './telemetry';
import { END_TRIPPED, STATE_DRIVING, STATE_TRIPPED } from '../wire/messages';

/** Trips, once: later causes do not change the record. `value` and `limit` in the unit of the cause. */
export function trip(why: i32, slot: i32, value: i32, limit: i32): void {
  if (state == STATE_TRIPPED) return;
  const driving: bool = state == STATE_DRIVING;
  const last: i32 = ordinal;
  recordTrip(why, slot, value, limit, last);
  endRun(END_TRIPPED, STATE_TRIPPED, false);
  sendTripped();
  if (driving) sendEnded(last, END_TRIPPED);
}

/** Trips without a limit slot. */
export function tripAlone(why: i32, value: i32, limit: i32): void {
  trip(why, NO_SLOT, value, limit);
}

/** Trips for a broken limit slot. */
export function tripBySlot(slot: i32): void {
  trip(causeOf[slot], slot, measuredBy(slot), boundOf(slot));
}
