// Goal: frames are bytes that others would make and read too, and damage costs only the damaged frame.
// Method: published check values, golden frames from CPython, and hand-made damage, on the JavaScript and the wasm core.
import { describe, expect, test } from 'vitest';
import { CRC16_START, crc16Step, CRC32_START, crc32End, crc32Step } from '../../src/controller/crc';
import { bytesOfHex, GOLDEN_CHECKSUM, GOLDEN_CHECKSUM_AT_START, GOLDEN_COMMANDS, GOLDEN_MESSAGES } from '../../src/wire/golden';
import * as m from '../../src/wire/messages';
import * as layout from '../../src/wire/layout';
import { TRIP_LINK_LOST } from '../../src/wire/trip-codes';
import type { Core } from './kit';
import { Board, cobs, crc16, fields, frameOf, jsCore, payloadsOf, read16, read32, uncobs, wasmCore } from './kit';

const CHECK = [...'123456789'].map((c) => c.charCodeAt(0));
const hex = (bytes: readonly number[]): string => Buffer.from(bytes).toString('hex');
const CORES: [string, () => Core][] = [['JavaScript', () => jsCore], ['wasm', wasmCore]];

test('CRC-16/IBM-3740 and CRC-32/ISO-HDLC give the check values of the RevEng catalogue', () => {
  expect(CHECK.reduce(crc16Step, CRC16_START)).toBe(0x29b1);
  expect([].reduce(crc16Step, CRC16_START)).toBe(0xffff);
  expect(crc32End(CHECK.reduce(crc32Step, CRC32_START)) >>> 0).toBe(0xcbf43926);
  expect(crc32End(CRC32_START)).toBe(0);
  expect(crc16(CHECK)).toBe(0x29b1);
});

test('the tests’ own COBS agrees with the cases of Cheshire & Baker (IEEE/ACM ToN 7(2), 1999)', () => {
  const cases: [string, string][] = [
    ['', '01'], ['00', '0101'], ['0000', '010101'], ['001100', '01021101'], ['11220033', '0311220233'],
    ['11223344', '0511223344'], ['11000000', '0211010101'],
  ];
  for (const [plain, stuffed] of cases) {
    expect(hex(cobs([...Buffer.from(plain, 'hex')]))).toBe(stuffed);
    expect(hex(uncobs([...Buffer.from(stuffed, 'hex')]))).toBe(plain);
  }
});

test.each([...GOLDEN_COMMANDS, ...GOLDEN_MESSAGES])('golden frame $name is one frame with the stated payload', ({ id, payload, frame }) => {
  expect(hex(frameOf([...bytesOfHex(payload)]))).toBe(frame);
  expect(payloadsOf([...bytesOfHex(frame)]).map(hex)).toEqual([payload]);
  expect(bytesOfHex(payload)[0]).toBe(id);
});

test('bytesOfHex refuses what is no hex', () => {
  expect(() => bytesOfHex('0')).toThrow(RangeError);
  expect(() => bytesOfHex('0g')).toThrow(RangeError);
});

const golden = (name: string): number[] => {
  const found = [...GOLDEN_COMMANDS, ...GOLDEN_MESSAGES].find((g) => g.name === name);
  if (found === undefined) throw new Error(`no golden frame ${name}`);
  return [...bytesOfHex(found.frame)];
};
const payloadOf = (name: string): string => hex(payloadsOf(golden(name))[0] ?? []);

