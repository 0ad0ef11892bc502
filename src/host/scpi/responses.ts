// What an instrument answers, taken apart: IEEE 488.2-1992 clause 8 (talking formats) and the SCPI-1999 conventions on top of
// it. Pure: text and bytes in, values out.

/** An answer that does not have the form that was asked for. */
export class ScpiSyntaxError extends Error {
  override name = 'ScpiSyntaxError';
}

/** Decimal numeric responses: NR1 whole, NR2 with a point, NR3 with an exponent (IEEE 488.2, 8.7.2 to 8.7.4). */
export type NumberForm = 'NR1' | 'NR2' | 'NR3';

export interface NumericResponse {
  readonly value: number;
  readonly form: NumberForm;
  /** False where an instrument bends the form: `7.`, `.5`, `1e3`. It is understood all the same. */
  readonly exact: boolean;
}

const EXACT: readonly (readonly [NumberForm, RegExp])[] = [
  ['NR1', /^[+-]?\d+$/],
  ['NR2', /^[+-]?\d+\.\d+$/],
  ['NR3', /^[+-]?\d+\.\d+E[+-]\d+$/],
];
const BENT: readonly (readonly [NumberForm, RegExp])[] = [
  ['NR2', /^[+-]?(\d+\.|\.\d+)$/],
  ['NR3', /^[+-]?(\d+\.?\d*|\.\d+)[eE][+-]?\d+$/],
];
/** SCPI-1999 volume 1, 7.2.1.4 and 7.2.1.5: how an instrument writes "no number" and "beyond every range". */
const NOT_A_NUMBER = 9.91e37;
const INFINITE = 9.9e37;

/** One decimal number. @throws ScpiSyntaxError for anything else, and for the two numbers that SCPI keeps for "no value" */
export function parseNumber(text: string): NumericResponse {
  const written = text.trim();
  const find = (forms: typeof EXACT): NumberForm | undefined => forms.find(([, form]) => form.test(written))?.[0];
  const exact = find(EXACT);
  const form = exact ?? find(BENT);
  if (form === undefined) throw new ScpiSyntaxError(`"${shown(written)}" is no number; a number looks like 7, 7.600 or +7.600E+00`);
  const value = Number(written);
  if (value === NOT_A_NUMBER) throw new ScpiSyntaxError(`"${written}" says that there is no value (SCPI: not a number)`);
  if (Math.abs(value) === INFINITE) throw new ScpiSyntaxError(`"${written}" says that the value is beyond its range (SCPI: infinity)`);
  return { value, form, exact: exact !== undefined };
}

/** `0`, `1`, or the words that some instruments use for them. @throws ScpiSyntaxError */
export function parseBoolean(text: string): boolean {
  const written = text.trim().toUpperCase();
  if (written === '1' || written === 'ON') return true;
  if (written === '0' || written === 'OFF') return false;
  throw new ScpiSyntaxError(`"${shown(text)}" is neither 0 nor 1`);
}

/** Splits an answer at `separator` outside of quotes: `;` between the answers of one message, `,` between the data of one answer. */
export function splitResponse(text: string, separator: ';' | ','): string[] {
  const parts: string[] = [];
  let quote = '';
  let from = 0;
  for (let i = 0; i < text.length; i++) {
    const c = text[i];
    if (quote !== '') {
      // A doubled quote closes and opens at once: still inside.
      if (c === quote) quote = '';
    } else if (c === '"' || c === "'") quote = c;
    else if (c === separator) {
      parts.push(text.slice(from, i));
      from = i + 1;
    }
  }
  if (quote !== '') throw new ScpiSyntaxError(`"${shown(text)}": a ${quote} is opened and never closed`);
  parts.push(text.slice(from));
  return parts;
}

/** A quoted string (IEEE 488.2, 8.7.8); a doubled quote inside stands for one. @throws ScpiSyntaxError */
export function parseString(text: string): string {
  const written = text.trim();
  const quote = written[0];
  if ((quote !== '"' && quote !== "'") || written.length < 2 || !written.endsWith(quote)) throw new ScpiSyntaxError(`${shown(written)} is no text in quotes`);
  const inside = written.slice(1, -1);
  if (inside.replaceAll(quote + quote, '').includes(quote)) throw new ScpiSyntaxError(`${shown(written)}: a quote inside a text must be doubled`);
  return inside.replaceAll(quote + quote, quote);
}

