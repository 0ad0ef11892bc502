// The limit rules, judged once a tick on the new samples. Windows slide in every state, so that arming can look at them.
import { age, counts, freshNow, valid } from './channels';
import {
  ageCount, ageSlots, meanCount, meanSlots, rotationCount, rotationSlots, rotationSpan, sampled, sampledEnd,
} from './duties';
import { badOf, channelOf, inUse, ruleOf, slotsInUse, spanOf, thresholdOf, windowOf } from './limits';
import { mul } from './math';
import { addToMean, meanExcess, meanIsAbove, passMean, resetMean } from './mean';
import { rotationSeen, sinceRotation } from './rotation';
import {
  LIMIT_SLOTS, RULE_ABOVE, RULE_BELOW, RULE_DESYNC, RULE_FROZEN, RULE_INVALID, RULE_MEAN_ABOVE, RULE_STALE, RULE_STALL,
} from '../wire/messages';

const WORDS: i32 = 8; // WINDOW_MAX / 32
const history: StaticArray<i32> = new StaticArray<i32>(192); // LIMIT_SLOTS * WORDS: one bit a sample, 1 = bad
const at: StaticArray<i32> = new StaticArray<i32>(24);
/** Bad samples in the window; for RULE_FROZEN the samples since the last change. */
const hits: StaticArray<i32> = new StaticArray<i32>(24);
const before: StaticArray<i32> = new StaticArray<i32>(24);
const known: StaticArray<i32> = new StaticArray<i32>(24);

/** One bit a slot: its samples (or its mean) break its limit. Kept from tick to tick; the rules about time are not in it. */
let brokenSlots: i32 = 0;
/** Microseconds for which no channel can go stale, whatever comes; below 0: not known. */
let staleIn: i32 = -1;

function note(slot: i32, bad: bool): void {
  brokenSlots = bad ? brokenSlots | (1 << slot) : brokenSlots & ~(1 << slot);
}

/** Forgets what one slot has seen. */
export function resetRule(slot: i32): void {
  const base: i32 = mul(slot, WORDS);
  for (let w: i32 = 0; w < WORDS; w++) history[base + w] = 0;
  at[slot] = 0;
  hits[slot] = 0;
  before[slot] = 0;
  known[slot] = 0;
  resetMean(slot, spanOf[slot]);
  note(slot, false);
  staleIn = -1;
}
export function resetRules(): void {
  for (let s: i32 = 0; s < LIMIT_SLOTS; s++) resetRule(s);
}

/** Slides one sample into the window of a counted rule and keeps the count of bad ones. */
function slide(slot: i32, bad: bool): void {
  if (!bad && hits[slot] == 0) return; // a clean window stays what it is, wherever it stands
  const word: i32 = mul(slot, WORDS) + (at[slot] >> 5);
  const bit: i32 = 1 << (at[slot] & 31);
  if ((history[word] & bit) != 0) hits[slot] = hits[slot] - 1;
  if (bad) {
    hits[slot] = hits[slot] + 1;
    history[word] = history[word] | bit;
  } else history[word] = history[word] & ~bit;
  at[slot] = at[slot] + 1 < windowOf[slot] ? at[slot] + 1 : 0;
  note(slot, hits[slot] >= badOf[slot]);
}

/** RULE_FROZEN: counts samples since the last change, only while the output drives. */
function watchChange(slot: i32, value: i32, powered: bool): void {
  if (powered && known[slot] != 0 && before[slot] == value) hits[slot] = hits[slot] + 1;
  else hits[slot] = 0;
  before[slot] = value;
  known[slot] = powered ? 1 : 0;
  note(slot, hits[slot] >= windowOf[slot]);
}

/** Takes the channel's new sample. Impossible samples count for RULE_INVALID and RULE_FROZEN only. */
function take(slot: i32, v: i32, possible: bool, powered: bool): void {
  switch (ruleOf[slot]) {
    case RULE_INVALID: slide(slot, !possible); break;
    case RULE_FROZEN: watchChange(slot, v, powered); break;
    case RULE_ABOVE: if (possible) slide(slot, v > thresholdOf[slot]); break;
    case RULE_BELOW: if (possible) slide(slot, v < thresholdOf[slot]); break;
    default: if (possible) addToMean(slot, v, thresholdOf[slot]); break;
  }
}

/** Is the slot's limit broken now? */
export function broken(slot: i32): bool {
  switch (ruleOf[slot]) {
    case RULE_STALE: return age[channelOf[slot]] > spanOf[slot];
    case RULE_MEAN_ABOVE: return meanIsAbove(slot);
    case RULE_STALL: return sinceRotation >= spanOf[slot] && counts[channelOf[slot]] > thresholdOf[slot];
    case RULE_DESYNC: return rotationSeen && sinceRotation >= spanOf[slot];
    case RULE_FROZEN: return hits[slot] >= windowOf[slot];
    default: return hits[slot] >= badOf[slot];
  }
}

/** First slot whose limit is broken, -1 when none is. */
export function firstBroken(): i32 {
  for (let k: i32 = 0; k < slotsInUse; k++) if (broken(inUse[k])) return inUse[k];
  return -1;
}

/** Feeds the slots of every channel that has a new sample. */
function takeSamples(powered: bool): void {
  let begin: i32 = 0;
  for (let c: i32 = 0; (freshNow >> c) != 0; c++) {
    const end: i32 = sampledEnd[c];
    if ((freshNow & (1 << c)) != 0) {
      const possible: bool = (valid & (1 << c)) != 0;
      for (let k: i32 = begin; k < end; k++) take(sampled[k], counts[c], possible, powered);
    }
    begin = end;
  }
}

/** Bits of the slots whose channel is stale. Samples only put that off, so most ticks need not look. */
function staleSlots(dt_us: i32): i32 {
  staleIn = staleIn - dt_us;
  if (staleIn >= 0) return 0;
  let bits: i32 = 0;
  let quiet: i32 = 2147483647;
  for (let k: i32 = 0; k < ageCount; k++) {
    const s: i32 = ageSlots[k];
    const left: i32 = spanOf[s] - age[channelOf[s]];
    if (left < 0) bits |= 1 << s;
    if (left < quiet) quiet = left;
  }
  staleIn = quiet < 0 ? -1 : quiet;
  return bits;
}

/** Feeds every slot with this tick's samples and time. Returns the first broken slot, -1 when none is. */
export function judge(dt_us: i32, powered: bool): i32 {
  takeSamples(powered);
  for (let k: i32 = 0; k < meanCount; k++) {
    const s: i32 = meanSlots[k];
    if (passMean(s, dt_us)) note(s, meanIsAbove(s));
  }
  let bits: i32 = brokenSlots | staleSlots(dt_us);
  if (sinceRotation >= rotationSpan) {
    for (let k: i32 = 0; k < rotationCount; k++) if (broken(rotationSlots[k])) bits |= 1 << rotationSlots[k];
  }
  if (bits == 0) return -1;
  let first: i32 = 0;
  while ((bits & (1 << first)) == 0) first++;
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
