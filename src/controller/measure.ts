// What a hold controls, as a share of its target.
import { currentZero, voltageZero } from './board';
import { age, currentChannel, lastValid, periodChannel, periodOf, valid, voltageChannel } from './channels';
import { clamp, div, gap, mul } from './math';
import { ONE } from './pi';
import { turning } from './rotation';
import { POWER_SHIFT, SEG_HOLD_CURRENT, SEG_HOLD_SPEED } from '../wire/messages';

/** A sample older than four of its periods, and than this many microseconds, is not controlled on. */
const HELD_MIN: i32 = 20000;
/** Counts above zero that enter a power; two of them below 2^18 and POWER_SHIFT stay inside i32. */
const POWER_INPUT_MAX: i32 = 262143;

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

/** (current counts * voltage counts) >> POWER_SHIFT, both above their zero. */
export function powerOf(current: i32, voltage: i32): i32 {
  const i: i32 = clamp(gap(current, currentZero), 0, POWER_INPUT_MAX);
  const v: i32 = clamp(gap(voltage, voltageZero), 0, POWER_INPUT_MAX);
  return mul(i >> POWER_SHIFT, v) + (mul(i & ((1 << POWER_SHIFT) - 1), v) >> POWER_SHIFT);
}

/** The channel's latest sample is possible and not older than it may be. */
function usable(channel: i32): bool {
  const oldest: i32 = clamp(periodOf[channel], 0, 1000000) << 2;
  return (valid & (1 << channel)) != 0 && (age[channel] <= HELD_MIN || age[channel] <= oldest);
}

/** True when this kind of hold can be measured now. A rotor that does not turn cannot. */
export function measurable(kind: i32): bool {
  if (kind == SEG_HOLD_SPEED) return usable(periodChannel) && turning();
  return usable(currentChannel) && (kind == SEG_HOLD_CURRENT || usable(voltageChannel));
}

/** Measured value over target in units of 1/ONE. A period target is the inverse of a speed. */
export function shareOfTarget(kind: i32, target: i32): i32 {
  if (kind == SEG_HOLD_SPEED) return ratio(target, lastValid[periodChannel]);
  const current: i32 = lastValid[currentChannel];
  if (kind == SEG_HOLD_CURRENT) return ratio(gap(current, currentZero), target);
  return ratio(powerOf(current, lastValid[voltageChannel]), target);
}
