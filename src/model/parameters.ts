// Parameters of a protocol: declared as plain data, read from a file or given as numbers, always checked against their bounds.
import { z } from 'zod';
import { type Dimension, type Parsed, formatQuantity, parseQuantity } from '../units';
import { nearest } from './problem';

/** One parameter. Numbers are in the code unit of the dimension; `count` and `seed` are whole numbers without a unit. */
export interface ParameterDeclaration {
  readonly dimension: Dimension | 'count' | 'seed';
  /** null: left out unless given, or worked out from the article as `when_absent` says. */
  readonly default: number | null;
  readonly min: number;
  readonly max: number;
  /** What it is, one sentence for a person. */
  readonly about: string;
  /** For a default of null: what is taken instead. */
  readonly when_absent?: string;
}

export type ParameterTable = Readonly<Record<string, ParameterDeclaration>>;

/** The numbers of a table; null only where the default is null. */
export type ValuesOf<T extends ParameterTable> = { readonly [K in keyof T]: T[K]['default'] extends number ? number : number | null };
export type ParameterValues = Readonly<Record<string, number | null>>;

/** What is wrong with one parameter. `path` leads to it from the place where the parameters stand. */
export interface ParameterProblem {
  readonly path: readonly (string | number)[];
  readonly message: string;
  readonly accepted: string;
}
export type Read<T> = { readonly ok: true; readonly value: T } | { readonly ok: false; readonly problems: readonly ParameterProblem[] };

/**
 * Parameters as written in a file (`{ low: "10 %", cycles: 40 }`) → numbers in code units, for the keys that were given.
 * Unknown keys, wrong units, bare numbers and values out of bounds are all reported at once.
 */
export function readParameters(table: ParameterTable, written: unknown): Read<Readonly<Record<string, number>>> {
  const parsed = schemaOf(table).safeParse(written ?? {});
  if (parsed.success) return { ok: true, value: defined(parsed.data) };
  return { ok: false, problems: parsed.error.issues.flatMap((issue) => problemsOf(table, issue)) };
}

/** Numbers in code units, as a protocol in TypeScript gives them → every value of the table, defaults filled in. */
export function completeParameters(table: ParameterTable, given: Readonly<Record<string, number | null | undefined>>): Read<ParameterValues> {
  const problems: ParameterProblem[] = Object.keys(given).filter((key) => !Object.hasOwn(table, key)).map((key) => unknownKey(table, key));
  const values: Record<string, number | null> = {};
  for (const [key, declared] of Object.entries(table)) {
    const value = given[key] ?? declared.default;
    values[key] = value;
    const fault = value === null ? null : faultOf(declared, value);
    if (fault !== null) problems.push({ path: [key], message: fault, accepted: acceptedFor(declared) });
  }
  return problems.length > 0 ? { ok: false, problems } : { ok: true, value: Object.freeze(values) };
}

function schemaOf(table: ParameterTable): z.ZodObject {
  return z.strictObject(Object.fromEntries(Object.entries(table).map(([key, declared]) => [key, fieldOf(declared).optional().describe(declared.about)])));
}

/** `10 % to 100 %`, `whole numbers 30 to 1000`. */
export function acceptedFor(declared: ParameterDeclaration): string {
  return `${physical(declared) === null ? 'whole numbers ' : ''}${showParameter(declared, declared.min)} to ${showParameter(declared, declared.max)}`;
}

/** A value of the parameter as a file would hold it. */
export function showParameter(declared: ParameterDeclaration, value: number): string {
  const dimension = physical(declared);
  return dimension === null ? String(value) : formatQuantity(value, dimension);
}

function fieldOf(declared: ParameterDeclaration) {
  return z.unknown().transform((written, context): number => {
    const fail = (message: string, accepted: string): never => {
      context.addIssue({ code: 'custom', message, params: { accepted } });
      return z.NEVER;
    };
    const parsed = readOne(declared, written);
    if (!parsed.ok) return fail(parsed.message, parsed.accepted);
    const fault = faultOf(declared, parsed.value);
    return fault === null ? parsed.value : fail(fault, acceptedFor(declared));
  });
}

function readOne(declared: ParameterDeclaration, written: unknown): Parsed<number> {
  const dimension = physical(declared);
  if (dimension !== null) return parseQuantity(written, dimension, formatQuantity(declared.default ?? declared.min, dimension));
  return typeof written === 'number' ? { ok: true, value: written } : { ok: false, message: `${JSON.stringify(written)} is not a whole number`, accepted: acceptedFor(declared) };
}

function faultOf(declared: ParameterDeclaration, value: number): string | null {
  if (physical(declared) === null && !Number.isInteger(value)) return `${value} is not a whole number`;
  if (value >= declared.min && value <= declared.max) return null;
  return `${showParameter(declared, value)} is out of bounds`;
}

/** The physical dimension, or null for whole numbers. */
function physical(declared: ParameterDeclaration): Dimension | null {
  return declared.dimension === 'count' || declared.dimension === 'seed' ? null : declared.dimension;
}

function unknownKey(table: ParameterTable, key: string): ParameterProblem {
  const names = Object.keys(table);
  const meant = nearest(key, names);
  const hint = meant === null ? '' : `; did you mean ${meant}?`;
  return { path: [key], message: `there is no such parameter${hint}`, accepted: names.length === 0 ? 'no parameters' : names.join(', ') };
}

function problemsOf(table: ParameterTable, issue: z.core.$ZodIssue): ParameterProblem[] {
  if (issue.code === 'unrecognized_keys') return issue.keys.map((key) => unknownKey(table, key));
  const path = issue.path.map((part) => (typeof part === 'number' ? part : String(part)));
  if (issue.code === 'custom') return [{ path, message: issue.message, accepted: String(issue.params?.accepted ?? '') }];
  return [{ path, message: 'this is not a map of parameters', accepted: Object.keys(table).join(', ') }];
}

function defined(data: Readonly<Record<string, unknown>>): Readonly<Record<string, number>> {
  return Object.freeze(Object.fromEntries(Object.entries(data).filter((entry): entry is [string, number] => typeof entry[1] === 'number')));
}
