// The limit table: what CMD_SET_LIMIT may store, and the checksum that arming compares.
import { currentZero, deadman, longestRun, stillPeriod, throttleCap, voltageZero } from './board';
import { channels, periodChannel } from './channels';
import { CRC32_START, crc32End, crc32Step } from './crc';
import { addDuty, clearDuties } from './duties';
import {
  LIMIT_SLOTS, RESULT_BAD_VALUE, RESULT_OK, RULE_BELOW, RULE_DESYNC, RULE_FROZEN, RULE_INVALID, RULE_MEAN_ABOVE, RULE_OFF,
  RULE_ABOVE, RULE_STALE, RULE_STALL, WINDOW_MAX,
} from '../wire/messages';
import { TRIP_NONE } from '../wire/trip-codes';

export const ruleOf: StaticArray<i32> = new StaticArray<i32>(24); // LIMIT_SLOTS
export const channelOf: StaticArray<i32> = new StaticArray<i32>(24);
export const causeOf: StaticArray<i32> = new StaticArray<i32>(24);
export const thresholdOf: StaticArray<i32> = new StaticArray<i32>(24);
export const badOf: StaticArray<i32> = new StaticArray<i32>(24);
export const windowOf: StaticArray<i32> = new StaticArray<i32>(24);
export const spanOf: StaticArray<i32> = new StaticArray<i32>(24);
/** The slots in use, lowest first. */
export const inUse: StaticArray<i32> = new StaticArray<i32>(24);
export let slotsInUse: i32 = 0;

/** Longest span of a mean: longer block sums could overflow. Microseconds. */
export const MEAN_SPAN_MAX: i32 = 30000000;

function clearSlot(slot: i32): void {
  ruleOf[slot] = RULE_OFF;
  channelOf[slot] = 0;
  causeOf[slot] = 0;
  thresholdOf[slot] = 0;
  badOf[slot] = 0;
  windowOf[slot] = 0;
  spanOf[slot] = 0;
}

export function resetLimits(): void {
  for (let s: i32 = 0; s < LIMIT_SLOTS; s++) clearSlot(s);
  slotsInUse = 0;
  clearDuties();
}

function listSlots(): void {
  slotsInUse = 0;
  for (let s: i32 = 0; s < LIMIT_SLOTS; s++) {
    if (ruleOf[s] == RULE_OFF) continue;
    inUse[slotsInUse] = s;
    slotsInUse++;
  }
  clearDuties();
  for (let c: i32 = 0; c < channels; c++) {
    for (let k: i32 = 0; k < slotsInUse; k++) {
      const s: i32 = inUse[k];
      if (channelOf[s] == c) addDuty(s, ruleOf[s], c, spanOf[s]);
    }
  }
}

/** Rules that count m bad of the last n samples. */
function isCounted(rule: i32): bool {
  return rule == RULE_ABOVE || rule == RULE_BELOW || rule == RULE_INVALID;
}

function acceptable(rule: i32, channel: i32, bad: i32, window: i32, span: i32): bool {
  if (channel >= channels) return false;
  if (isCounted(rule)) return window >= 1 && window <= WINDOW_MAX && bad >= 1 && bad <= window;
  if (rule == RULE_STALE) return span >= 1;
  if (rule == RULE_MEAN_ABOVE) return span >= 1 && span <= MEAN_SPAN_MAX;
  if (rule == RULE_STALL) return span >= 1 && periodChannel >= 0;
  if (rule == RULE_DESYNC) return span >= 1 && channel == periodChannel;
  return rule == RULE_FROZEN && window >= 1;
}

/** Stores one slot (RULE_OFF empties it). Returns RESULT_OK, or RESULT_BAD_VALUE and leaves the slot as it was. */
export function setLimit(slot: i32, rule: i32, channel: i32, why: i32, threshold: i32, bad: i32, window: i32, span: i32): i32 {
  if (slot >= LIMIT_SLOTS) return RESULT_BAD_VALUE;
  if (rule == RULE_OFF) clearSlot(slot);
  else {
    if (why == TRIP_NONE || !acceptable(rule, channel, bad, window, span)) return RESULT_BAD_VALUE;
    ruleOf[slot] = rule;
    channelOf[slot] = channel;
    causeOf[slot] = why;
    thresholdOf[slot] = threshold;
    badOf[slot] = bad;
    windowOf[slot] = window;
    spanOf[slot] = span;
  }
  listSlots();
  return RESULT_OK;
}

let crc: i32 = 0;
function sum8(v: i32): void {
  crc = crc32Step(crc, v & 255);
}
function sum16(v: i32): void {
  sum8(v);
  sum8(v >> 8);
}
function sum32(v: i32): void {
  sum16(v);
  sum16(v >> 16);
}

/** CRC-32/ISO-HDLC of table and guards; the byte order is written down in wire/layout.ts. */
export function checksum(): i32 {
  crc = CRC32_START;
  for (let s: i32 = 0; s < LIMIT_SLOTS; s++) {
    sum8(ruleOf[s]);
    sum8(channelOf[s]);
    sum8(causeOf[s]);
    sum32(thresholdOf[s]);
    sum16(badOf[s]);
    sum16(windowOf[s]);
    sum32(spanOf[s]);
  }
  sum32(deadman);
  sum32(longestRun);
  sum16(throttleCap);
  sum32(currentZero);
  sum32(voltageZero);
  sum32(stillPeriod);
  return crc32End(crc);
}