/** An entry of the error queue (SCPI-1999 volume 2, 21.8): number, its text, and what the instrument adds after a semicolon. */
export interface ErrorEntry {
  /** 0: no error. Negative: of the standard. Positive: of the maker. */
  readonly code: number;
  readonly message: string;
  readonly detail: string;
}

/** `-222,"Data out of range;VOLT 99"`. Instruments that answer with the number alone are understood. @throws ScpiSyntaxError */
export function parseErrorEntry(text: string): ErrorEntry {
  const [number = '', quoted, ...more] = splitResponse(text.trim(), ',');
  const { value, form } = parseNumber(number);
  if (form !== 'NR1' || Math.abs(value) > 32767) throw new ScpiSyntaxError(`"${shown(text)}" is no entry of an error queue; one looks like -113,"Undefined header"`);
  if (more.length > 0) throw new ScpiSyntaxError(`"${shown(text)}" is more than one entry of an error queue`);
  if (quoted === undefined) return { code: value, message: '', detail: '' };
  const words = parseString(quoted);
  const at = words.indexOf(';');
  return at < 0 ? { code: value, message: words, detail: '' } : { code: value, message: words.slice(0, at), detail: words.slice(at + 1).trim() };
}

/** Who an instrument says it is: four fields (IEEE 488.2, 10.14). */
export interface Identity {
  readonly maker: string;
  readonly model: string;
  readonly serial: string;
  readonly version: string;
  /** As it was sent. */
  readonly text: string;
}

/** The answer to `*IDN?`. @throws ScpiSyntaxError without four fields and a maker */
export function parseIdentity(text: string): Identity {
  const written = text.trim();
  const [maker = '', model = '', serial = '', ...version] = written.split(',').map((field) => field.trim());
  if (maker === '' || version.length === 0) throw new ScpiSyntaxError(`"${shown(written)}" is not who an instrument is; expected four fields: maker,model,serial,version`);
  return { maker, model, serial, version: version.join(','), text: written };
}

/** A block of bytes and how many bytes it took with its header. */
export interface BlockResponse {
  readonly data: Uint8Array;
  readonly taken: number;
}

const HASH = 0x23;
const NEW_LINE = 0x0a;

/**
 * Arbitrary block (IEEE 488.2, 8.7.9 and 8.7.10): `#213` and 13 bytes, or `#0` and everything up to the new line.
 * Null while bytes are missing. @throws ScpiSyntaxError when this is no block
 */
export function parseBlock(bytes: Uint8Array): BlockResponse | null {
  if (bytes.length === 0) return null;
  if (bytes[0] !== HASH) throw new ScpiSyntaxError(`a block begins with #, not with byte ${bytes[0]}`);
  if (bytes.length < 2) return null;
  const digits = bytes[1] - 0x30;
  if (digits < 0 || digits > 9) throw new ScpiSyntaxError(`after # comes one digit, not byte ${bytes[1]}`);
  if (digits === 0) {
    const end = bytes.indexOf(NEW_LINE, 2);
    return end < 0 ? null : { data: bytes.slice(2, end), taken: end };
  }
  if (bytes.length < 2 + digits) return null;
  const written = new TextDecoder('latin1').decode(bytes.subarray(2, 2 + digits));
  if (!/^\d+$/.test(written)) throw new ScpiSyntaxError(`the length of a block is ${digits} digits, not "${written}"`);
  const length = Number(written);
  const taken = 2 + digits + length;
  return bytes.length < taken ? null : { data: bytes.slice(2 + digits, taken), taken };
}

/** At most so much of a wrong answer is quoted. */
function shown(text: string): string {
  const printable = text.replace(/[^\x20-\x7e]/g, '·');
  return printable.length > 80 ? `${printable.slice(0, 80)}…` : printable;
}
