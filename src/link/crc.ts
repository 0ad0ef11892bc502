// The two checksums of the wire, table-driven.

// STEP[n][b]: byte b through the register, then n zero bytes.
const STEP0 = new Uint16Array(256);
const STEP1 = new Uint16Array(256);
const STEP2 = new Uint16Array(256);
const STEP3 = new Uint16Array(256);
const TABLE32 = new Uint32Array(256);

for (let i = 0; i < 256; i++) {
  let c = i << 8;
  for (let k = 0; k < 8; k++) c = c & 0x8000 ? ((c << 1) ^ 0x1021) & 0xffff : (c << 1) & 0xffff;
  STEP0[i] = c;
  let d = i;
  for (let k = 0; k < 8; k++) d = d & 1 ? (d >>> 1) ^ 0xedb88320 : d >>> 1;
  TABLE32[i] = d >>> 0;
}
for (let i = 0; i < 256; i++) {
  STEP1[i] = zeroAfter(STEP0[i]);
  STEP2[i] = zeroAfter(STEP1[i]);
  STEP3[i] = zeroAfter(STEP2[i]);
}

function zeroAfter(crc: number): number {
  return ((crc << 8) & 0xffff) ^ STEP0[crc >> 8];
}

/**
 * CRC-16/IBM-3740 (polynomial 0x1021, start 0xFFFF, not reflected) of `bytes[from..to)`; RevEng catalogue.
 * Four bytes a step, so that the look-ups do not wait for each other; the 16-bit register is used up by the first two.
 */
export function crc16(bytes: Uint8Array, from: number, to: number): number {
  let crc = 0xffff;
  let i = from;
  for (; i + 3 < to; i += 4)
    crc = STEP3[(crc >> 8) ^ bytes[i]] ^ STEP2[(crc & 0xff) ^ bytes[i + 1]] ^ STEP1[bytes[i + 2]] ^ STEP0[bytes[i + 3]];
  for (; i < to; i++) crc = ((crc << 8) & 0xffff) ^ STEP0[(crc >> 8) ^ bytes[i]];
  return crc;
}

/** CRC-32/ISO-HDLC (reflected 0xEDB88320, start and end inverted) of all bytes, as an unsigned number; RevEng catalogue. */
export function crc32(bytes: Uint8Array): number {
  let crc = 0xffffffff;
  for (let i = 0; i < bytes.length; i++) crc = (crc >>> 8) ^ TABLE32[(crc ^ bytes[i]) & 0xff];
  return ~crc >>> 0;
}
