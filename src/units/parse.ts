// Text of a file → number in the code unit of its dimension, or a sentence that says what is wrong and what is accepted.
import { DIMENSIONS, type Dimension, type Quantity } from './dimensions';
import { findUnit, suggestUnit, unitsOf } from './table';

/** Why a text is not the quantity that was asked for. */
export interface UnitProblem {
  readonly message: string;
  /** What may be written instead. */
  readonly accepted: string;
}
export type Parsed<T> = { readonly ok: true; readonly value: T } | ({ readonly ok: false } & UnitProblem);

export interface Range<D extends Dimension> {
  readonly from: Quantity<D>;
  readonly to: Quantity<D>;
}
/** A quantity whose dimension is known only once it is read. */
export interface AnyQuantity {
  readonly dimension: Dimension;
  /** In the code unit of the dimension. */
  readonly value: number;
}

/** A decimal number as JSON spells it, with an optional sign. */
export const NUMBER_PATTERN = '[-+]?(?:\\d+(?:\\.\\d+)?|\\.\\d+)(?:[eE][-+]?\\d+)?';
const shape = new RegExp(`^(${NUMBER_PATTERN})\\s*(.*)$`, 'u');

/** `a voltage such as 4 V (units V, mV, uV)`, or with the caller's own example. */
export function acceptedOf(dimension: Dimension, example: string = DIMENSIONS[dimension].example): string {
  return `${DIMENSIONS[dimension].name} such as ${example} (units ${unitsOf(dimension).map((u) => u.symbol).join(', ')})`;
}

/**
 * Reads `"1.25 mV"` as the given dimension. A bare number, another dimension's unit, an unknown or misspelt unit, and digits
 * written as clock times or with separators are problems, never guesses.
 * @param example what the problem shows as accepted; the dimension's own example when left out
 */
export function parseQuantity<D extends Dimension>(input: unknown, dimension: D, example?: string): Parsed<Quantity<D>> {
  const accepted = acceptedOf(dimension, example);
  const fail = (message: string): Parsed<never> => ({ ok: false, message, accepted });
  if (typeof input === 'number') return fail(`${input} has no unit`);
  if (typeof input !== 'string') return fail(`${describe(input)} is not ${DIMENSIONS[dimension].name}`);
  const split = splitNumber(input);
  if (!split.ok) return fail(split.message);
  const { number, symbol } = split.value;
  if (symbol === '') return fail(`"${input.trim()}" has no unit`);
  const unit = findUnit(symbol);
  if (unit?.dimension === dimension) return { ok: true, value: scaled(number, unit.factor) as Quantity<D> };
  const suggestion = suggestUnit(symbol, dimension);
  const hint = suggestion === undefined ? '' : `; did you mean ${number} ${suggestion}?`;
  if (unit === undefined) return fail(`"${symbol}" is not a unit known here${hint}`);
  return fail(`"${input.trim()}" is ${DIMENSIONS[unit.dimension].name}, not ${DIMENSIONS[dimension].name}${hint}`);
}

/** Reads a quantity of whatever dimension its unit says. */
export function parseAny(input: unknown): Parsed<AnyQuantity> {
  const accepted = 'a number with its unit, such as 22 kHz';
  if (typeof input === 'number') return { ok: false, message: `${input} has no unit`, accepted };
  if (typeof input !== 'string') return { ok: false, message: `${describe(input)} is not a quantity`, accepted };
  const split = splitNumber(input);
  if (!split.ok) return { ...split, accepted };
  const { number, symbol } = split.value;
  if (symbol === '') return { ok: false, message: `"${input.trim()}" has no unit`, accepted };
  const unit = findUnit(symbol);
  if (unit === undefined) {
    const near = (Object.keys(DIMENSIONS) as Dimension[]).map((d) => suggestUnit(symbol, d)).find((s) => s !== undefined);
    return { ok: false, message: `"${symbol}" is not a unit known here${near === undefined ? '' : `; did you mean ${number} ${near}?`}`, accepted };
  }
  return { ok: true, value: { dimension: unit.dimension, value: scaled(number, unit.factor) } };
}

