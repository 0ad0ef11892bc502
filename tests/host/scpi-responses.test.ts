// Goal: what an instrument answers is read as the published syntax says, and nothing else is taken for it.
// Method: forms of IEEE 488.2-1992 clause 8 and SCPI-1999 taken literally, and their neighbours on the wrong side.
import { describe, expect, test } from 'vitest';
import { adviceFor, errorClass } from '../../src/host/scpi/errors';
import { ResponseReader } from '../../src/host/scpi/response-reader';
import { parseBlock, parseBoolean, parseErrorEntry, parseIdentity, parseNumber, parseString, ScpiSyntaxError, splitResponse } from '../../src/host/scpi/responses';

const ascii = (text: string): Uint8Array => new TextEncoder().encode(text);
const text = (bytes: Uint8Array): string => new TextDecoder('latin1').decode(bytes);

describe('numbers (IEEE 488.2-1992, 8.7.2 NR1, 8.7.3 NR2, 8.7.4 NR3)', () => {
  test.each([
    ['7', 'NR1', 7], ['-12', 'NR1', -12], ['+0', 'NR1', 0], ['007', 'NR1', 7],
    ['7.6', 'NR2', 7.6], ['-0.050', 'NR2', -0.05], ['+12.000', 'NR2', 12],
    ['7.6E+00', 'NR3', 7.6], ['-1.5000E-03', 'NR3', -0.0015], ['+1.0E+1', 'NR3', 10],
  ] as const)('%s is %s', (written, form, value) => {
    expect(parseNumber(written)).toEqual({ form, value, exact: true });
  });

  test.each([['7.', 'NR2', 7], ['.5', 'NR2', 0.5], ['1e3', 'NR3', 1000], ['1E3', 'NR3', 1000], ['1.5E3', 'NR3', 1500]] as const)('%s is understood and known to bend the form', (written, form, value) => {
    expect(parseNumber(written)).toEqual({ form, value, exact: false });
  });

  test.each(['', ' ', 'V', '7.6V', '7,6', '7 6', '0x1F', '#H1F', '--7', '1E', 'NaN', 'Infinity', '1E+', '.', '"7"'])('%j is no number', (written) => {
    expect(() => parseNumber(written)).toThrow(ScpiSyntaxError);
  });

  test('the two numbers that SCPI keeps for "no value" are no measurement', () => {
    expect(() => parseNumber('9.91E+37')).toThrow(/no value/);
    expect(() => parseNumber('-9.9E+37')).toThrow(/beyond its range/);
    expect(parseNumber('9.8E+37').value).toBe(9.8e37);
  });

  test('a boolean is 0 or 1 (8.7.2), the words that instruments use for them, and nothing else', () => {
    expect(['1', '0', 'ON', 'off', ' 1 '].map(parseBoolean)).toEqual([true, false, true, false, true]);
    for (const wrong of ['2', '', 'TRUE', '01']) expect(() => parseBoolean(wrong)).toThrow(ScpiSyntaxError);
  });
});

describe('strings (8.7.8) and separators (8.4)', () => {
  test('a doubled quote inside stands for one', () => {
    expect(parseString('"say ""on"""')).toBe('say "on"');
    expect(parseString("'it''s'")).toBe("it's");
    expect(parseString('""')).toBe('');
  });

  test.each(['plain', '"open', '"', '"a"b"', `"a'`])('%j is no string', (written) => {
    expect(() => parseString(written)).toThrow(ScpiSyntaxError);
  });

  test('separators inside quotes separate nothing', () => {
    expect(splitResponse('1,"a,b;c",2', ',')).toEqual(['1', '"a,b;c"', '2']);
    expect(splitResponse('1;"x;""y;"', ';')).toEqual(['1', '"x;""y;"']);
    expect(() => splitResponse('1,"a', ',')).toThrow(/never closed/);
  });
});

describe('blocks (8.7.9 definite, 8.7.10 indefinite length)', () => {
  test('#213 and thirteen bytes, new lines and hashes among them', () => {
    const data = 'ab\n#1;"\r\n,012';
    expect(data).toHaveLength(13);
    const block = parseBlock(ascii(`#213${data}\n`));
    expect(text(block!.data)).toBe(data);
    expect(block!.taken).toBe(4 + 13);
  });

  test('one byte less is not whole yet, an empty block is', () => {
    expect(parseBlock(ascii('#213abcdefghijkl'))).toBeNull();
    expect(parseBlock(ascii('#'))).toBeNull();
    expect(parseBlock(ascii('#2'))).toBeNull();
    expect(parseBlock(ascii('#10'))).toEqual({ data: new Uint8Array(0), taken: 3 });
  });

  test('#0 goes up to the new line', () => {
    expect(parseBlock(ascii('#0abc'))).toBeNull();
    const block = parseBlock(ascii('#0abc\n'));
    expect([text(block!.data), block!.taken]).toEqual(['abc', 5]);
  });

  test.each(['213abc', '#A', '#2x3abc', '#1-'])('%j is no block', (written) => {
    expect(() => parseBlock(ascii(written))).toThrow(ScpiSyntaxError);
  });
});

