// Closed-loop segments: constant current, electrical power or speed. Figures and reasons: docs/holds.md.
// The error is normalised to the target and the gains follow the throttle, because a drivetrain's relative response
// (change of current, power or speed per change of throttle, each relative) varies little with the operating point.
import { nominalTick, throttle } from './board';
import { currentChannel, periodChannel, voltageChannel } from './channels';
import { clamp, div, least, mul } from './math';
import { measurable, shareOfTarget } from './measure';
import { boundPi, ONE, OUT_SHIFT, startPi, stepPi } from './pi';
import { SEG_HOLD_CURRENT, SEG_HOLD_SPEED, THROTTLE_FULL } from '../wire/messages';

// Default gains in thousandths (segment fields gain P and gain I; 0 there means these). P: throttle per unit error; I: throttle
// per second and unit error; both as they are at full throttle.
const ELECTRIC_P: i32 = 1;
const ELECTRIC_I: i32 = 35000;
const SPEED_P: i32 = 2000;
const SPEED_I: i32 = 40000;
/** Gains are scaled by (throttle + this) / (full + this), raw throttle. */
const SCHEDULE_OFFSET: i32 = 1000;

/** The reference goes from the measured value to the target in this time, microseconds. */
const APPROACH: i32 = 200000;
/**
 * Current and power: after the approach the reference is trimmed by the integral of the error, with this time constant at
 * full gain (microseconds). It takes out the slow tail that the rotor's inertia leaves.
 */
const TRIM_TIME: i32 = 6000;
/** The trim stays within ±1/16 of the target. */
const TRIM_MAX: i32 = 2048;
/** The trim is kept with 4 bits more than the error. */
const TRIM_SHIFT: i32 = 4;
/** Gains fall to half between these times after the approach began: brisk on the way, quiet on the spot. Microseconds. */
const CALM_FROM: i32 = 400000;
const CALM_TO: i32 = 600000;
/**
 * On ticks longer than SLOW_TICK the throttle travels as servo pulses, one every 20 ms, and samples come once a tick: four ticks
 * pass before an action is seen. All gains shrink to SLOW_SHARE / tick (microseconds), to a tenth at 10 ms.
 */
const SLOW_TICK: i32 = 4000;
const SLOW_SHARE: i32 = 1000;
/** Until a speed hold sees the rotor turn it drives open-loop up to this, raw throttle, over the approach time. */
const START_CEILING: i32 = 1500;

let kind: i32 = 0;
let target: i32 = 0;
let gainP: i32 = 0;
let gainI: i32 = 0;
/** Share of the target where the approach began, and microseconds since then. */
let start: i32 = 0;
let approached: i32 = 0;
let trim: i32 = 0;
/** The hold has measured at least once. */
let closed: bool = false;
let bounded: bool = false;

/** True when the board has the channels that this kind of hold measures with. */
export function canHold(segment: i32): bool {
  if (segment == SEG_HOLD_SPEED) return periodChannel >= 0;
  return currentChannel >= 0 && (segment == SEG_HOLD_CURRENT || voltageChannel >= 0);
}

/** Starts a hold at the present throttle: no bump. Gains of 0 mean the defaults. */
export function startHold(segment: i32, wanted: i32, p: i32, i: i32): void {
  const speed: bool = segment == SEG_HOLD_SPEED;
  kind = segment;
  target = wanted;
  gainP = p > 0 ? p : speed ? SPEED_P : ELECTRIC_P;
  gainI = i > 0 ? i : speed ? SPEED_I : ELECTRIC_I;
  closed = false;
  bounded = false;
  start = 0;
  approached = 0;
  trim = 0;
  startPi(throttle << OUT_SHIFT);
}

/** Where the reference stands: a straight line from the start to the target. */
function reference(): i32 {
  if (approached >= APPROACH) return ONE;
  return start + (mul(ONE - start, div(approached << 12, APPROACH)) >> 12);
}

/** Factor on the gains in 1/1024: by the throttle, and by the time since the approach began. */
function schedule(): i32 {
  const byThrottle: i32 = div((throttle + SCHEDULE_OFFSET) << 10, THROTTLE_FULL + SCHEDULE_OFFSET);
  const late: i32 = clamp(approached - CALM_FROM, 0, CALM_TO - CALM_FROM) >> 4;
  const factor: i32 = mul(byThrottle, 1024 - div(mul(late, 512), (CALM_TO - CALM_FROM) >> 4)) >> 10;
  return nominalTick > SLOW_TICK ? div(mul(factor, SLOW_SHARE), nominalTick) : factor;
}

/** Without a measurement nothing winds up: keep the throttle; a speed hold that has not begun starts the motor gently. */
function withoutMeasurement(dt_us: i32): i32 {
  if (closed || kind != SEG_HOLD_SPEED) return throttle;
  approached = least(approached + dt_us, APPROACH);
  const opening: i32 = div(mul(START_CEILING, approached >> 4), APPROACH >> 4);
  return throttle > opening ? throttle : opening;
}

/** Closes the loop at the measured value, from the present throttle. */
function closeLoop(share: i32): void {
  closed = true;
  start = share;
  approached = 0;
  startPi(throttle << OUT_SHIFT);
}

/** One step of the hold: the raw throttle that it wants, before slew limit and cap. */
export function stepHold(dt_us: i32): i32 {
  if (!measurable(kind)) return withoutMeasurement(dt_us);
  const share: i32 = shareOfTarget(kind, target);
  if (!closed) closeLoop(share);
  approached = least(approached + dt_us, CALM_TO);
  const factor: i32 = schedule();
  const error: i32 = clamp(reference() - share, -ONE, ONE);
  if (kind != SEG_HOLD_SPEED && approached >= APPROACH && !bounded) {
    const step: i32 = mul(div(mul(error, dt_us), TRIM_TIME >> TRIM_SHIFT), factor) >> 10;
    trim = clamp(trim + step, -(TRIM_MAX << TRIM_SHIFT), TRIM_MAX << TRIM_SHIFT);
  }
  const wanted: i32 = stepPi(error + (trim >> TRIM_SHIFT), mul(gainP, factor) >> 10, mul(gainI, factor) >> 10, dt_us);
  return wanted >> OUT_SHIFT;
}

/** Tells the hold what became of the throttle that it wanted (anti-windup). */
export function boundHold(wanted: i32, given: i32): void {
  bounded = wanted != given;
  boundPi(wanted, given);
}
