// Text of a file → typed value in SI, or every problem in it at once.
import { z } from 'zod';
import { FORMAT_VERSION, type FileKind } from './files/head';
import { SCHEMAS, type FileValue } from './files/index';
import { problemsOf, valueAt, type LocatedProblem } from './issues';
import { sortProblems, type Path, type Problem } from './problem';
import { exampleAt, schemaAt } from './schema-walk';
import { readYaml, type Source } from './yaml-source';

/** A file that was read. */
export interface Loaded<T> {
  readonly file: string;
  readonly source: Source;
  /** Null when there is any problem. */
  readonly value: T | null;
  /**
   * For checking on: the value, or, when only some keys are wrong, the value with accepted examples in their place.
   * Never to be run. Problems that involve a `doubtful` key are not reported.
   */
  readonly usable: T | null;
  readonly doubtful: readonly Path[];
  readonly problems: readonly Problem[];
}

/** Reads a file of a known kind. Nothing is thrown for bad input; `problems` holds every complaint, by place. */
export function loadFile<K extends FileKind>(kind: K, file: string, text: string): Loaded<FileValue<K>> {
  const { source, data, problems } = readYaml(file, text);
  const stop = (more: readonly Problem[]): Loaded<FileValue<K>> => ({ file, source, value: null, usable: null, doubtful: [], problems: sortProblems([...problems, ...more]) });
  if (data === undefined) return stop([]);
  const wrongFile = beginning(kind, data, source);
  if (wrongFile !== null) return stop([wrongFile]);
  const checked = check(SCHEMAS[kind] as unknown as z.ZodType<FileValue<K>>, data, source);
  return { file, source, ...checked, value: problems.length > 0 ? null : checked.value, problems: sortProblems([...problems, ...checked.problems]) };
}

/** Which kind of file this is, by its naming key; null when it has none. */
export function kindOfFile(text: string): FileKind | null {
  const { data } = readYaml('', text);
  return valueAt(data, ['spoolbench']) === undefined ? null : namingKey(data);
}

/**
 * Checks a part of a file that its own schema leaves open (the parameters of a protocol).
 * @param path where the part stands
 */
export function checkPart<T>(schema: z.ZodType<T>, source: Source, path: Path, part: unknown): { readonly value: T | null; readonly problems: readonly Problem[] } {
  const parsed = schema.safeParse(part);
  if (parsed.success) return { value: parsed.data, problems: [] };
  return { value: null, problems: problemsOf(parsed.error.issues, schema, part, source, path).map((p) => p.problem) };
}

function check<T>(schema: z.ZodType<T>, data: unknown, source: Source): Pick<Loaded<T>, 'value' | 'usable' | 'doubtful' | 'problems'> {
  const parsed = schema.safeParse(data);
  if (parsed.success) return { value: parsed.data, usable: parsed.data, doubtful: [], problems: [] };
  const found = problemsOf(parsed.error.issues, schema, data, source);
  const again = schema.safeParse(repaired(data, schema, found));
  return { value: null, usable: again.success ? again.data : null, doubtful: found.map((f) => f.path), problems: found.map((f) => f.problem) };
}

/** The data without its unknown keys, and with an accepted example for each bad or missing value. */
function repaired(data: unknown, schema: z.core.$ZodType, found: readonly LocatedProblem[]): unknown {
  const copy = structuredClone(data);
  for (const { path, unknown } of found) {
    const parent = valueAt(copy, path.slice(0, -1));
    const key = path[path.length - 1];
    if (typeof parent !== 'object' || parent === null || key === undefined) continue;
    const example = unknown ? undefined : exampleAt(schemaAt(schema, path, copy), (s) => z.globalRegistry.get(s as z.ZodType));
    if (example === undefined) Reflect.deleteProperty(parent, key);
    else (parent as Record<string, unknown>)[String(key)] = example;
  }
  return copy;
}

/** A problem with the first lines: not a map, another version, another kind of file. */
function beginning(kind: FileKind, data: unknown, source: Source): Problem | null {
  const start = `spoolbench: ${FORMAT_VERSION} and ${kind}: NAME`;
  if (typeof data !== 'object' || data === null || Array.isArray(data)) return source.problem([], data === null ? 'the file is empty' : 'the file is not a map of keys', `a file that starts with ${start}`);
  const version = valueAt(data, ['spoolbench']);
  if (typeof version === 'number' && version !== FORMAT_VERSION) {
    return source.problem(['spoolbench'], `this file is of format version ${version}, this program reads version ${FORMAT_VERSION}: use a program of that version, or rewrite the file`, `spoolbench: ${FORMAT_VERSION}`);
  }
  const other = namingKey(data);
  if (other !== null && other !== kind) return source.problem([other], `this is ${indefinite(other)} file, ${indefinite(kind)} file is wanted here`, `a file that starts with ${start}`, 'key');
  return null;
}

/** A campaign and a calibration also name their rig, so they are looked for first. */
const MOST_TELLING: readonly FileKind[] = ['answers', 'campaign', 'calibration', 'protocol', 'craft', 'article', 'rig'];

function namingKey(data: unknown): FileKind | null {
  return MOST_TELLING.find((k) => valueAt(data, [k]) !== undefined) ?? null;
}

/** The kind with its article: "a rig", "an article". */
export function indefinite(kind: FileKind): string {
  return `${/^[aeiou]/.test(kind) ? 'an' : 'a'} ${kind}`;
}
