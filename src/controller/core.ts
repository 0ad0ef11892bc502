// The core as its host sees it: bytes and samples in, one tick at a time, throttle and frames out.
import {
  badFrames, cause, clock, countBadFrame, deadman, longestRun, passTime, permit, resetBoard, setStop, silence, state, stopPressed,
  throttle, TICK_MAX, TICK_MIN,
} from './board';
import { ageChannels, endTickOfChannels, freshRow, resetChannels, valid } from './channels';
import { execute, resetCommands } from './commands';
import { feed, resetInbox } from './inbox';
import { tripAlone, tripBySlot } from './latch';
import { checksum, resetLimits } from './limits';
import { clamp, mul, older } from './math';
import { outLength, outLost, resetOutbox } from './outbox';
import { integral } from './pi';
import { elapsed, play } from './player';
import { emptyQueue, ordinal, waiting } from './queue';
import { resetRotation, sinceRotation, watchRotation } from './rotation';
import { firstBroken, judge, resetRules } from './rules';
import { sendRowIfDue, setDivider } from './telemetry';
import { STATE_DRIVING, STATE_READY, STATE_TRIPPED } from '../wire/messages';
import { TRIP_HOST_SILENT, TRIP_LONGEST_RUN, TRIP_STOP_INPUT, TRIP_TICK } from '../wire/trip-codes';

/** Microseconds since the run started. */
let runTime: i32 = 0;

/**
 * Back to power-on: safe, no channels, no limits. Channels are declared next.
 * `tickUs`: nominal tick, held within 125..20000. `resetCause`: see IDENTITY_RESET.
 */
export function init(tickUs: i32, uid: i32, resetCause: i32): void {
  resetBoard(tickUs, uid, resetCause);
  resetChannels();
  resetLimits();
  resetRules();
  resetInbox();
  resetOutbox();
  resetCommands();
  emptyQueue();
  resetRotation();
  setDivider(0);
  runTime = 0;
}

/** The emergency-stop input: 1 pressed, 0 released. Pressed trips in every state, and no trip clears meanwhile. */
export function stopInput(on: i32): void {
  setStop(on != 0);
}

/** Takes one byte from the host. A stop or trip in it takes effect at once. */
export function rxByte(byte: i32): void {
  const size: i32 = feed(byte & 255);
  if (size == 0) return;
  if (size < 0 || !execute(size)) countBadFrame();
}

/** Everything that can trip, in the order of blame: the clock, the stop input, the limits, the host, the run. */
function guard(dt_us: i32, slot: i32): void {
  const armed: bool = state == STATE_READY || state == STATE_DRIVING;
  if (dt_us < TICK_MIN || dt_us > TICK_MAX) tripAlone(TRIP_TICK, dt_us, dt_us < TICK_MIN ? TICK_MIN : TICK_MAX);
  else if (stopPressed) tripAlone(TRIP_STOP_INPUT, 1, 0);
  else if (!armed) return;
  else if (slot >= 0) tripBySlot(slot);
  else if (silence > deadman || (state == STATE_DRIVING && permit == 0)) tripAlone(TRIP_HOST_SILENT, silence, deadman);
  else if (state == STATE_DRIVING && runTime > longestRun) tripAlone(TRIP_LONGEST_RUN, runTime, longestRun);
}

/**
 * One control period of dt_us (125..20000; anything else trips). Judges the samples set since the last tick, then plays the
 * segment, then reports. Returns the raw throttle to apply now.
 */
export function tick(dt_us: i32): i32 {
  const passed: i32 = clamp(dt_us, 0, 1000000000);
  const driving: bool = state == STATE_DRIVING;
  const powered: bool = driving && throttle > 0;
  const latched: bool = state == STATE_TRIPPED;
  passTime(passed);
  runTime = driving ? older(runTime, passed) : 0;
  ageChannels(passed);
  watchRotation(passed, powered);
  guard(dt_us, judge(passed, powered));
  if (state == STATE_DRIVING) play(dt_us);
  sendRowIfDue(passed, !latched && state == STATE_TRIPPED);
  endTickOfChannels();
  return throttle;
}

// ---- getters, for hosts that show them and for tests ----
export function getState(): i32 {
  return state;
}
export function getCause(): i32 {
  return cause;
}
export function getThrottle(): i32 {
  return throttle;
}
/** Ordinal of the segment being played, 0 when none is. */
export function getOrdinal(): i32 {
  return ordinal;
}
/** Checksum of limits and guards, as a signed number. */
export function getChecksum(): i32 {
  return checksum();
}

/** What the core remembers, folded into a hash: two cores with equal hashes after equal inputs have not diverged. */
export function fold(hash: i32): i32 {
  let h: i32 = mul(hash ^ throttle, 16777619);
  h = mul(h ^ (state | (cause << 4) | (waiting << 12) | (ordinal << 17)), 16777619);
  h = mul(h ^ clock, 16777619);
  h = mul(h ^ integral, 16777619);
  h = mul(h ^ elapsed, 16777619);
  h = mul(h ^ permit, 16777619);
  h = mul(h ^ silence, 16777619);
  h = mul(h ^ sinceRotation, 16777619);
  h = mul(h ^ (valid | (freshRow << 8) | (badFrames << 16)), 16777619);
  h = mul(h ^ (firstBroken() | (outLost() << 8)), 16777619);
  return mul(h ^ (outLength() ^ runTime), 16777619);
}
