// Closed-loop segments: constant current, electrical power or speed.
// The error is normalised to the target and the gains follow the throttle, because a drivetrain's relative response
// (change of current, power or speed per change of throttle, each relative) varies little with the operating point.
import { currentZero, voltageZero } from './board';
import { age, currentChannel, lastValid, periodChannel, periodOf, valid, voltageChannel } from './channels';
import { clamp, div, gap, mul } from './math';
import { ONE, OUT_SHIFT, startPi, stepPi } from './pi';
import { turning } from './rotation';
import { POWER_SHIFT, SEG_HOLD_CURRENT, SEG_HOLD_POWER, SEG_HOLD_SPEED, THROTTLE_FULL } from '../wire/messages';

// Default gains, thousandths: see docs/holds.md for how they were chosen.
const CURRENT_P: i32 = 1;
const CURRENT_I: i32 = 3000;
const POWER_P: i32 = 1;
const POWER_I: i32 = 3000;
const SPEED_P: i32 = 500;
const SPEED_I: i32 = 8000;

/** The target is approached from the measured value over this time, microseconds. */
const APPROACH: i32 = 200000;
/** A sample older than four of its periods, and than this many microseconds, is not integrated. */
const HELD_MIN: i32 = 20000;
/** Gains are scaled by (throttle + this) / (full + this). */
const SCHEDULE_OFFSET: i32 = 1000;
const POWER_INPUT_MAX: i32 = 262143;

let kind: i32 = 0;
let target: i32 = 0;
let gainP: i32 = 0;
let gainI: i32 = 0;
let start: i32 = 0;

/** value / unit in units of 1/ONE, held within ±2; `unit` > 0. */
export function ratio(value: i32, unit: i32): i32 {
  let v: i32 = value;
  let n: i32 = unit;
  while (n >= 32768) {
    n = n >> 1;
    v = v >> 1;
  }
  return clamp(div(clamp(v, -65535, 65535) << 15, n), -2 * ONE, 2 * ONE);
}

/** (current counts * voltage counts) >> POWER_SHIFT, both above their zero and held below 2^18 (so nothing overflows). */
export function powerOf(current: i32, voltage: i32): i32 {
  const i: i32 = clamp(gap(current, currentZero), 0, POWER_INPUT_MAX);
  const v: i32 = clamp(gap(voltage, voltageZero), 0, POWER_INPUT_MAX);
  return mul(i >> POWER_SHIFT, v) + (mul(i & 63, v) >> POWER_SHIFT);
}

/** True when the board has the channels that this kind of hold measures with. */
export function canHold(segment: i32): bool {
  if (segment == SEG_HOLD_SPEED) return periodChannel >= 0;
  return currentChannel >= 0 && (segment == SEG_HOLD_CURRENT || voltageChannel >= 0);
}

/** Measured value as a share of the target, in units of 1/ONE. */
function measured(): i32 {
  if (kind == SEG_HOLD_SPEED) return turning() ? ratio(target, lastValid[periodChannel]) : 0;
  const current: i32 = lastValid[currentChannel];
  if (kind == SEG_HOLD_CURRENT) return ratio(gap(current, currentZero), target);
  return ratio(powerOf(current, lastValid[voltageChannel]), target);
}

/** The channel's latest sample is possible and not older than it may be. */
function usable(channel: i32): bool {
  const oldest: i32 = clamp(periodOf[channel], 0, 1000000) << 2;
  return (valid & (1 << channel)) != 0 && (age[channel] <= HELD_MIN || age[channel] <= oldest);
}

function measurable(): bool {
  if (kind == SEG_HOLD_SPEED) return usable(periodChannel) && turning();
  return usable(currentChannel) && (kind == SEG_HOLD_CURRENT || usable(voltageChannel));
}

/** Starts a hold from the present throttle: no bump. Gains of 0 mean the defaults. */
export function startHold(segment: i32, wanted: i32, p: i32, i: i32, throttle: i32): void {
  kind = segment;
  target = wanted;
  gainP = p > 0 ? p : segment == SEG_HOLD_CURRENT ? CURRENT_P : segment == SEG_HOLD_POWER ? POWER_P : SPEED_P;
  gainI = i > 0 ? i : segment == SEG_HOLD_CURRENT ? CURRENT_I : segment == SEG_HOLD_POWER ? POWER_I : SPEED_I;
  startPi(throttle << OUT_SHIFT);
  start = measured();
}

/** Where the reference stands, `elapsed` microseconds into the segment. */
function reference(elapsed_us: i32): i32 {
  if (elapsed_us >= APPROACH) return ONE;
  return start + (mul(ONE - start, div(elapsed_us << 12, APPROACH)) >> 12);
}

/** One step of the hold: the raw throttle it wants, before cap and slew limit. */
export function stepHold(elapsed_us: i32, dt_us: i32, throttle: i32): i32 {
  // placeholder until tuned
  const s: i32 = div((throttle + SCHEDULE_OFFSET) << 10, THROTTLE_FULL + SCHEDULE_OFFSET);
  const gp: i32 = mul(gainP, s) >> 10;
  const gi: i32 = mul(gainI, s) >> 10;
  const can: bool = measurable();
  const e: i32 = reference(elapsed_us) - measured();
  return stepPi(e, gp, can ? gi : 0, dt_us) >> OUT_SHIFT;
}
