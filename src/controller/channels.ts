// The declared channels and their latest samples.
import { CHANNELS_MAX, KIND_CURRENT, KIND_PERIOD, KIND_VOLTAGE } from '../wire/messages';
import { mul, older } from './math';

// declared once, echoed by CMD_DESCRIBE
export const kindOf: StaticArray<i32> = new StaticArray<i32>(8);
export const scaleOf: StaticArray<i32> = new StaticArray<i32>(8);
export const exponentOf: StaticArray<i32> = new StaticArray<i32>(8);
export const zeroOf: StaticArray<i32> = new StaticArray<i32>(8);
export const periodOf: StaticArray<i32> = new StaticArray<i32>(8);
export let channels: i32 = 0;

/** Latest sample, possible or not. */
export const counts: StaticArray<i32> = new StaticArray<i32>(8);
/** Latest possible sample; holds go on with it through dropouts. */
export const lastValid: StaticArray<i32> = new StaticArray<i32>(8);
/** Microseconds since the latest sample. */
export const age: StaticArray<i32> = new StaticArray<i32>(8);
/** Masks: a sample came since the last tick, since the last row, ever; the latest one is possible; a possible one came ever. */
export let freshNow: i32 = 0;
export let freshRow: i32 = 0;
export let seen: i32 = 0;
export let valid: i32 = 0;
export let everValid: i32 = 0;

/** First channel of the kinds that the holds and the rotation rules need, -1 when not declared. */
export let currentChannel: i32 = -1;
export let voltageChannel: i32 = -1;
export let periodChannel: i32 = -1;

/** For arming, a channel with a declared period is stale after ten of them, never sooner than this (microseconds). */
const ARM_STALE_MIN: i32 = 50000;

export function resetChannels(): void {
  channels = 0;
  freshNow = 0;
  freshRow = 0;
  seen = 0;
  valid = 0;
  everValid = 0;
  currentChannel = -1;
  voltageChannel = -1;
  periodChannel = -1;
}

/** Declares the next channel; ids count up from 0. Returns 1, or 0 when refused (wrong id, or no room). */
export function declareChannel(id: i32, kind: i32, scale: i32, exponent: i32, zero: i32, period_us: i32): i32 {
  if (id != channels || id >= CHANNELS_MAX) return 0;
  kindOf[id] = kind;
  scaleOf[id] = scale;
  exponentOf[id] = exponent;
  zeroOf[id] = zero;
  periodOf[id] = period_us;
  counts[id] = 0;
  lastValid[id] = 0;
  age[id] = 0;
  if (kind == KIND_CURRENT && currentChannel < 0) currentChannel = id;
  if (kind == KIND_VOLTAGE && voltageChannel < 0) voltageChannel = id;
  if (kind == KIND_PERIOD && periodChannel < 0) periodChannel = id;
  channels++;
  return 1;
}

/** A new sample: raw counts, and whether it is possible (1) or not (0). Unknown channels are ignored. */
export function setInput(channel: i32, raw: i32, possible: i32): void {
  if (channel < 0 || channel >= channels) return;
  const bit: i32 = 1 << channel;
  counts[channel] = raw;
  freshNow |= bit;
  seen |= bit;
  if (possible != 0) {
    valid |= bit;
    everValid |= bit;
    lastValid[channel] = raw;
  } else valid &= ~bit;
}

/** Counts by channel that "takeInputs" takes: a host writes them here, so that all samples of a tick cost one call. */
export const inputs: StaticArray<i32> = new StaticArray<i32>(8);

/** New samples of several channels at once: bit masks of the channels whose counts in "inputs" are new, and of those that are possible. */
export function takeInputs(came: i32, possible: i32): void {
  for (let c: i32 = 0; c < channels; c++) {
    if ((came & (1 << c)) != 0) setInput(c, inputs[c], possible & (1 << c));
  }
}

/** Lets every channel age by one tick; those with a new sample start at 0. */
export function ageChannels(dt_us: i32): void {
  freshRow |= freshNow;
  for (let c: i32 = 0; c < channels; c++) age[c] = (freshNow & (1 << c)) != 0 ? 0 : older(age[c], dt_us);
}
export function endTickOfChannels(): void {
  freshNow = 0;
}
export function endRowOfChannels(): void {
  freshRow = 0;
}

/** True when a channel with a declared period has never sampled, or not for ten periods (50 ms at least). */
export function anyStale(): bool {
  for (let c: i32 = 0; c < channels; c++) {
    if (periodOf[c] <= 0) continue;
    const longest: i32 = periodOf[c] > 100000000 ? 1000000000 : mul(periodOf[c], 10);
    if ((seen & (1 << c)) == 0 || (age[c] > longest && age[c] > ARM_STALE_MIN)) return true;
  }
  return false;
}
