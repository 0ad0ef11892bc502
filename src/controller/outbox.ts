// Frames for the host: built field by field, then stuffed into one buffer that the host empties in whole slices.
import { CRC16_START, crc16Step } from './crc';

/** Bytes of the output buffer: 10 ms of 8 kHz rows with eight channels is 4.4 KB. */
export const OUT_SIZE: i32 = 32768;
export const out: StaticArray<u8> = new StaticArray<u8>(32768);

const frame: StaticArray<u8> = new StaticArray<u8>(98); // PAYLOAD_MAX + CRC
let size: i32 = 0;
let length: i32 = 0;
let sequence: i32 = 0;
let lost: i32 = 0;

export function resetOutbox(): void {
  size = 0;
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

export function put8(v: i32): void {
  frame[size] = u8(v);
  size++;
}
export function put16(v: i32): void {
  frame[size] = u8(v);
  frame[size + 1] = u8(v >> 8);
  size += 2;
}
export function put32(v: i32): void {
  frame[size] = u8(v);
  frame[size + 1] = u8(v >> 8);
  frame[size + 2] = u8(v >> 16);
  frame[size + 3] = u8(v >> 24);
  size += 4;
}

/** Starts a frame: id and the next sequence number. */
export function beginFrame(id: i32): void {
  size = 0;
  put8(id);
  put16(sequence);
  sequence = (sequence + 1) & 0xffff;
}

/** Ends a frame: CRC, byte stuffing, both delimiters. A frame without room is dropped whole and counted. */
export function endFrame(): void {
  if (length + size + 5 > OUT_SIZE) {
    lost = (lost + 1) & 0xffff;
    return;
  }
  let crc: i32 = CRC16_START;
  for (let i: i32 = 0; i < size; i++) crc = crc16Step(crc, i32(frame[i]));
  put16(crc);
  out[length] = 0;
  let code: i32 = length + 1;
  let to: i32 = code + 1;
  for (let i: i32 = 0; i < size; i++) {
    const byte: i32 = i32(frame[i]);
    if (byte == 0) {
      out[code] = u8(to - code);
      code = to;
    } else out[to] = u8(byte);
    to++;
  }
  out[code] = u8(to - code); // frames are shorter than 254 bytes: no block without a zero
  out[to] = 0;
  length = to + 1;
}
