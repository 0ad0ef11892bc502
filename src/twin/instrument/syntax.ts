// What an instrument hears: program messages after IEEE 488.2 clause 7, headers after SCPI-1999 volume 1, chapter 6.
import { InstrumentError } from './errors';

/** One unit of a program message: `VOLT 7.6` or `MEAS:VOLT?`. */
export interface Unit {
  /** Absolute header in capitals, without colon at the front and without question mark: `SOUR:VOLT`, `*IDN`. */
  readonly header: string;
  readonly query: boolean;
  readonly data: readonly string[];
}

/** No mnemonic is longer (IEEE 488.2, 7.6.1.4.1). */
const LONGEST_MNEMONIC = 12;

/** Splits at a separator outside of quotes. */
export function splitOutside(text: string, separator: string): string[] {
  const parts: string[] = [];
  let quote = '';
  let from = 0;
  for (let i = 0; i < text.length; i++) {
    const c = text[i];
    if (quote !== '') {
      if (c === quote) quote = '';
    } else if (c === '"' || c === "'") quote = c;
    else if (c === separator) {
      parts.push(text.slice(from, i));
      from = i + 1;
    }
  }
  return [...parts, text.slice(from)];
}

/**
 * Reads one unit. `path` is where a header without a colon at its front begins: the nodes above the last one of the unit
 * before it in the same message (SCPI-1999 volume 1, 6.2.4). Returns the unit and the path for the next one.
 * @throws InstrumentError
 */
export function readUnit(text: string, path: readonly string[]): { unit: Unit; path: readonly string[] } {
  const match = /^(\*?[A-Za-z][A-Za-z0-9_]*|:?[A-Za-z][A-Za-z0-9_]*(?::[A-Za-z][A-Za-z0-9_]*)*)(\?)?(?:\s+(.*))?$/s.exec(text);
  if (match === null) throw new InstrumentError(/^[*:]?[A-Za-z]/.test(text) && /[^\w\s:*?,."'+-]/.test(text) ? '-103' : '-102', text);
  const [, written, question, rest = ''] = match;
  const data = rest.trim() === '' ? [] : splitOutside(rest, ',').map((d) => d.trim());
  if (data.includes('')) throw new InstrumentError('-103', text);
  const query = question !== undefined;
  const nodes = written.replace(/^:/, '').toUpperCase().split(':');
  if (nodes.some((n) => n.replace('*', '').length > LONGEST_MNEMONIC)) throw new InstrumentError('-112', written);
  // A common command neither uses nor moves the path.
  if (written.startsWith('*')) return { unit: { header: nodes[0], query, data }, path };
  const absolute = written.startsWith(':') ? nodes : [...path, ...nodes];
  return { unit: { header: absolute.join(':'), query, data }, path: absolute.slice(0, -1) };
}

/**
 * A pattern as the standard writes it, `[SOURce:]VOLTage[:LEVel]`, as an expression for headers in capitals. Short and long
 * form of each mnemonic fit, nothing in between; what is in brackets may be left out.
 */
export function headerPattern(pattern: string): RegExp {
  const source = pattern
    .replace(/\[/g, '(?:')
    .replace(/\]/g, ')?')
    .replace(/([A-Z]+)([a-z]*)/g, (_, short: string, rest: string) => (rest === '' ? short : `${short}(?:${rest.toUpperCase()})?`));
  return new RegExp(`^${source.replace(/\*/g, '\\*')}$`);
}

const MULTIPLIERS: Readonly<Record<string, number>> = { '': 1, K: 1e3, M: 1e-3, U: 1e-6 };

/** Decimal numeric program data with an optional suffix: `7.6`, `7600 MV`, `1E1`. @throws InstrumentError */
export function readNumber(text: string, unit: 'V' | 'A'): number {
  const match = /^([+-]?(?:\d+\.?\d*|\.\d+)(?:\s*[eE]\s*[+-]?\d+)?)\s*([A-Za-z]*)$/.exec(text);
  if (match === null) throw new InstrumentError(/^["'#(]/.test(text) ? '-104' : /^[A-Za-z]/.test(text) ? '-224' : '-102', text);
  const suffix = match[2].toUpperCase();
  const multiplier = suffix === '' ? 1 : suffix.endsWith(unit) ? MULTIPLIERS[suffix.slice(0, -1)] : undefined;
  if (multiplier === undefined) throw new InstrumentError('-131', text);
  return Number(match[1].replace(/\s/g, '')) * multiplier;
}

/** `ON`, `OFF`, or a number that rounds to something or nothing (SCPI-1999 volume 1, 7.3). @throws InstrumentError */
export function readBoolean(text: string): boolean {
  const word = text.toUpperCase();
  if (word === 'ON' || word === 'OFF') return word === 'ON';
  if (!/^[+-]?\d+(\.\d*)?$/.test(text)) throw new InstrumentError(/^["'#(]/.test(text) ? '-104' : '-224', text);
  return Math.round(Number(text)) !== 0;
}