describe.each(CORES)('%s core', (_name, make) => {
  const board = (): Board => {
    const b = new Board(make(), 1000, []);
    b.core.init(1000, 0xc0ffee00 | 0, 1);
    b.core.declareChannel(0, m.KIND_CURRENT, 5, -3, 0, 1000);
    b.core.declareChannel(1, m.KIND_VOLTAGE, 5, -3, 0, 1000);
    b.core.declareChannel(2, m.KIND_PERIOD, 125, -9, -1, 1000);
    b.samples = [0, 1, 2].map(() => ({ counts: 100, valid: true }));
    return b;
  };

  test('answers HELLO and DESCRIBE with the golden IDENTITY and CHANNEL, byte for byte', () => {
    const first = board();
    first.bytes(golden('HELLO'));
    expect(hex(first.take(m.MSG_IDENTITY)[0] ?? [])).toBe(payloadOf('IDENTITY'));
    const second = board();
    second.bytes(golden('SET_TELEMETRY')); // its ACK has sequence number 0, so the CHANNEL has 1
    second.bytes(golden('DESCRIBE'));
    expect(hex(second.take(m.MSG_CHANNEL)[0] ?? [])).toBe(payloadOf('CHANNEL'));
  });

  test('the limits checksum is the one that CPython computes for the golden limits and guards', () => {
    const b = board();
    expect(b.core.checksum()).toBe(GOLDEN_CHECKSUM_AT_START);
    for (const { name, frame } of GOLDEN_COMMANDS) if (name.startsWith('SET_')) b.bytes([...bytesOfHex(frame)]);
    expect(b.core.checksum()).toBe(GOLDEN_CHECKSUM);
    b.run();
    b.take();
    b.bytes(golden('ARM'));
    expect(b.take(m.MSG_ACK)[0]?.slice(3)).toEqual([m.CMD_ARM, 9, m.RESULT_OK, m.STATE_READY, 0]);
    expect(layout.CHECKSUM_BYTES).toBe(m.LIMIT_SLOTS * layout.CHECKSUM_SLOT_BYTES + layout.CHECKSUM_GUARD_BYTES);
  });

  test('plays the golden session: every command is understood', () => {
    const b = board();
    const results: Record<string, number> = {};
    for (const { name, id, frame } of GOLDEN_COMMANDS) {
      b.bytes([...bytesOfHex(frame)]);
      const ack = b.take(m.MSG_ACK)[0];
      if (ack !== undefined) results[name] = ack[layout.ACK_RESULT] ?? NaN;
      else expect(id).toBe(m.CMD_PERMIT);
      b.setSamples();
      b.core.tick(1000);
    }
    const refused = Object.entries(results).filter(([, r]) => r !== m.RESULT_OK);
    // ordinal 256 is not the segment being played
    expect(refused).toEqual([['CLEAR_AFTER', m.RESULT_NOT_CURRENT]]);
  });

  test('an abort survives a half-sent frame: everything up to the next delimiter is one damaged frame', () => {
    for (let cut = 1; cut < golden('SET_GUARDS').length - 1; cut++) {
      const b = board();
      b.bytes(golden('SET_GUARDS').slice(0, cut));
      b.bytes(frameOf([m.CMD_TRIP, 1, TRIP_LINK_LOST]));
      expect(b.core.getCause()).toBe(TRIP_LINK_LOST);
      b.command(m.CMD_STATUS);
      expect(read16(b.take(m.MSG_STATUS)[0] ?? [], layout.STATUS_BAD_FRAMES)).toBe(cut > 1 ? 1 : 0);
    }
  });

  test('no single damaged bit in a frame gets a command through, and each is counted', () => {
    const frame = frameOf([m.CMD_TRIP, 7, TRIP_LINK_LOST]);
    const b = board();
    for (let at = 1; at < frame.length - 1; at++) {
      for (let bit = 0; bit < 8; bit++) {
        const damaged = [...frame];
        damaged[at] = (damaged[at] ?? 0) ^ (1 << bit);
        b.bytes(damaged);
      }
    }
    expect(b.core.getState()).toBe(m.STATE_SAFE);
    expect(b.take()).toEqual([]);
    b.command(m.CMD_STATUS);
    expect(read16(b.take(m.MSG_STATUS)[0] ?? [], layout.STATUS_BAD_FRAMES)).toBeGreaterThanOrEqual(8 * (frame.length - 2));
  });

  test('payloads of 96 bytes are read, of 97 and of endless length are damaged frames, of 1 byte too', () => {
    const b = board();
    const bad = (): number => {
      b.command(m.CMD_STATUS);
      return read16(b.take(m.MSG_STATUS)[0] ?? [], layout.STATUS_BAD_FRAMES);
    };
    b.bytes(frameOf([200, ...new Array<number>(95).fill(7)]));
    expect(b.take(m.MSG_ACK)[0]?.[layout.ACK_RESULT]).toBe(m.RESULT_UNKNOWN);
    expect(bad()).toBe(0);
    b.bytes(frameOf([200, ...new Array<number>(96).fill(7)]));
    expect(bad()).toBe(1);
    b.bytes([...new Array<number>(1000).fill(7), 0]);
    expect(bad()).toBe(2);
    b.bytes(frameOf([m.CMD_STOP]));
    expect(bad()).toBe(3);
    b.bytes([0, 3, 1, 0]); // code byte past the end
    expect(bad()).toBe(4);
    b.bytes([0, 0, 0]);
    expect(bad()).toBe(4);
  });

  test('output that nobody drains is dropped in whole frames, counted, and the sequence shows the gap', () => {
    const b = board();
    const { core } = b;
    const status = frameOf([m.CMD_STATUS, 1]);
    for (let k = 0; k < 1200; k++) for (const byte of status) core.rxByte(byte);
    expect(core.outLost()).toBeGreaterThan(0);
    expect(core.outLength()).toBeLessThanOrEqual(32768);
    const lost = core.outLost();
    b.bytes(status);
    const sequences = b.take().map((p) => read16(p, 1));
    expect(sequences.length + core.outLost()).toBe(2402);
    expect(core.outLost()).toBeGreaterThanOrEqual(lost);
    b.bytes(status);
    expect(read16(b.take()[0] ?? [], 1)).toBe(2402);
  });

  test('drop moves what is left to the front, and ignores nonsense', () => {
    const b = board();
    const { core } = b;
    for (const byte of frameOf([m.CMD_STATUS, 1])) core.rxByte(byte);
    const n = core.outLength();
    const before = Array.from({ length: n }, (_, i) => core.view[i]);
    core.drop(0);
    core.drop(-5);
    expect(core.outLength()).toBe(n);
    core.drop(4);
    expect(core.outLength()).toBe(n - 4);
    expect(Array.from({ length: n - 4 }, (_, i) => core.view[i])).toEqual(before.slice(4));
    core.drop(2_000_000_000);
    expect(core.outLength()).toBe(0);
  });

  test('the row of eight channels has the layout of the golden one', () => {
    const b = new Board(make(), 1000, [1, 2, 3, 4, 5, 6, 7, 4]);
    const values = [0, 1, -1, 2147483647, -2147483648, 256, 65536, 16777216];
    b.samples = values.map((counts) => ({ counts, valid: true }));
    b.must(m.CMD_SET_TELEMETRY, [1, 0]);
    b.run();
    const row = b.take(m.MSG_ROW)[0] ?? [];
    expect(row.length).toBe(layout.ROW_VALUES + 32);
    expect(values.map((_, c) => read32(row, layout.ROW_VALUES + 4 * c))).toEqual(values);
    expect([row[layout.ROW_FRESH], row[layout.ROW_VALID]]).toEqual([255, 255]);
    expect(read32(row, layout.ROW_TICK)).toBe(1000);
    expect(b.core.declareChannel(8, 1, 1, 0, 0, 0)).toBe(0);
  });

  test('a SET_LIMIT with RULE_OFF empties the slot for the checksum, whatever its other fields say', () => {
    const b = board();
    b.must(m.CMD_SET_LIMIT, fields.limit(3, { rule: m.RULE_ABOVE, threshold: 5 }));
    expect(b.core.checksum()).not.toBe(GOLDEN_CHECKSUM_AT_START);
    b.must(m.CMD_SET_LIMIT, fields.limit(3, { rule: m.RULE_OFF, threshold: 77, channel: 200, cause: 9, window: 3 }));
    expect(b.core.checksum()).toBe(GOLDEN_CHECKSUM_AT_START);
  });
});
