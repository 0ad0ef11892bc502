// Complaints of a schema → problems with place, key, nearest spelling and what is accepted.
import type { z } from 'zod';
import type { FieldIssue } from './fields';
import { nearest, type Path, type Problem } from './problem';
import { acceptedAt, branchIndex, keysOf, schemaAt } from './schema-walk';
import type { Source } from './yaml-source';

/** A problem with the path it is about; `unknown` when the key itself should not be there. */
export interface LocatedProblem {
  readonly problem: Problem;
  readonly path: Path;
  readonly unknown: boolean;
}

/** @param base where the checked part stands in the file */
export function problemsOf(issues: readonly z.core.$ZodIssue[], schema: z.core.$ZodType, data: unknown, source: Source, base: Path = []): LocatedProblem[] {
  return issues.flatMap((issue) => one(issue, { schema, data, source, base }, []));
}

interface Situation {
  readonly schema: z.core.$ZodType;
  readonly data: unknown;
  readonly source: Source;
  readonly base: Path;
}

function one(issue: z.core.$ZodIssue, s: Situation, above: Path): LocatedProblem[] {
  const path: Path = [...above, ...issue.path.map((p) => (typeof p === 'number' ? p : String(p)))];
  const value = valueAt(s.data, path);
  const place = schemaAt(s.schema, path, s.data);
  const accepted = acceptedAt(place, value);
  const say = (message: string, what = accepted): LocatedProblem[] => [located(s, path, message, what, false)];
  if (issue.code === 'custom') {
    const params: FieldIssue = issue.params ?? {};
    return say(issue.message, params.accepted ?? accepted);
  }
  if (issue.code === 'unrecognized_keys') return issue.keys.map((key) => unknownKey(s, path, key, keysOf(place, value)));
  if (issue.code === 'invalid_union') {
    const discriminator = 'discriminator' in issue ? issue.discriminator : undefined;
    if (discriminator !== undefined) {
      const options = ('options' in issue ? issue.options ?? [] : []).map(String);
      return say(value === undefined ? 'is missing' : notOneOf(value, options), options.join(' | '));
    }
    const branch = branchIndex(place ?? s.schema, value);
    const inner = issue.errors[branch];
    return inner === undefined ? say(`${show(value)} does not fit here`) : inner.flatMap((i) => one(i, s, path));
  }
  if (value === undefined) return say('is missing');
  if (value === null) return say('has no value');
  if (issue.code === 'invalid_value') return say(notOneOf(value, issue.values.map(String)));
  if (issue.code === 'invalid_type') return say(issue.expected === 'int' ? `${show(value)} is not a whole number` : `${show(value)} is not ${article(issue.expected)}`);
  if (issue.code === 'too_small') return say(Array.isArray(value) || typeof value === 'string' ? 'is too short' : `${show(value)} is less than ${issue.minimum}`);
  if (issue.code === 'too_big') return say(Array.isArray(value) || typeof value === 'string' ? 'is too long' : `${show(value)} is more than ${issue.maximum}`);
  if (issue.code === 'invalid_key') {
    const key = path[path.length - 1] ?? '';
    return [located(s, path, `"${key}" cannot be a name here`, 'small letters, digits and _, beginning with a letter', true)];
  }
  if (issue.code === 'invalid_format') return say(`${show(value)} is not of the accepted form`);
  return say(issue.message);
}

function unknownKey(s: Situation, parent: Path, key: string, keys: readonly string[]): LocatedProblem {
  const path = [...parent, key];
  if (valueAt(s.data, path) === null && s.source.inBraces([...s.base, ...path])) {
    return located(s, path, `"${key}" stands after a comma and is read as a key: a text with a comma needs quotes inside { }`, `keys ${keys.join(', ')}`, true);
  }
  const near = nearest(key, keys);
  return located(s, path, `unknown key${near === null ? '' : `; did you mean ${near}?`}`, keys.join(', '), true);
}

function located(s: Situation, path: Path, message: string, accepted: string, unknown: boolean): LocatedProblem {
  const full = [...s.base, ...path];
  return { problem: s.source.problem(full, message, accepted, unknown ? 'key' : 'value'), path: full, unknown };
}

function notOneOf(value: unknown, options: readonly string[]): string {
  const near = typeof value === 'string' ? nearest(value, options) : null;
  return `${show(value)} is not known here${near === null ? '' : `; did you mean ${near}?`}`;
}

function article(expected: string): string {
  const words: Readonly<Record<string, string>> = { object: 'a map', record: 'a map', array: 'a list', string: 'a text', number: 'a number', boolean: 'true or false' };
  return words[expected] ?? expected;
}

function show(value: unknown): string {
  if (Array.isArray(value)) return 'a list';
  if (typeof value === 'object' && value !== null) return 'a map';
  return typeof value === 'string' ? `"${value}"` : String(value);
}

/** The value at a path of plain data; undefined where there is none. */
export function valueAt(data: unknown, path: Path): unknown {
  let value = data;
  for (const part of path) {
    if (typeof value !== 'object' || value === null) return undefined;
    value = Object.hasOwn(value, part) ? (value as Record<string, unknown>)[String(part)] : undefined;
  }
  return value;
}