describe('where an answer ends', () => {
  test('answers come out whole however the bytes are cut', () => {
    const stream = ascii('7.600\r\n-113,"Undefined header;VOLT?"\n#213ab\n#1;"\r\n,012\n+1.0E+0\n');
    const expected = ['7.600', '-113,"Undefined header;VOLT?"', '#213ab\n#1;"\r\n,012', '+1.0E+0'];
    for (const piece of [1, 2, 3, 7, 1000]) {
      const reader = new ResponseReader();
      const answers: string[] = [];
      for (let i = 0; i < stream.length; i += piece) answers.push(...reader.push(stream.subarray(i, i + piece)).map(text));
      expect(answers, `pieces of ${piece}`).toEqual(expected);
    }
  });

  test('a quote that is never closed does not swallow the next answer', () => {
    expect(new ResponseReader().push(ascii('-1,"oops\n7\n')).map(text)).toEqual(['-1,"oops', '7']);
  });

  test('a megabyte without an end is refused, not kept', () => {
    const reader = new ResponseReader();
    reader.push(new Uint8Array(1 << 20).fill(0x41));
    expect(() => reader.push(ascii('A'))).toThrow(/without an end/);
  });
});

describe('error queue (SCPI-1999 volume 2, 21.8) and identity (IEEE 488.2, 10.14)', () => {
  test.each([
    ['0,"No error"', { code: 0, message: 'No error', detail: '' }],
    ['+0,"No error"', { code: 0, message: 'No error', detail: '' }],
    ['-113,"Undefined header"', { code: -113, message: 'Undefined header', detail: '' }],
    ['-222,"Data out of range; VOLT 99"', { code: -222, message: 'Data out of range', detail: 'VOLT 99' }],
    ['-350,"Queue overflow"', { code: -350, message: 'Queue overflow', detail: '' }],
    ['101,"Fan, slow"', { code: 101, message: 'Fan, slow', detail: '' }],
    ['-410', { code: -410, message: '', detail: '' }],
  ])('%s', (written, entry) => {
    expect(parseErrorEntry(written)).toEqual(entry);
  });

  test.each(['', 'No error', '-113,Undefined header', '1.5,"x"', '-113,"a","b"', '40000,"x"'])('%j is no entry', (written) => {
    expect(() => parseErrorEntry(written)).toThrow(ScpiSyntaxError);
  });

  test('classes of numbers: command -100, execution -200, device -300, query -400, and both sides of each boundary', () => {
    expect([-100, -113, -199].map(errorClass)).toEqual(Array(3).fill('a command error'));
    expect([-200, -222, -299].map(errorClass)).toEqual(Array(3).fill('an execution error'));
    expect([-300, -350, -399].map(errorClass)).toEqual(Array(3).fill('an error of the instrument'));
    expect([-400, -420, -499].map(errorClass)).toEqual(Array(3).fill('a query error'));
    expect([errorClass(1), errorClass(-500), errorClass(-99)]).toEqual(['an error of the maker', 'an event', 'an event']);
  });

  test('every number says what to do next', () => {
    expect(adviceFor(-113)).toMatch(/supply\.commands/);
    expect(adviceFor(-222)).toMatch(/supply\.range/);
    expect(adviceFor(-350)).toMatch(/lost/);
    expect(adviceFor(-299)).toMatch(/look/);
    expect(adviceFor(7)).toMatch(/manual/);
  });

  test('identity is four fields; a fifth comma belongs to the version', () => {
    expect(parseIdentity('BENCHWORKS, PS-30,0,1.2,b')).toMatchObject({ maker: 'BENCHWORKS', model: 'PS-30', serial: '0', version: '1.2,b' });
    for (const wrong of ['', 'BENCHWORKS', 'A,B,C', ',B,C,D']) expect(() => parseIdentity(wrong)).toThrow(/four fields/);
  });
});
