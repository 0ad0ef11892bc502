// Goal: the host's codec reads and writes exactly the bytes that the wire fixes.
// Method: golden frames (computed outside this project, see src/wire/golden.ts) both ways, and published catalogue values.
import { describe, expect, test } from 'vitest';
import { limitsChecksum, GUARDS_AT_START } from '../../src/link/checksum';
import { encodeFrame, FrameDecoder } from '../../src/link/codec';
import { COMMAND_ID, commandPayload, type Command, type CommandName, type Guards, type LimitRow } from '../../src/link/commands';
import { crc16, crc32 } from '../../src/link/crc';
import { decodeMessage, type BoardMessage } from '../../src/link/messages';
import {
  bytesOfHex, GOLDEN_CHECKSUM, GOLDEN_CHECKSUM_AT_START, GOLDEN_COMMANDS, GOLDEN_MESSAGES, type GoldenFrame,
} from '../../src/wire/golden';
import { KEY_ARM, KEY_CLEAR } from '../../src/wire/messages';

const hexOf = (bytes: Uint8Array) => [...bytes].map((b) => b.toString(16).padStart(2, '0')).join('');
const ascii = (text: string) => new Uint8Array([...text].map((c) => c.charCodeAt(0)));

/** The command object that a golden frame describes. */
function commandOf(golden: GoldenFrame): Command {
  const name = (Object.keys(COMMAND_ID) as CommandName[]).find((n) => COMMAND_ID[n] === golden.id);
  return { name, ...golden.fields } as unknown as Command;
}

function decoded(frame: Uint8Array): { messages: (BoardMessage | null)[]; bad: number } {
  const messages: (BoardMessage | null)[] = [];
  const decoder = new FrameDecoder((bytes, length) => messages.push(decodeMessage(bytes, length)));
  decoder.push(frame);
  return { messages, bad: decoder.bad };
}

/** Golden field names as the message object spells them. */
function expected(golden: GoldenFrame): Record<string, unknown> {
  const fields: Record<string, unknown> = { ...golden.fields };
  if (golden.name.startsWith('ROW')) {
    const counts: number[] = [];
    for (let i = 0; i < 8 && fields[`value${i}`] !== undefined; i++) {
      counts.push(fields[`value${i}`] as number);
      Reflect.deleteProperty(fields, `value${i}`);
    }
    const state = fields.state as number;
    return { ...fields, counts, state: state & 0xf, queued: state >> 4 };
  }
  return fields;
}

describe('catalogue values', () => {
  test('CRC-16/IBM-3740 of "123456789" is 0x29B1, of nothing 0xFFFF (RevEng catalogue)', () => {
    expect(crc16(ascii('123456789'), 0, 9)).toBe(0x29b1);
    expect(crc16(ascii(''), 0, 0)).toBe(0xffff);
  });

  test('CRC-32/ISO-HDLC of "123456789" is 0xCBF43926, of nothing 0 (RevEng catalogue)', () => {
    expect(crc32(ascii('123456789'))).toBe(0xcbf43926);
    expect(crc32(ascii(''))).toBe(0);
  });

  test('byte stuffing follows the examples of Cheshire & Baker (IEEE/ACM ToN 7(2), 1999)', () => {
    // The CRC is stuffed together with the payload, so each example is a prefix, up to the block that the CRC continues.
    expect(hexOf(encodeFrame(bytesOfHex('0011'))).slice(0, 4)).toBe('0001');
    expect(hexOf(encodeFrame(bytesOfHex('11220033'))).slice(0, 8)).toBe('00031122');
    expect(hexOf(encodeFrame(bytesOfHex('11000000'))).slice(0, 10)).toBe('0002110101');
  });
});

describe.each(GOLDEN_COMMANDS)('command $name', (golden) => {
  test('is built byte for byte', () => {
    const payload = commandPayload(commandOf(golden), golden.fields.sequence);
    expect(hexOf(payload)).toBe(golden.payload);
    expect(hexOf(encodeFrame(payload))).toBe(golden.frame);
  });
});

describe.each(GOLDEN_MESSAGES)('message $name', (golden) => {
  test('is read field by field', () => {
    const { messages, bad } = decoded(bytesOfHex(golden.frame));
    expect(bad).toBe(0);
    expect(messages).toHaveLength(1);
    expect(messages[0]).toMatchObject(expected(golden));
  });

  test('is refused one byte short or long', () => {
    const payload = bytesOfHex(golden.payload);
    expect(decodeMessage(payload, payload.length - 1)).toBeNull();
    expect(decodeMessage(new Uint8Array([...payload, 0]), payload.length + 1)).toBeNull();
  });
});

describe('limits checksum', () => {
  const limits = GOLDEN_COMMANDS.filter((g) => g.name.startsWith('SET_LIMIT')).map((g) => g.fields as unknown as LimitRow);
  const guards = GOLDEN_COMMANDS.find((g) => g.name === 'SET_GUARDS')!.fields as unknown as Guards;

  test('matches the golden values', () => {
    expect(limitsChecksum([], GUARDS_AT_START)).toBe(GOLDEN_CHECKSUM_AT_START);
    expect(limitsChecksum(limits, guards)).toBe(GOLDEN_CHECKSUM);
  });

  test('a slot set to off counts as never set, whatever its other fields say', () => {
    expect(limitsChecksum([...limits, { ...limits[0], slot: 9, rule: 0 }], guards)).toBe(GOLDEN_CHECKSUM);
    expect(limitsChecksum([{ ...limits[0], rule: 0 }], GUARDS_AT_START)).toBe(GOLDEN_CHECKSUM_AT_START);
  });

  test('changes with every field of a limit', () => {
    for (const field of ['rule', 'channel', 'cause', 'threshold', 'bad', 'window', 'span'] as const)
      expect(limitsChecksum([{ ...limits[0], [field]: limits[0][field] + 1 }, ...limits.slice(1)], guards)).not.toBe(GOLDEN_CHECKSUM);
  });

  test('a slot that the board does not have is an error that names it', () => {
    expect(() => limitsChecksum([{ ...limits[0], slot: 24 }], guards)).toThrow(/limit slot 24/);
  });
});

test('arming and clearing carry their keys', () => {
  const arm = commandPayload({ name: 'arm', checksum: 1 }, 0);
  const clear = commandPayload({ name: 'clear-trip' }, 0);
  expect(arm[2] | (arm[3] << 8)).toBe(KEY_ARM);
  expect(clear[2] | (clear[3] << 8)).toBe(KEY_CLEAR);
});

test('a field that does not fit is an error that names command, field and range', () => {
  expect(() => commandPayload({ name: 'set-telemetry', divider: 65536 }, 0)).toThrow(/set-telemetry: divider is 65536.*0 to 65535/);
  expect(() => commandPayload({ name: 'set-telemetry', divider: 1.5 }, 0)).toThrow(/divider is 1.5/);
  expect(() => commandPayload({ name: 'permit', span: NaN }, 0)).toThrow(/span is NaN/);
  expect(commandPayload({ name: 'set-telemetry', divider: 65535 }, 0)).toHaveLength(4);
});

test('a payload of no or too many bytes cannot be framed', () => {
  expect(() => encodeFrame(new Uint8Array(0))).toThrow(/1 to 96 bytes, not 0/);
  expect(() => encodeFrame(new Uint8Array(97))).toThrow(/not 97/);
  expect(encodeFrame(new Uint8Array(96).fill(7))).toHaveLength(101);
});
