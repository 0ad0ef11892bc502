// CRC-16/IBM-3740 for frames and CRC-32/ISO-HDLC for the limits checksum (names of the RevEng catalogue).
const TABLE16: StaticArray<i32> = new StaticArray<i32>(256);
/** What TABLE16 makes of a byte, and one zero byte more. */
const TWICE16: StaticArray<i32> = new StaticArray<i32>(256);
const TABLE32: StaticArray<i32> = new StaticArray<i32>(256);

for (let n: i32 = 0; n < 256; n++) {
  let c: i32 = n << 8;
  let d: i32 = n;
  for (let k: i32 = 0; k < 8; k++) {
    c = (c & 0x8000) != 0 ? ((c << 1) ^ 0x1021) & 0xffff : (c << 1) & 0xffff;
    d = (d & 1) != 0 ? i32(i32(d >>> 1) ^ -306674912) : i32(d >>> 1);
  }
  TABLE16[n] = c;
  TABLE32[n] = d;
}
for (let n: i32 = 0; n < 256; n++) TWICE16[n] = ((TABLE16[n] << 8) & 0xffff) ^ TABLE16[TABLE16[n] >> 8];

export const CRC16_START: i32 = 0xffff;
export const CRC32_START: i32 = -1;

/** One byte more into a CRC-16/IBM-3740 (start with CRC16_START, no final step). */
export function crc16Step(crc: i32, byte: i32): i32 {
  return ((crc << 8) & 0xffff) ^ TABLE16[(crc >> 8) ^ byte];
}

/** Two bytes more into a CRC-16/IBM-3740 (crc 0..65535, bytes 0..255: no index leaves its table): the 16-bit register is used up by them, so the look-ups do not wait for each other. */
export function crc16Pair(crc: i32, first: i32, second: i32): i32 {
  return unchecked(TWICE16[(crc >> 8) ^ first]) ^ unchecked(TABLE16[(crc & 255) ^ second]);
}

/** One byte more into a CRC-32/ISO-HDLC (start with CRC32_START, finish with crc32End). */
export function crc32Step(crc: i32, byte: i32): i32 {
  return i32(i32(crc >>> 8) ^ TABLE32[(crc ^ byte) & 255]);
}

export function crc32End(crc: i32): i32 {
  return i32(crc ^ -1);
}
