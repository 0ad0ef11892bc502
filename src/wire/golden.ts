// Golden frames: every command and board message once or more, as bytes. Both codecs (the core's and the host's) must
// pass them. The bytes were computed outside this project's code, with CPython: struct.pack, bytes.split for COBS
// (Cheshire & Baker, IEEE/ACM ToN 7(2), 1999), binascii.crc_hqx(payload, 0xFFFF) and binascii.crc32 (RevEng catalogue:
// CRC-16/IBM-3740 and CRC-32/ISO-HDLC). Ordinary TypeScript: the embedded core does not import this file.

/** One frame: `fields` in payload order (without the id), `payload` before CRC and COBS, `frame` with both delimiters; hex. */
export interface GoldenFrame {
  readonly name: string;
  readonly id: number;
  readonly fields: Readonly<Record<string, number>>;
  readonly payload: string;
  readonly frame: string;
}

/** Bytes of a hex string such as "00ff"; throws a RangeError on anything else. */
export function bytesOfHex(hex: string): Uint8Array {
  if (hex.length % 2 !== 0 || /[^0-9a-f]/.test(hex)) throw new RangeError(`not pairs of hex digits: "${hex}"`);
  const bytes = new Uint8Array(hex.length / 2);
  for (let i = 0; i < bytes.length; i++) bytes[i] = Number.parseInt(hex.slice(2 * i, 2 * i + 2), 16);
  return bytes;
}

/** Limits checksum (recipe in layout.ts) after the SET_LIMIT and SET_GUARDS frames below, from a fresh start. */
export const GOLDEN_CHECKSUM = 0x7f9631a2;
/** Limits checksum of a core that nobody has given limits or guards. */
export const GOLDEN_CHECKSUM_AT_START = 0xf795574f;

