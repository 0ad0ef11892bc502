// Frames for the host: built field by field, then stuffed into one buffer that the host empties in whole slices.
import { CRC16_START, crc16Step } from './crc';

/** Bytes of the output buffer: 10 ms of 8 kHz rows with eight channels is 4.4 KB. */
export const OUT_SIZE: i32 = 32768;
/** The buffer, and room for one more frame (PAYLOAD_MAX + CRC + code byte + delimiters) that turns out not to fit. */
export const out: StaticArray<u8> = new StaticArray<u8>(32869);

// the frame being built: CRC so far, place of the open COBS code byte, next place
let crc: i32 = 0;
let code: i32 = 0;
let to: i32 = 0;
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
  let to: i32 = 0;
  for (let from: i32 = n; from >= n && from < length; from++) {
    out[to] = out[from];
    to++;
  }
  length = to;
}

/** One byte of the payload into the CRC and, stuffed (COBS), into `out`; no block lacks its zero, frames are that short. */
export function put8(v: i32): void {
  const byte: i32 = v & 255;
  crc = crc16Step(crc, byte);
  stuff(byte);
}
export function put16(v: i32): void {
  put8(v);
  put8(v >> 8);
}
export function put32(v: i32): void {
  put8(v);
  put8(v >> 8);
  put8(v >> 16);
  put8(v >> 24);
}

function stuff(byte: i32): void {
  if (byte == 0) {
    out[code] = u8(to - code);
    code = to;
  } else out[to] = u8(byte);
  to++;
}

/** Starts a frame behind the last one: delimiter, id and the next sequence number. */
export function beginFrame(id: i32): void {
  out[length] = 0;
  code = length + 1;
  to = code + 1;
  crc = CRC16_START;
  put8(id);
  put16(sequence);
  sequence = (sequence + 1) & 0xffff;
}

/** Ends a frame: CRC and delimiter. A frame that reaches into the spare bytes is dropped whole and counted. */
export function endFrame(): void {
  const sum: i32 = crc;
  stuff(sum & 255);
  stuff(sum >> 8);
  out[code] = u8(to - code);
  out[to] = 0;
  if (to < OUT_SIZE) length = to + 1;
  else lost = (lost + 1) & 0xffff;
}
