// The digital throttle frame that speed controllers listen to (common practice, no published source), for the glue of our own
// boards: 11 bits of value, one that asks for telemetry, four of checksum, sent most significant bit first.
import { THROTTLE_FULL } from '../wire/messages';

/** Value of stop; 1 to 47 are commands and are never sent as a throttle. */
const STOP: i32 = 0;
const LEAST: i32 = 48;
const MOST: i32 = 2047;

/** Value for a raw throttle 0..10000: 0 is stop, everything above it a throttle from the least on. */
export function frameValue(raw: i32): i32 {
  if (raw <= 0) return STOP;
  const held: i32 = raw > THROTTLE_FULL ? THROTTLE_FULL : raw;
  return LEAST + i32(((held - 1) * (MOST - LEAST)) / (THROTTLE_FULL - 1));
}

/** The 16 bits of a frame. `inverted`: the checksum of the kind whose wire carries answers back. */
export function throttleFrame(value: i32, telemetry: i32, inverted: i32): i32 {
  const bits: i32 = (value << 1) | telemetry;
  const sum: i32 = bits ^ (bits >> 4) ^ (bits >> 8);
  const check: i32 = (inverted != 0 ? ~sum : sum) & 0xf;
  return (bits << 4) | check;
}
