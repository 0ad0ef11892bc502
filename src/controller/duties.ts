// Which limit slots a tick has to look at. Most of a table has nothing to do in most ticks: a counted rule moves only with a
// fresh sample of its channel, and nothing can go stale before the oldest channel has had the time for it.
import { RULE_DESYNC, RULE_MEAN_ABOVE, RULE_STALE, RULE_STALL } from '../wire/messages';

/** Slots that take samples, grouped by channel; those of channel c end before sampledEnd[c] and begin where c - 1 ends. */
export const sampled: StaticArray<i32> = new StaticArray<i32>(24); // LIMIT_SLOTS
export const sampledEnd: StaticArray<i32> = new StaticArray<i32>(8); // CHANNELS_MAX
/** Slots that watch an age, a mean over time, the rotation. */
export const ageSlots: StaticArray<i32> = new StaticArray<i32>(24);
export const meanSlots: StaticArray<i32> = new StaticArray<i32>(24);
export const rotationSlots: StaticArray<i32> = new StaticArray<i32>(24);
export let ageCount: i32 = 0;
export let meanCount: i32 = 0;
export let rotationCount: i32 = 0;
/** Shortest span of the rotation slots: before it none of them can be broken. */
export let rotationSpan: i32 = 2147483647;

export function clearDuties(): void {
  for (let c: i32 = 0; c < 8; c++) sampledEnd[c] = 0;
  ageCount = 0;
  meanCount = 0;
  rotationCount = 0;
  rotationSpan = 2147483647;
}

/** Adds a slot of a channel; channels come in rising order. */
export function addDuty(slot: i32, rule: i32, channel: i32, span_us: i32): void {
  if (rule == RULE_STALE) {
    ageSlots[ageCount] = slot;
    ageCount++;
    return;
  }
  if (rule == RULE_STALL || rule == RULE_DESYNC) {
    rotationSlots[rotationCount] = slot;
    rotationCount++;
    if (span_us < rotationSpan) rotationSpan = span_us;
    return;
  }
  if (rule == RULE_MEAN_ABOVE) {
    meanSlots[meanCount] = slot;
    meanCount++;
  }
  sampled[sampledEnd[channel]] = slot;
  for (let c: i32 = channel; c < 8; c++) sampledEnd[c] = sampledEnd[c] + 1;
}