/** Reads `"2 V .. 12 V"`; both ends carry their unit and the first is the smaller. */
export function parseRange<D extends Dimension>(input: unknown, dimension: D, example?: string): Parsed<Range<D>> {
  const one = DIMENSIONS[dimension].example;
  const accepted = `a range such as ${example ?? `${one} .. ${one.replace(/^[\d.]+/, (n) => String(Number(n) * 10))}`}`;
  if (typeof input !== 'string') return { ok: false, message: `${describe(input)} is not a range`, accepted };
  const ends = input.split('..');
  const [first, second] = ends;
  if (ends.length !== 2 || first === undefined || second === undefined) return { ok: false, message: `"${input.trim()}" is not a range: two quantities with .. between them`, accepted };
  const from = parseQuantity(first.trim(), dimension);
  const to = parseQuantity(second.trim(), dimension);
  if (!from.ok) return { ...from, accepted };
  if (!to.ok) return { ...to, accepted };
  if (from.value >= to.value) return { ok: false, message: `the range "${input.trim()}" does not rise: the smaller end comes first`, accepted };
  return { ok: true, value: { from: from.value, to: to.value } };
}

/** A wrong quantity in code (not in a file). */
export class UnitError extends Error {
  override name = 'UnitError';
}

/** As {@link parseQuantity}, for constants in code: throws a {@link UnitError} instead of returning a problem. */
export function of<D extends Dimension>(text: string, dimension: D): Quantity<D> {
  const parsed = parseQuantity(text, dimension);
  if (!parsed.ok) throw new UnitError(`${parsed.message}; accepted: ${parsed.accepted}`);
  return parsed.value;
}

/** Code unit → the named unit; throws a {@link UnitError} when the unit is unknown or of another dimension. */
export function convert(value: number, dimension: Dimension, symbol: string): number {
  const unit = findUnit(symbol);
  if (unit?.dimension !== dimension) throw new UnitError(`${symbol} is not a unit of ${DIMENSIONS[dimension].name}; accepted: ${unitsOf(dimension).map((u) => u.symbol).join(', ')}`);
  return unscaled(value, unit.factor);
}

function splitNumber(input: string): Parsed<{ number: number; symbol: string }> {
  const text = input.trim().replace(/^−/, '-');
  const fail = (message: string): Parsed<never> => ({ ok: false, message, accepted: '' });
  if (text === '') return fail('the value is empty');
  if (/^\d+:\d+/.test(text)) return fail(`"${text}" looks like a clock time: write seconds or minutes with their unit`);
  if (/^\d+_\d/.test(text) || /^\d{1,3}['’ ]\d{3}\b/.test(text)) return fail(`"${text}" has separators between digits: write the digits together`);
  if (/^[-+]?\d+,\d/.test(text)) return fail(`"${text}" has a comma: the decimal sign is a point`);
  if (/^[-+]?0\d/.test(text)) return fail(`"${text}" starts with a needless 0, which some programs read as octal: leave it out`);
  const match = shape.exec(text);
  if (match === null) return fail(`"${text}" does not start with a number`);
  const number = Number(match[1]);
  if (!Number.isFinite(number)) return fail(`"${text}" is too large`);
  return { ok: true, value: { number, symbol: (match[2] ?? '').trim() } };
}

// Fifteen digits keep decimal fractions as a person wrote them: 3 in is 0.0762 m, not 0.07619999999999999 m.
function scaled(number: number, factor: number): number {
  return factor === 1 ? number : Number((number * factor).toPrecision(15));
}
function unscaled(value: number, factor: number): number {
  return factor === 1 ? value : Number((value / factor).toPrecision(15));
}

function describe(input: unknown): string {
  if (input === null || input === undefined) return 'nothing';
  if (Array.isArray(input)) return 'a list';
  return typeof input === 'object' ? 'a map' : JSON.stringify(input);
}
