// Frames for the host: built field by field, then stuffed into one buffer that the host empties in whole slices.
// The accesses marked `unchecked` stay inside by construction: `size` starts at 0 in beginFrame and no frame of telemetry.ts puts
// more than PAYLOAD_MAX bytes; `length` never exceeds OUT_SIZE, and `out` has room for one frame more. The tests run them checked.
import { CRC16_START, crc16Pair, crc16Step } from './crc';

/** Bytes of the output buffer: 10 ms of 8 kHz rows with eight channels is 4.4 KB. */
export const OUT_SIZE: i32 = 32768;
/** The buffer, and room for one more frame (PAYLOAD_MAX + CRC + code byte + delimiters) that turns out not to fit. */
export const out: StaticArray<u8> = new StaticArray<u8>(32869);

/** The payload being built, as it is before stuffing, and its CRC behind it. */
const plain: StaticArray<u8> = new StaticArray<u8>(98); // PAYLOAD_MAX + 2
let size: i32 = 0;
let length: i32 = 0;
let sequence: i32 = 0;
let lost: i32 = 0;

export function resetOutbox(): void {
  length = 0;
  sequence = 0;
  lost = 0;
}

/** Bytes waiting in `out`. */
export function outLength(): i32 {
  return length;
}

/** Frames that found no room; their sequence numbers are missing from the stream. */
export function outLost(): i32 {
  return lost;
}

/** Forgets the first n bytes of `out` (all of them when n is too large) and moves the rest to the front. */
export function drop(n: i32): void {
  if (n <= 0) return;
  if (n >= length) {
    length = 0;
    return;
  }
  let to: i32 = 0;
  for (let from: i32 = n; from < length; from++) {
    out[to] = out[from];
    to++;
  }
  length = to;
}

/** One byte more of the payload. */
export function put8(v: i32): void {
  unchecked(plain[size] = u8(v));
  size++;
}
export function put16(v: i32): void {
  const at: i32 = size;
  unchecked(plain[at] = u8(v));
  unchecked(plain[at + 1] = u8(v >> 8));
  size = at + 2;
}
export function put32(v: i32): void {
  const at: i32 = size;
  unchecked(plain[at] = u8(v));
  unchecked(plain[at + 1] = u8(v >> 8));
  unchecked(plain[at + 2] = u8(v >> 16));
  unchecked(plain[at + 3] = u8(v >> 24));
  size = at + 4;
}

/** Starts a frame: id and the next sequence number. */
export function beginFrame(id: i32): void {
  size = 0;
  put8(id);
  put16(sequence);
  sequence = (sequence + 1) & 0xffff;
}

/** CRC of the payload, two bytes a step. */
function sumOfPayload(): i32 {
  const n: i32 = size;
  let crc: i32 = CRC16_START;
  let i: i32 = 0;
  for (; i + 1 < n; i += 2) crc = crc16Pair(crc, unchecked(plain[i]), unchecked(plain[i + 1]));
  return i < n ? crc16Step(crc, plain[i]) : crc;
}

/**
 * Ends a frame: CRC, and all of it stuffed (COBS) between delimiters behind the last one; no block lacks its zero, frames are
 * that short. A frame that reaches into the spare bytes is dropped whole and counted.
 */
export function endFrame(): void {
  put16(sumOfPayload());
  const n: i32 = size;
  out[length] = 0;
  let code: i32 = length + 1;
  let to: i32 = code + 1;
  // No branch on the data, which cannot be guessed: the code byte is written at every byte, and stays when it is complete.
  for (let i: i32 = 0; i < n; i++) {
    const byte: i32 = unchecked(plain[i]);
    unchecked(out[code] = u8(to - code));
    unchecked(out[to] = u8(byte));
    code = byte == 0 ? to : code;
    to++;
  }
  out[code] = u8(to - code);
  out[to] = 0;
  if (to < OUT_SIZE) length = to + 1;
  else lost = (lost + 1) & 0xffff;
}
