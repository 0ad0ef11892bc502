// The pieces that every file schema is built from. Each key says what it is for and shows an example, so that an editor
// (through JSON Schema) and an error message can both say it.
import { z } from 'zod';
import {
  DIMENSIONS, NUMBER_PATTERN, acceptedOf, formatQuantity, of, parseAny, parseQuantity, parseRange, unitsOf, type Dimension,
} from '../units';

/** What a problem shows as accepted; kept with the schema, not shown in JSON Schema. */
export interface FieldNote {
  readonly accepted: string;
}
const notes = z.registry<FieldNote>();

/** The note of a schema itself (not of what it wraps). */
export function noteOf(schema: z.core.$ZodType): FieldNote | undefined {
  return notes.get(schema as z.ZodType);
}

/** Parameters of an issue that a field raises itself. */
export interface FieldIssue {
  readonly accepted?: string;
  readonly missing?: boolean;
}

type Context = z.core.$RefinementCtx;

/** Raises a problem at the value, or at a key below it. */
export function complain(ctx: Context, input: unknown, message: string, params: FieldIssue = {}, path: PropertyKey[] = []): void {
  ctx.issues.push({ code: 'custom', input, message, path, params: { ...params }, continue: false });
}

export interface QuantityOptions {
  readonly about: string;
  readonly example?: string;
  /** Bounds as a file would write them, both included. */
  readonly min?: string;
  readonly max?: string;
  /** Excludes the lower bound itself (default: included). */
  readonly above?: string;
}

/** A quantity with its unit; the output is a plain number in the code unit of the dimension (see `units/dimensions.ts`). */
export function quantity(dimension: Dimension, options: QuantityOptions) {
  const example = options.example ?? DIMENSIONS[dimension].example;
  const accepted = `${acceptedOf(dimension, example)}${boundsText(options)}`;
  const written = z.unknown().meta({ type: 'string', description: options.about, pattern: quantityPattern(dimension), examples: [example] });
  const schema = written.transform((input, ctx): number => {
    if (input === undefined) return missing(ctx, input, accepted);
    const parsed = parseQuantity(input, dimension, example);
    if (!parsed.ok) {
      complain(ctx, input, input === null ? 'has no value' : parsed.message, { accepted });
      return z.NEVER;
    }
    const wrong = outside(parsed.value, dimension, options);
    if (wrong !== null) complain(ctx, input, `"${typeof input === 'string' ? input.trim() : parsed.value}" is ${wrong}`, { accepted });
    return parsed.value;
  });
  notes.add(schema, { accepted });
  notes.add(written, { accepted });
  return schema;
}

/** A range of quantities, `2 V .. 12 V`; the output is `{ from, to }` in the code unit. */
export function range(dimension: Dimension, options: { readonly about: string; readonly example: string }) {
  const accepted = `a range such as ${options.example}`;
  const one = quantityPattern(dimension).slice(1, -1);
  const written = z.unknown().meta({ type: 'string', description: options.about, pattern: `^${one}\\s*\\.\\.\\s*${one}$`, examples: [options.example] });
  const schema = written.transform((input, ctx): { from: number; to: number } => {
    if (input === undefined) return missing(ctx, input, accepted);
    const parsed = parseRange(input, dimension, options.example);
    if (parsed.ok) return { from: parsed.value.from, to: parsed.value.to };
    complain(ctx, input, parsed.message, { accepted });
    return z.NEVER;
  });
  notes.add(schema, { accepted });
  return schema;
}

/** A value as somebody set it: with a unit, a plain number, or a word. `text` is how it was written. */
export type Setting =
  | { readonly kind: 'quantity'; readonly dimension: Dimension; readonly value: number; readonly text: string }
  | { readonly kind: 'number'; readonly value: number; readonly text: string }
  | { readonly kind: 'word'; readonly text: string };

const settingAccepted = 'a quantity such as 44 kHz, a number, or a word';
/** A setting of an ESC or a level of a factor. Text that starts with a digit must be a quantity, so that `22 khz` is caught. */
export function setting(about: string) {
  const written = z.unknown().meta({ type: ['string', 'number', 'boolean'], description: about, examples: ['44 kHz', 6, 'forward'] });
  const schema = written.transform((input, ctx): Setting => {
    if (input === undefined) return missing(ctx, input, settingAccepted);
    if (typeof input === 'number' && Number.isFinite(input)) return { kind: 'number', value: input, text: String(input) };
    if (typeof input === 'boolean') return { kind: 'word', text: input ? 'on' : 'off' };
    if (typeof input !== 'string' || input.trim() === '') {
      complain(ctx, input, 'is neither a quantity nor a number nor a word', { accepted: settingAccepted });
      return z.NEVER;
    }
    const text = input.trim();
    if (!/^[-+.]?\d/.test(text)) return { kind: 'word', text };
    const parsed = parseAny(text);
    if (parsed.ok) return { kind: 'quantity', ...parsed.value, text };
    complain(ctx, input, parsed.message, { accepted: settingAccepted });
    return z.NEVER;
  });
  notes.add(schema, { accepted: settingAccepted });
  return schema;
}

