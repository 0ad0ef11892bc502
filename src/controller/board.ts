// What the whole core shares: state, throttle, clock, the latched trip, the guards and the permit.
// Reading is free; every change goes through a function of this file.
import { GUARD_START_DEADMAN, GUARD_START_LONGEST_RUN, GUARD_START_STILL_PERIOD, GUARD_START_THROTTLE_CAP } from '../wire/layout';
import { STATE_SAFE } from '../wire/messages';
import { TRIP_NONE } from '../wire/trip-codes';
import { clamp, older } from './math';

/** Shortest and longest tick that the core accepts, microseconds. */
export const TICK_MIN: i32 = 125;
export const TICK_MAX: i32 = 20000;
/** Slot number of a trip that no limit slot raised. */
export const NO_SLOT: i32 = 255;

export let state: i32 = 0;
/** Raw throttle of this tick. */
export let throttle: i32 = 0;
/** Device time, microseconds; wraps, so it only labels frames. */
export let clock: i32 = 0;
/** Nominal tick, microseconds. */
export let nominalTick: i32 = 0;
export let uid: i32 = 0;
export let resetCause: i32 = 0;
export let stopPressed: bool = false;
export let badFrames: i32 = 0;

// the latched trip
export let cause: i32 = 0;
export let tripSlot: i32 = 0;
export let tripTick: i32 = 0;
export let tripValue: i32 = 0;
export let tripLimit: i32 = 0;
export let tripOrdinal: i32 = 0;

// guards, see CMD_SET_GUARDS
export let deadman: i32 = 0;
export let longestRun: i32 = 0;
export let throttleCap: i32 = 0;
export let currentZero: i32 = 0;
export let voltageZero: i32 = 0;
export let stillPeriod: i32 = 0;

/** Microseconds since the host was last heard (CMD_PERMIT, or arming). */
export let silence: i32 = 0;
/** Microseconds that the board may still drive. */
export let permit: i32 = 0;

export function resetBoard(tick_us: i32, id: i32, why: i32): void {
  state = STATE_SAFE;
  throttle = 0;
  clock = 0;
  nominalTick = clamp(tick_us, TICK_MIN, TICK_MAX);
  uid = id;
  resetCause = why;
  stopPressed = false;
  badFrames = 0;
  silence = 0;
  permit = 0;
  clearTripRecord();
  setGuards(GUARD_START_DEADMAN, GUARD_START_LONGEST_RUN, GUARD_START_THROTTLE_CAP, 0, 0, GUARD_START_STILL_PERIOD);
}

export function setState(next: i32): void {
  state = next;
}
export function setThrottle(raw: i32): void {
  throttle = raw;
}
export function setStop(on: bool): void {
  stopPressed = on;
}
export function countBadFrame(): void {
  badFrames = (badFrames + 1) & 0xffff;
}

export function setGuards(deadman_us: i32, run_us: i32, cap: i32, current: i32, voltage: i32, still: i32): void {
  deadman = deadman_us;
  longestRun = run_us;
  throttleCap = cap;
  currentZero = current;
  voltageZero = voltage;
  stillPeriod = still;
}

/** Lets time pass for the clock, the silence of the host and the permit. */
export function passTime(dt_us: i32): void {
  clock = i32(clock + dt_us);
  silence = older(silence, dt_us);
  permit = permit > dt_us ? permit - dt_us : 0;
}
/** The host was heard and lets the board drive for span microseconds. */
export function renewPermit(span_us: i32): void {
  silence = 0;
  permit = span_us;
}
export function hearHost(): void {
  silence = 0;
}

export function recordTrip(why: i32, slot: i32, value: i32, limit: i32, ordinal: i32): void {
  cause = why;
  tripSlot = slot;
  tripTick = clock;
  tripValue = value;
  tripLimit = limit;
  tripOrdinal = ordinal;
}
export function clearTripRecord(): void {
  cause = TRIP_NONE;
  tripSlot = NO_SLOT;
  tripTick = 0;
  tripValue = 0;
  tripLimit = 0;
  tripOrdinal = 0;
}
