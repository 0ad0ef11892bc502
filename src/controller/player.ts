// Plays the queued segments: which throttle belongs to this tick, and when the next segment begins.
// A segment that starts at t owns the ticks in [t, t + duration); what a tick overshoots is credited to the next one, so
// a train of segments does not drift.
import { setState, setThrottle, throttle, throttleCap } from './board';
import { boundHold, startHold, stepHold } from './holds';
import { clamp, div, least, mul } from './math';
import { cap, duration, emptyQueue, flags, gainI, gainP, kind, ordinal, slew, takeNext, target, waiting } from './queue';
import { resetRotation } from './rotation';
import { sendEnded, sendStarted } from './telemetry';
import {
  END_ASKED, END_COMPLETE, END_START, END_STARVED, END_TIME, SEG_FLAG_LAST, SEG_HOLD_CURRENT, SEG_LEVEL, SEG_RAMP, SEG_REST,
  SEGMENT_QUEUE, STATE_DRIVING, STATE_SAFE,
} from '../wire/messages';

/** Microseconds since the played segment began. */
export let elapsed: i32 = 0;
let from: i32 = 0;
let slewRest: i32 = 0;
let starting: bool = false;
let endAsked: bool = false;

/** START was accepted: the first segment begins with the next tick. */
export function startRun(): void {
  setState(STATE_DRIVING);
  resetRotation();
  starting = true;
  endAsked = false;
}

/** END_SEGMENT was accepted: the next tick moves on. */
export function askEnd(): void {
  endAsked = true;
}

/** Zero throttle, nothing queued, safe. Sends MSG_ENDED when a run was on. */
export function endRun(how: i32, next: i32, driving: bool): void {
  const last: i32 = ordinal;
  setThrottle(0);
  emptyQueue();
  starting = false;
  endAsked = false;
  elapsed = 0;
  setState(next);
  if (driving) sendEnded(last, how);
}

function begin(why: i32, carried_us: i32): void {
  takeNext();
  elapsed = carried_us;
  from = throttle;
  slewRest = 0;
  if (kind >= SEG_HOLD_CURRENT) startHold(kind, target, gainP, gainI);
  sendStarted(why);
}

/** Ramp: from + (target - from) * elapsed / duration, both times shifted to 16 bits so that nothing overflows. */
function rampNow(): i32 {
  if (elapsed >= duration) return target;
  let t: i32 = elapsed;
  let d: i32 = duration;
  while (d >= 65536) {
    t = t >> 1;
    d = d >> 1;
  }
  // t < d < 65536; a fraction of 15 bits times at most ±10000
  return from + ((mul(target - from, div(t << 15, d)) + 16384) >> 15);
}

/** Sets the throttle for `elapsed`; `dt_us` of it are new. Order of bounds: slew limit, then cap, which always wins. */
function drive(dt_us: i32): void {
  let want: i32 = target;
  if (kind == SEG_REST) want = 0;
  else if (kind == SEG_RAMP) want = rampNow();
  else if (kind != SEG_LEVEL) want = stepHold(dt_us);
  let given: i32 = want;
  if (slew > 0) {
    const budget: i32 = mul(slew, dt_us) + slewRest;
    const most: i32 = div(budget, 1000);
    slewRest = budget - mul(most, 1000);
    given = clamp(want, throttle - most, throttle + most);
  }
  given = clamp(given, 0, least(cap, throttleCap));
  if (kind >= SEG_HOLD_CURRENT) boundHold(want, given);
  setThrottle(given);
}

/** One tick of a run. */
export function play(dt_us: i32): void {
  let fresh: i32 = dt_us;
  if (starting) {
    starting = false;
    begin(END_START, 0);
    fresh = 0;
  } else elapsed += dt_us;
  // every segment may be shorter than a tick: at most the whole queue passes in one
  for (let i: i32 = 0; i <= SEGMENT_QUEUE && (endAsked || elapsed >= duration); i++) {
    const why: i32 = endAsked ? END_ASKED : END_TIME;
    const carried: i32 = endAsked ? 0 : elapsed - duration;
    endAsked = false;
    if (waiting == 0) {
      endRun((flags & SEG_FLAG_LAST) != 0 ? END_COMPLETE : END_STARVED, STATE_SAFE, true);
      return;
    }
    if (why == END_TIME && kind < SEG_HOLD_CURRENT) {
      elapsed = duration;
      drive(fresh - carried);
    }
    begin(why, carried);
    fresh = carried;
  }
  drive(fresh);
}
