// Bytes from the host to one checked payload at a time.
import { PAYLOAD_MAX } from '../wire/messages';
import { CRC16_START, crc16Step } from './crc';

const ENCODED_MAX: i32 = 99; // payload + CRC + one COBS code byte
const encoded: StaticArray<u8> = new StaticArray<u8>(99);
const payload: StaticArray<u8> = new StaticArray<u8>(99);
let count: i32 = 0;
let tooLong: bool = false;

export function resetInbox(): void {
  count = 0;
  tooLong = false;
}

/** Undoes COBS into `payload`. Returns the decoded length, -1 when a code byte points past the end. */
function unstuff(length: i32): i32 {
  let at: i32 = 0;
  let size: i32 = 0;
  while (at < length) {
    const end: i32 = at + i32(encoded[at]);
    if (end > length) return -1;
    for (at++; at < end; at++) {
      payload[size] = encoded[at];
      size++;
    }
    if (at < length) {
      payload[size] = 0;
      size++;
    }
  }
  return size;
}

/**
 * Takes one byte. Returns 0 while nothing is complete, -1 at the end of a damaged frame, else the length of the good
 * payload (2..PAYLOAD_MAX, without its CRC) that the at… functions now read. Every 0x00 both ends and starts a frame, so a
 * half-sent frame costs nothing but itself.
 */
export function feed(byte: i32): i32 {
  if (byte != 0) {
    if (count < ENCODED_MAX) {
      encoded[count] = u8(byte);
      count++;
    } else tooLong = true;
    return 0;
  }
  const length: i32 = count;
  const broken: bool = tooLong;
  resetInbox();
  if (length == 0) return 0;
  const size: i32 = broken ? -1 : unstuff(length) - 2;
  if (size < 2 || size > PAYLOAD_MAX) return -1;
  let crc: i32 = CRC16_START;
  for (let i: i32 = 0; i < size; i++) crc = crc16Step(crc, i32(payload[i]));
  return crc == at16(size) ? size : -1;
}

export function at8(offset: i32): i32 {
  return i32(payload[offset]);
}
export function at16(offset: i32): i32 {
  return at8(offset) | (at8(offset + 1) << 8);
}
export function at32(offset: i32): i32 {
  return at16(offset) | (at16(offset + 2) << 16);
}
