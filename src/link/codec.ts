// Frames on the wire: 0x00, COBS(payload + CRC-16 little-endian), 0x00. COBS: Cheshire & Baker, IEEE/ACM ToN 7(2), 1999.
import { PAYLOAD_MAX } from '../wire/messages';
import { crc16 } from './crc';

const CRC_BYTES = 2;
/** One byte more than a payload and its CRC may have: with it, a frame is too long. */
const ROOM = PAYLOAD_MAX + CRC_BYTES + 1;

/** Wraps a payload of 1..PAYLOAD_MAX bytes into a frame with both delimiters. Throws a RangeError on another length. */
export function encodeFrame(payload: Uint8Array): Uint8Array {
  const n = payload.length;
  if (n < 1 || n > PAYLOAD_MAX) throw new RangeError(`a payload has 1 to ${PAYLOAD_MAX} bytes, not ${n}`);
  const body = new Uint8Array(n + CRC_BYTES);
  body.set(payload);
  const crc = crc16(payload, 0, n);
  body[n] = crc & 0xff;
  body[n + 1] = crc >> 8;
  // At most 98 bytes: a COBS block never reaches its limit of 254.
  const frame = new Uint8Array(body.length + 3);
  let codeAt = 1;
  let out = 2;
  for (const byte of body) {
    if (byte === 0) {
      frame[codeAt] = out - codeAt;
      codeAt = out++;
    } else frame[out++] = byte;
  }
  frame[codeAt] = out - codeAt;
  return frame;
}

/** Receives the payload of each good frame: the first `length` bytes of `buffer`, valid only during the call. */
export type FrameSink = (buffer: Uint8Array, length: number) => void;

/**
 * Takes bytes in pieces of any size and hands on the payload of each good frame. Whatever comes between two delimiters and
 * is no good frame counts as one bad frame; the next delimiter starts afresh, so garbage never costs the frame after it.
 */
export class FrameDecoder {
  /** Good frames so far. */
  frames = 0;
  /** Stretches between delimiters that were no frame: wrong CRC, cut short, too long. */
  bad = 0;

  private readonly buffer = new Uint8Array(ROOM);
  private length = 0;
  /** Bytes still to come in the present COBS block; -1 before the first code byte. */
  private left = -1;
  private overflow = false;

  constructor(private readonly sink: FrameSink) {}

  push(bytes: Uint8Array): void {
    const { buffer } = this;
    const end = bytes.length;
    let { length, left } = this;
    let i = 0;
    while (i < end) {
      if (left < 0) {
        // Between frames; whatever is no delimiter is the first code byte.
        const first = bytes[i++];
        if (first !== 0) left = first - 1;
        continue;
      }
      // One byte in, one byte out, without a branch on the data: in a row every few bytes are a code, which cannot be guessed.
      const stop = Math.min(end, i + ROOM - length);
      let byte = 1;
      for (; i < stop; i++) {
        byte = bytes[i];
        if (byte === 0) break;
        // All ones for a code byte, which stands for the zero before its block (no block is long enough to stand for none).
        // It comes when nothing is left of the block before, so its count is added to zero.
        const code = (left - 1) >> 31;
        buffer[length++] = byte & ~code;
        left = left - 1 + (byte & code);
      }
      if (byte === 0) {
        i++;
        this.length = length;
        this.left = left;
        this.finish();
        length = 0;
        left = -1;
      } else if (i < end) {
        this.overflow = true;
        length = 0;
      }
    }
    this.length = length;
    this.left = left;
  }

  private finish(): void {
    const n = this.length - CRC_BYTES;
    const whole = this.left === 0 && !this.overflow && n >= 1;
    this.overflow = false;
    const buffer = this.buffer;
    if (whole && crc16(buffer, 0, n) === (buffer[n] | (buffer[n + 1] << 8))) {
      this.frames++;
      this.sink(buffer, n);
    } else this.bad++;
  }
}
