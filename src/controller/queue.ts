// Segments waiting to be played, first in, first out; and the one being played.
import { div, mul } from './math';
import { SEGMENT_QUEUE, SEG_FLAG_LAST } from '../wire/messages';

const WIDTH: i32 = 9;
const cells: StaticArray<i32> = new StaticArray<i32>(144); // SEGMENT_QUEUE * WIDTH
let head: i32 = 0;
/** Segments waiting; the one being played does not count. */
export let waiting: i32 = 0;
/** Ordinal that the next CMD_SEGMENT must carry (65536 fits none: a run has 65535 segments at most). */
export let nextOrdinal: i32 = 1;
/** The last segment of the run is known: nothing may follow. */
export let sealed: bool = false;

// the segment being played
export let ordinal: i32 = 0;
export let kind: i32 = 0;
export let flags: i32 = 0;
export let target: i32 = 0;
export let duration: i32 = 0;
export let cap: i32 = 0;
export let slew: i32 = 0;
export let gainP: i32 = 0;
export let gainI: i32 = 0;

/** Forgets everything; ordinals start at 1 again. */
export function emptyQueue(): void {
  head = 0;
  waiting = 0;
  nextOrdinal = 1;
  sealed = false;
  ordinal = 0;
  kind = 0;
  flags = 0;
}

/** Appends a checked segment; the caller has made sure that there is room. */
export function append(k: i32, f: i32, goal: i32, time_us: i32, most: i32, rate: i32, p: i32, i: i32): void {
  const place: i32 = head + waiting;
  const at: i32 = mul(place < SEGMENT_QUEUE ? place : place - SEGMENT_QUEUE, WIDTH);
  cells[at] = nextOrdinal;
  cells[at + 1] = k;
  cells[at + 2] = f;
  cells[at + 3] = goal;
  cells[at + 4] = time_us;
  cells[at + 5] = most;
  cells[at + 6] = rate;
  cells[at + 7] = p;
  cells[at + 8] = i;
  waiting++;
  nextOrdinal++;
  if ((f & SEG_FLAG_LAST) != 0) sealed = true;
}

/** Makes the first waiting segment the played one; the caller has made sure that there is one. */
export function takeNext(): void {
  const at: i32 = mul(head, WIDTH);
  ordinal = cells[at];
  kind = cells[at + 1];
  flags = cells[at + 2];
  target = cells[at + 3];
  duration = cells[at + 4];
  cap = cells[at + 5];
  slew = cells[at + 6];
  gainP = cells[at + 7];
  gainI = cells[at + 8];
  head = head + 1 < SEGMENT_QUEUE ? head + 1 : 0;
  waiting--;
}

/** Makes the played or waiting segment `last` the last one and drops the later ones. False when it is not here. */
export function clearAfter(last: i32): bool {
  const later: i32 = (last - ordinal) & 0xffff;
  if (later > waiting) return false;
  waiting = later;
  sealed = true;
  if (later == 0) flags |= SEG_FLAG_LAST;
  else {
    const place: i32 = head + later - 1;
    const at: i32 = mul(place - mul(div(place, SEGMENT_QUEUE), SEGMENT_QUEUE), WIDTH);
    cells[at + 2] = cells[at + 2] | SEG_FLAG_LAST;
  }
  return true;
}