/** Host to board. `sequence` is u8. */
export const GOLDEN_COMMANDS: readonly GoldenFrame[] = [
  {
    name: 'HELLO', id: 0x01,
    fields: { sequence: 1, version: 1 },
    payload: '01010100',
    frame: '00040101010375f600',
  },
  {
    name: 'DESCRIBE', id: 0x02,
    fields: { sequence: 2, channel: 2 },
    payload: '020202',
    frame: '0006020202dce400',
  },
  {
    name: 'SET_TELEMETRY', id: 0x03,
    fields: { sequence: 3, divider: 2 },
    payload: '03030200',
    frame: '0004030302032e2000',
  },
  {
    name: 'SET_LIMIT peak current', id: 0x04,
    fields: { sequence: 4, slot: 0, rule: 1, channel: 0, cause: 1, threshold: 3500, bad: 4, window: 10, span: 0 },
    payload: '040400010001ac0d000004000a0000000000',
    frame: '0003040402010401ac0d010204020a0101010103896d00',
  },
  {
    name: 'SET_LIMIT voltage low', id: 0x04,
    fields: { sequence: 5, slot: 2, rule: 2, channel: 1, cause: 3, threshold: -250, bad: 1, window: 1, span: 0 },
    payload: '04050202010306ffffff0100010000000000',
    frame: '000c04050202010306ffffff01020101010101036d0e00',
  },
  {
    name: 'SET_LIMIT mean current', id: 0x04,
    fields: { sequence: 6, slot: 7, rule: 5, channel: 0, cause: 2, threshold: 2100, bad: 0, window: 0, span: 500000 },
    payload: '040607050002340800000000000020a10700',
    frame: '0005040607050402340801010101010420a1070388d200',
  },
  {
    name: 'SET_LIMIT stale', id: 0x04,
    fields: { sequence: 7, slot: 23, rule: 3, channel: 2, cause: 9, threshold: 0, bad: 0, window: 0, span: 50000 },
    payload: '040717030209000000000000000050c30000',
    frame: '0007040717030209010101010101010350c3010375dd00',
  },
  {
    name: 'SET_GUARDS', id: 0x05,
    fields: { sequence: 8, deadman: 100000, longestRun: 30000000, throttleCap: 9500, currentZero: -12, voltageZero: 0, stillPeriod: 20000 },
    payload: '0508a086010080c3c9011c25f4ffffff00000000204e0000',
    frame: '00060508a086010b80c3c9011c25f4ffffff01010103204e0103142900',
  },
  {
    name: 'ARM', id: 0x06,
    fields: { sequence: 9, key: 42330, checksum: 2140549538 },
    payload: '06095aa5a231967f',
    frame: '000b06095aa5a231967f22ad00',
  },
  {
    name: 'PERMIT', id: 0x08,
    fields: { sequence: 10, span: 200000 },
    payload: '080a400d0300',
    frame: '0006080a400d0303623c00',
  },
  {
    name: 'SEGMENT ramp', id: 0x09,
    fields: { sequence: 11, ordinal: 1, kind: 3, flags: 0, target: 2500, duration: 4000, cap: 10000, slew: 0, gainP: 0, gainI: 0 },
    payload: '090b01000300c4090000a00f00001027000000000000',
    frame: '0004090b01020303c4090103a00f0103102701010101010345b000',
  },
  {
    name: 'SEGMENT hold-power', id: 0x09,
    fields: { sequence: 12, ordinal: 2, kind: 5, flags: 0, target: 812345, duration: 2000000, cap: 9000, slew: 50, gainP: 256, gainI: 65535 },
    payload: '090c0200050039650c0080841e00282332000001ffff',
    frame: '0004090c0202050439650c0480841e04282332010601ffffcba500',
  },
  {
    name: 'SEGMENT rest', id: 0x09,
    fields: { sequence: 13, ordinal: 3, kind: 1, flags: 1, target: 0, duration: 1000, cap: 0, slew: 0, gainP: 0, gainI: 0 },
    payload: '090d0300010100000000e80300000000000000000000',
    frame: '0004090d0303010101010103e80301010101010101010103e11500',
  },
  {
    name: 'START', id: 0x0a,
    fields: { sequence: 14 },
    payload: '0a0e',
    frame: '00050a0e0a1300',
  },
  {
    name: 'END_SEGMENT', id: 0x0b,
    fields: { sequence: 15, ordinal: 1 },
    payload: '0b0f0100',
    frame: '00040b0f0103df8500',
  },
  {
    name: 'CLEAR_AFTER', id: 0x0c,
    fields: { sequence: 16, ordinal: 256 },
    payload: '0c100001',
    frame: '00030c100401b09800',
  },
  {
    name: 'STATUS', id: 0x10,
    fields: { sequence: 17 },
    payload: '1011',
    frame: '000510116c1c00',
  },
  {
    name: 'STOP', id: 0x0d,
    fields: { sequence: 18 },
    payload: '0d12',
    frame: '00050d12205900',
  },
  {
    name: 'TRIP', id: 0x0e,
    fields: { sequence: 19, cause: 34 },
    payload: '0e1322',
    frame: '00060e13229d8500',
  },
  {
    name: 'CLEAR_TRIP', id: 0x0f,
    fields: { sequence: 20, key: 23205 },
    payload: '0f14a55a',
    frame: '00070f14a55ab9d600',
  },
  {
    name: 'DISARM', id: 0x07,
    fields: { sequence: 255 },
    payload: '07ff',
    frame: '000507ff689a00',
  },
];

