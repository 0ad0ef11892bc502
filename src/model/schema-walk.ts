// Finds the schema that a path of a file belongs to, and what it accepts.
import type { z } from 'zod';
import { noteOf } from './fields';
import type { Path } from './problem';

type Schema = z.core.$ZodType;
interface Definition {
  readonly type: string;
  readonly innerType?: Schema;
  readonly in?: Schema;
  readonly getter?: () => Schema;
  readonly shape?: Readonly<Record<string, Schema>>;
  readonly element?: Schema;
  readonly valueType?: Schema;
  readonly options?: readonly Schema[];
  readonly discriminator?: string;
  readonly values?: readonly unknown[];
  readonly entries?: Readonly<Record<string, unknown>>;
}

const definition = (schema: Schema): Definition => schema._zod.def;

/** The schema inside optional, default, transform and lazy wrappers, and the first note met on the way. */
function unwrap(schema: Schema): { schema: Schema; accepted: string | null } {
  let accepted: string | null = null;
  let inner: Schema = schema;
  for (;;) {
    accepted ??= noteOf(inner)?.accepted ?? null;
    const def = definition(inner);
    const next = def.innerType ?? (def.type === 'pipe' ? def.in : def.type === 'lazy' ? def.getter?.() : undefined);
    if (next === undefined) return { schema: inner, accepted };
    inner = next;
  }
}

/** The branch of a union that the data is meant for: by its discriminator, else by being a map or a plain value. */
function branch(schema: Schema, data: unknown): Schema | null {
  const def = definition(schema);
  const options = def.options ?? [];
  const isMap = typeof data === 'object' && data !== null && !Array.isArray(data);
  if (def.discriminator !== undefined) {
    const key = def.discriminator;
    if (!isMap) return null;
    const wanted = (data as Record<string, unknown>)[key];
    return options.find((o) => {
      const kind = definition(unwrap(o).schema).shape?.[key];
      return kind !== undefined && (definition(unwrap(kind).schema).values ?? []).includes(wanted);
    }) ?? null;
  }
  const takesMap = (o: Schema): boolean => ['object', 'record', 'union'].includes(definition(unwrap(o).schema).type);
  return options.find((o) => takesMap(o) === isMap) ?? null;
}

/** Which branch of a plain union an input is meant for, by position; -1 when none fits. */
export function branchIndex(schema: Schema, data: unknown): number {
  const union = unwrap(schema).schema;
  const chosen = branch(union, data);
  return (definition(union).options ?? []).findIndex((o) => o === chosen);
}

/** The schema at a path, following the data where the schema leaves a choice; null when the path leads nowhere. */
export function schemaAt(root: Schema, path: Path, data: unknown): Schema | null {
  let schema: Schema | null = root;
  let value = data;
  for (const part of path) {
    if (schema === null) return null;
    let inner: Schema = unwrap(schema).schema;
    while (definition(inner).type === 'union') {
      const chosen = branch(inner, value);
      if (chosen === null) return null;
      inner = unwrap(chosen).schema;
    }
    const def = definition(inner);
    schema = def.shape !== undefined ? (def.shape[String(part)] ?? null) : (def.element ?? def.valueType ?? null);
    value = typeof value === 'object' && value !== null ? (value as Record<string, unknown>)[String(part)] : undefined;
  }
  return schema;
}

/** Keys that the map at this place may have, in the order of the schema; empty where any key may stand. */
export function keysOf(schema: Schema | null, data: unknown): readonly string[] {
  if (schema === null) return [];
  const { schema: inner } = unwrap(schema);
  const def = definition(inner);
  if (def.type === 'union') return keysOf(branch(inner, data), data);
  return Object.keys(def.shape ?? {});
}

/** What may stand at this place, in words. */
export function acceptedAt(schema: Schema | null, data: unknown): string {
  if (schema === null) return '';
  const { schema: inner, accepted } = unwrap(schema);
  if (accepted !== null) return accepted;
  const def = definition(inner);
  if (def.type === 'array') return 'a list, one entry a line after "- " or [in brackets]';
  if (def.type === 'literal') return (def.values ?? []).map(String).join(' | ');
  if (def.type === 'enum') return Object.values(def.entries ?? {}).map(String).join(' | ');
  const keys = keysOf(inner, data);
  return keys.length > 0 ? `a map with ${keys.join(', ')}` : '';
}

/** A value that this place would accept, to go on checking with; undefined when none is known. */
export function exampleAt(schema: Schema | null, metaOf: (schema: Schema) => Readonly<Record<string, unknown>> | undefined): unknown {
  if (schema === null) return undefined;
  const { schema: inner } = unwrap(schema);
  const def = definition(inner);
  if (def.type === 'literal') return def.values?.[0];
  if (def.type === 'enum') return Object.values(def.entries ?? {})[0];
  const examples = metaOf(inner)?.examples;
  if (Array.isArray(examples) && examples.length > 0) return examples[0] as unknown;
  if (def.type !== 'object') return undefined;
  const entries = Object.entries(def.shape ?? {}).filter(([, s]) => !['optional', 'prefault', 'default'].includes(definition(s).type)).map(([k, s]) => [k, exampleAt(s, metaOf)] as const);
  return entries.every(([, v]) => v !== undefined) ? Object.fromEntries(entries) : undefined;
}