/** A whole number within bounds, both included. */
export function count(about: string, min: number, max: number, example = min) {
  return noted(z.number().int().min(min).max(max).meta({ description: about, examples: [example] }), `a whole number ${min} .. ${max}`);
}

/** A plain number without a unit (counts, exponents). */
export function plainNumber(about: string, example: number) {
  return noted(z.number().meta({ description: about, examples: [example] }), `a number without a unit such as ${example}`);
}

/** A short text for people. */
export function text(about: string, example: string) {
  return noted(z.string().trim().min(1).max(2000).meta({ description: about, examples: [example] }), `a text such as ${example}`);
}

/** A name that appears in file names and on the command line. */
export function slug(about: string, example: string) {
  const schema = z.string().regex(/^[a-z0-9][a-z0-9_-]{0,63}$/).meta({ description: about, examples: [example] });
  return noted(schema, `a name of small letters, digits, - and _ such as ${example}`);
}

/** One of a few words. */
export function word<const T extends readonly [string, ...string[]]>(about: string, words: T) {
  return noted(z.enum(words).meta({ description: about }), words.join(' | '));
}

/** Yes or no. */
export function flag(about: string) {
  return noted(z.boolean().meta({ description: about }), 'true | false');
}

/** A calendar date, kept as text: `2026-03-01`. */
export function date(about: string) {
  const schema = z.iso.date().meta({ description: about, examples: ['2026-03-01'] });
  return noted(schema, 'a date such as 2026-03-01');
}

/** A map with exactly these keys; any other key is a problem. */
export function object<S extends z.core.$ZodLooseShape>(about: string, shape: S) {
  return z.strictObject(shape).meta({ description: about });
}

/** A map with exactly one of these keys, which says what it is: `{ ramp: { to: 50 %, in: 1 s } }`. */
export function oneKey<S extends z.core.$ZodLooseShape>(about: string, shape: S) {
  const keys = Object.keys(shape);
  const optional = Object.fromEntries(Object.entries(shape).map(([k, v]) => [k, (v as z.ZodType).optional()]));
  const schema = z.strictObject(optional).meta({ description: about, minProperties: 1, maxProperties: 1 }).transform((value, ctx): OneKey<S> => {
    const given = keys.filter((k) => value[k] !== undefined);
    const [key] = given;
    if (given.length !== 1 || key === undefined) {
      complain(ctx, value, given.length === 0 ? 'names nothing' : `names ${given.join(' and ')}: only one fits here`, { accepted: `one of ${keys.join(', ')}` });
      return z.NEVER;
    }
    return { key, value: value[key] } as OneKey<S>;
  });
  notes.add(schema, { accepted: `one of ${keys.join(', ')}` });
  return schema;
}
export type OneKey<S extends z.core.$ZodLooseShape> = { [K in keyof S & string]: { readonly key: K; readonly value: z.output<S[K]> } }[keyof S & string];

/** Attaches what a problem shows as accepted. */
export function noted<T extends z.ZodType>(schema: T, accepted: string): T {
  notes.add(schema, { accepted });
  return schema;
}

/** `undefined` to `null`, so that an absent option is always spelled the same in code. */
export function orNull<T>(value: T | undefined): T | null {
  return value ?? null;
}

function missing(ctx: Context, input: unknown, accepted: string): never {
  complain(ctx, input, 'is missing', { accepted, missing: true });
  return z.NEVER;
}

function quantityPattern(dimension: Dimension): string {
  const symbols = unitsOf(dimension).map((u) => u.symbol.replace(/[.*+?^${}()|[\]\\]/g, '\\$&').replace(/^u/, '[uµμ]').replace(' ', '[ ·]'));
  return `^${NUMBER_PATTERN}\\s*(?:${symbols.join('|')})$`;
}

function boundsText(o: QuantityOptions): string {
  if (o.above !== undefined) return o.max === undefined ? `, more than ${o.above}` : `, more than ${o.above}, at most ${o.max}`;
  if (o.min !== undefined && o.max !== undefined) return `, ${o.min} .. ${o.max}`;
  if (o.min !== undefined) return `, at least ${o.min}`;
  return o.max === undefined ? '' : `, at most ${o.max}`;
}

function outside(value: number, dimension: Dimension, o: QuantityOptions): string | null {
  const slack = 1e-12;
  const at = (bound: string): number => of(bound, dimension);
  const below = (bound: string): boolean => value < at(bound) - slack * Math.abs(at(bound));
  if (o.above !== undefined && value <= at(o.above)) return `not more than ${o.above}`;
  if (o.min !== undefined && below(o.min)) return `less than ${o.min}`;
  if (o.max !== undefined && value > at(o.max) + slack * Math.abs(at(o.max))) return `more than ${o.max} (it is ${formatQuantity(value, dimension)})`;
  return null;
}