/** Board to host. `sequence` is u16; ROW values are named value0… in the order of the fresh mask's set bits. */
export const GOLDEN_MESSAGES: readonly GoldenFrame[] = [
  {
    name: 'IDENTITY', id: 0x81,
    fields: { sequence: 0, version: 1, board: 1, firmware: 1, tick_us: 1000, channels: 3, queue: 16, slots: 24, reset: 1, uid: 3237998080 },
    payload: '810000010001000100e80300000310180100eeffc0',
    frame: '0002810102010201020103e80301050310180106eeffc0beae00',
  },
  {
    name: 'CHANNEL', id: 0x82,
    fields: { sequence: 1, channel: 2, kind: 3, scaleMantissa: 125, exponent: -9, zero: -1, period_us: 1000 },
    payload: '82010002037d000000f7ffffffffe8030000',
    frame: '000382010402037d010108f7ffffffffe8030103626a00',
  },
  {
    name: 'ACK done', id: 0x80,
    fields: { sequence: 2, command: 3, commandSequence: 3, result: 0, state: 0, cause: 0 },
    payload: '8002000303000000',
    frame: '0003800203030301010352d900',
  },
  {
    name: 'ACK refused while tripped', id: 0x80,
    fields: { sequence: 65535, command: 9, commandSequence: 200, result: 2, state: 3, cause: 43 },
    payload: '80ffff09c802032b',
    frame: '000b80ffff09c802032b500d00',
  },
  {
    name: 'ROW resting, nothing fresh', id: 0x83,
    fields: { sequence: 3, tick_us: 0, throttle: 0, state: 0, cause: 0, ordinal: 0, fresh: 0, valid: 0 },
    payload: '830300000000000000000000000000',
    frame: '0003830301010101010101010101010103577400',
  },
  {
    name: 'ROW driving', id: 0x83,
    fields: { sequence: 300, tick_us: 4294967295, throttle: 2500, state: 34, cause: 0, ordinal: 257, fresh: 5, valid: 1, value0: -1, value1: 65535 },
    payload: '832c01ffffffffc409220001010501ffffffffffff0000',
    frame: '000b832c01ffffffffc409220b01010501ffffffffffff0103cea000',
  },
  {
    name: 'ROW all channels', id: 0x83,
    fields: { sequence: 4096, tick_us: 123456789, throttle: 10000, state: 242, cause: 0, ordinal: 65535, fresh: 255, valid: 255, value0: 0, value1: 1, value2: -1, value3: 2147483647, value4: -2147483648, value5: 256, value6: 65536, value7: 16777216 },
    payload: '83001015cd5b071027f200ffffffff0000000001000000ffffffffffffff7f00000080000100000000010000000001',
    frame: '000283091015cd5b071027f205ffffffff0101010201010109ffffffffffffff7f01010280020101010102010101010401a20400',
  },
  {
    name: 'SEGMENT_STARTED', id: 0x84,
    fields: { sequence: 5, ordinal: 1, tick_us: 2000, throttle: 0, why: 0 },
    payload: '8405000100d0070000000000',
    frame: '00038405020103d00701010101038ec800',
  },
  {
    name: 'ENDED starved', id: 0x85,
    fields: { sequence: 6, ordinal: 3, tick_us: 4294967000, how: 4 },
    payload: '8506000300d8feffff04',
    frame: '00038506020308d8feffff04b7c100',
  },
  {
    name: 'TRIPPED by a limit', id: 0x86,
    fields: { sequence: 7, cause: 1, slot: 0, tick_us: 5000, value: 3600, limit: 3500, ordinal: 2 },
    payload: '860700010088130000100e0000ac0d00000200',
    frame: '0003860702010388130103100e0103ac0d010202036fb200',
  },
  {
    name: 'TRIPPED by the host', id: 0x86,
    fields: { sequence: 8, cause: 34, slot: 255, tick_us: 6000, value: 0, limit: 0, ordinal: 0 },
    payload: '86080022ff7017000000000000000000000000',
    frame: '000386080522ff7017010101010101010101010103d66c00',
  },
  {
    name: 'STATUS', id: 0x87,
    fields: { sequence: 9, state: 3, cause: 1, slot: 0, tick_us: 5000, value: 3600, limit: 3500, ordinal: 2, checksum: 2140549538, badFrames: 1 },
    payload: '87090003010088130000100e0000ac0d00000200a231967f0100',
    frame: '000387090303010388130103100e0103ac0d01020206a231967f0103931e00',
  },
];
