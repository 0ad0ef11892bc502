// What the formats can say and the program cannot do yet: refused with a plain sentence, never ignored. One table; whoever
// builds a feature deletes its row.
import type { FileKind } from './files/head';
import type { FileValue } from './files/index';
import type { Path, Problem } from './problem';
import type { Loaded } from './load';

interface Row<K extends FileKind> {
  readonly kind: K;
  /** The keys that ask for it; none when the file does not. */
  readonly asks: (value: FileValue<K>) => readonly Path[];
  readonly sentence: string;
  readonly instead: string;
}

/** For the table: keeps the kind of file and its value together. */
export const row = <K extends FileKind>(r: Row<K>): Row<K> => r;

const ROWS: readonly unknown[] = [];

/** Problems for everything in the file that the program cannot do yet. */
export function notYet<K extends FileKind>(kind: K, loaded: Loaded<FileValue<K>>): Problem[] {
  const value = loaded.usable;
  if (value === null) return [];
  return (ROWS as readonly Row<FileKind>[])
    .filter((r) => r.kind === kind)
    .flatMap((r) => r.asks(value).map((path) => loaded.source.problem(path, r.sentence, r.instead)));
}

/** For the table: the key when it was asked for. */
export function when(asked: boolean, path: Path): Path[] {
  return asked ? [path] : [];
}
