// The discrete PI controller under every hold: backward Euler, in integers.
// Units: error in 1/ONE of the target; gains in thousandths of full throttle per unit error (and per second);
// output in 1/65536 of a raw throttle step.
import { clamp, div, mul } from './math';

/** An error of 1 (as large as the target itself). Larger errors are held at ±ONE. */
export const ONE: i32 = 32768;
/** Shift from raw throttle to the unit of the output. */
export const OUT_SHIFT: i32 = 16;
/** Full throttle in the unit of the output: THROTTLE_FULL << OUT_SHIFT. */
export const FULL: i32 = 655360000;

/** Integral part of the output. */
export let integral: i32 = 0;
let lastStep: i32 = 0;

/** Starts from an output without error: no bump. */
export function startPi(output: i32): void {
  integral = output;
  lastStep = 0;
}

/**
 * One step: u = P e + I Σ e dt, the sum including this step. Returns the output before any bound.
 * Unsaturated it equals the velocity form Δu = P (e - e') + I e dt.
 */
export function stepPi(error: i32, gainP: i32, gainI: i32, dt_us: i32): i32 {
  const e: i32 = clamp(error, -ONE, ONE);
  // e * gainP is throttle in units of 1 / (32768 * 1000); 20 of the output's units each. Held within ±2 of full throttle.
  const p: i32 = mul(clamp(mul(e, gainP), -65536000, 65536000), 20);
  // e * gainI * dt / 50000 without leaving i32
  const w: i32 = mul(gainI, dt_us);
  const whole: i32 = div(w, 50000);
  const before: i32 = integral;
  integral = clamp(before + mul(e, whole) + div(mul(e, w - mul(whole, 50000)), 50000), -FULL, FULL);
  lastStep = integral - before;
  return p + integral;
}

/**
 * Anti-windup: tells what became of the output (cap, slew limit, zero). A step of the integral that pushed further into the
 * bound is taken back.
 */
export function boundPi(wanted: i32, given: i32): void {
  if ((given < wanted && lastStep > 0) || (given > wanted && lastStep < 0)) integral -= lastStep;
  lastStep = 0;
}
