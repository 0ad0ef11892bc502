// Reads the fixtures of this folder, whole or with pieces replaced.
import { readFileSync } from 'node:fs';
import type { FileKind, FileValue } from '../../src/model/files';
import { loadFile, type Loaded } from '../../src/model/load';
import { formatProblem, type Problem } from '../../src/model/problem';

export type Edit = readonly [from: string, to: string];

export function fixture(name: string, ...edits: Edit[]): string {
  let text = readFileSync(new URL(`fixtures/${name}.yaml`, import.meta.url), 'utf8');
  for (const [from, to] of edits) {
    if (!text.includes(from)) throw new Error(`the fixture ${name} holds no "${from}"`);
    text = text.replace(from, to);
  }
  return text;
}

/** A fixture named as its kind, with pieces replaced. */
export function loaded<K extends FileKind>(kind: K, ...edits: Edit[]): Loaded<FileValue<K>> {
  return loadFile(kind, `${kind}.yaml`, fixture(kind, ...edits));
}

/** The value of a fixture; it has no problems. */
export function value<K extends FileKind>(kind: K, name: string = kind, ...edits: Edit[]): FileValue<K> {
  const file = loadFile(kind, `${name}.yaml`, fixture(name, ...edits));
  if (file.value === null) throw new Error(file.problems.map(formatProblem).join('\n'));
  return file.value;
}

export const said = (problems: readonly Problem[]): string[] => problems.map(formatProblem);
