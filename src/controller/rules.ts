// The limit rules, judged once a tick on the new samples. Windows slide in every state, so that arming can look at them.
import { age, counts, freshNow, valid } from './channels';
import { badOf, channelOf, isCounted, ruleOf, slotsUsed, spanOf, thresholdOf, windowOf } from './limits';
import { mul } from './math';
import { addToMean, meanExcess, meanIsAbove, passMean, resetMean } from './mean';
import { rotationSeen, sinceRotation } from './rotation';
import {
  LIMIT_SLOTS, RULE_ABOVE, RULE_DESYNC, RULE_FROZEN, RULE_INVALID, RULE_MEAN_ABOVE, RULE_OFF, RULE_STALE, RULE_STALL,
} from '../wire/messages';

const WORDS: i32 = 8; // WINDOW_MAX / 32
const history: StaticArray<i32> = new StaticArray<i32>(192); // LIMIT_SLOTS * WORDS: one bit a sample, 1 = bad
const at: StaticArray<i32> = new StaticArray<i32>(24);
/** Bad samples in the window; for RULE_FROZEN the samples since the last change. */
const hits: StaticArray<i32> = new StaticArray<i32>(24);
const before: StaticArray<i32> = new StaticArray<i32>(24);
const known: StaticArray<i32> = new StaticArray<i32>(24);

/** Forgets what one slot has seen. */
export function resetRule(slot: i32): void {
  const base: i32 = mul(slot, WORDS);
  for (let w: i32 = 0; w < WORDS; w++) history[base + w] = 0;
  at[slot] = 0;
  hits[slot] = 0;
  before[slot] = 0;
  known[slot] = 0;
  resetMean(slot, spanOf[slot]);
}
export function resetRules(): void {
  for (let s: i32 = 0; s < LIMIT_SLOTS; s++) resetRule(s);
}

/** Slides one sample into the window of a counted rule and keeps the count of bad ones. */
function slide(slot: i32, bad: bool): void {
  const word: i32 = mul(slot, WORDS) + (at[slot] >> 5);
  const bit: i32 = 1 << (at[slot] & 31);
  if ((history[word] & bit) != 0) hits[slot] = hits[slot] - 1;
  if (bad) {
    hits[slot] = hits[slot] + 1;
    history[word] = history[word] | bit;
  } else history[word] = history[word] & ~bit;
  at[slot] = at[slot] + 1 < windowOf[slot] ? at[slot] + 1 : 0;
}

/** RULE_FROZEN: counts samples since the last change, only while the output drives. */
function watchChange(slot: i32, value: i32, powered: bool): void {
  if (powered && known[slot] != 0 && before[slot] == value) hits[slot] = hits[slot] + 1;
  else hits[slot] = 0;
  before[slot] = value;
  known[slot] = powered ? 1 : 0;
}

/** Takes the channel's new sample, if there is one. Impossible samples count for RULE_INVALID only. */
function take(slot: i32, rule: i32, powered: bool): void {
  const c: i32 = channelOf[slot];
  if ((freshNow & (1 << c)) == 0) return;
  const possible: bool = (valid & (1 << c)) != 0;
  const v: i32 = counts[c];
  if (rule == RULE_INVALID) slide(slot, !possible);
  else if (rule == RULE_FROZEN) watchChange(slot, v, powered);
  else if (!possible) return;
  else if (rule == RULE_MEAN_ABOVE) addToMean(slot, v, thresholdOf[slot]);
  else if (isCounted(rule)) slide(slot, rule == RULE_ABOVE ? v > thresholdOf[slot] : v < thresholdOf[slot]);
}

/** Is the slot's limit broken now? */
export function broken(slot: i32): bool {
  const rule: i32 = ruleOf[slot];
  const c: i32 = channelOf[slot];
  if (isCounted(rule)) return hits[slot] >= badOf[slot];
  if (rule == RULE_STALE) return age[c] > spanOf[slot];
  if (rule == RULE_MEAN_ABOVE) return meanIsAbove(slot);
  if (rule == RULE_STALL) return sinceRotation >= spanOf[slot] && counts[c] > thresholdOf[slot];
  if (rule == RULE_DESYNC) return rotationSeen && sinceRotation >= spanOf[slot];
  return rule == RULE_FROZEN && hits[slot] >= windowOf[slot];
}

/** First slot whose limit is broken, -1 when none is. */
export function firstBroken(): i32 {
  for (let s: i32 = 0; s < slotsUsed; s++) if (broken(s)) return s;
  return -1;
}

/** Feeds every slot with this tick's samples. Returns the first broken slot, -1 when none is. */
export function judge(dt_us: i32, powered: bool): i32 {
  let first: i32 = -1;
  for (let s: i32 = 0; s < slotsUsed; s++) {
    const rule: i32 = ruleOf[s];
    if (rule == RULE_OFF) continue;
    take(s, rule, powered);
    if (rule == RULE_MEAN_ABOVE) passMean(s, dt_us);
    if (first < 0 && broken(s)) first = s;
  }
  return first;
}

/** What the slot measured, for the trip report: counts, or microseconds for the rules about time. */
export function measuredBy(slot: i32): i32 {
  const rule: i32 = ruleOf[slot];
  if (rule == RULE_STALE) return age[channelOf[slot]];
  if (rule == RULE_DESYNC) return sinceRotation;
  if (rule == RULE_MEAN_ABOVE) return i32(thresholdOf[slot] + meanExcess(slot));
  if (rule == RULE_INVALID || rule == RULE_FROZEN) return hits[slot];
  return counts[channelOf[slot]];
}
/** What it was compared with, in the same unit. */
export function boundOf(slot: i32): i32 {
  const rule: i32 = ruleOf[slot];
  if (rule == RULE_STALE || rule == RULE_DESYNC) return spanOf[slot];
  if (rule == RULE_INVALID) return badOf[slot];
  if (rule == RULE_FROZEN) return windowOf[slot];
  return thresholdOf[slot];
}
