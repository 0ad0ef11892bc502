// YAML text → plain data, with the place of every key and value kept for error messages.
import { LineCounter, isAlias, isMap, isPair, isScalar, isSeq, parseDocument, visit, type Document, type Node } from 'yaml';
import { keyOf, type Path, type Problem } from './problem';

/** Which end of a key a problem points at. */
export type Place = 'key' | 'value';

/** A file's text with the places of its keys. */
export class Source {
  constructor(readonly file: string, readonly text: string, private readonly document: Document, private readonly lines: LineCounter) {}

  /**
   * Line and column, from 1, of the value (or the key) at a path. For a path that the file does not hold, the nearest map
   * that it does hold: the place where the key is missing.
   */
  at(path: Path, place: Place = 'value'): { line: number; column: number } {
    const { offset } = locate(this.document, path, place);
    const { line, col } = this.lines.linePos(offset);
    return { line: Math.max(1, line), column: Math.max(1, col) };
  }

  problem(path: Path, message: string, accepted = '', place: Place = 'value'): Problem {
    return { file: this.file, ...this.at(path, place), key: keyOf(path), message, accepted };
  }

  /** The key at this path sits in a map in braces, where a comma ends a value. */
  inBraces(path: Path): boolean {
    const parent = locate(this.document, path.slice(0, -1), 'value').node;
    return isMap(parent) && parent.flow === true;
  }
}

export interface ReadYaml {
  readonly source: Source;
  /** The data, or undefined when the text is not YAML that can be used. */
  readonly data: unknown;
  readonly problems: readonly Problem[];
}

/** Reads the text. Syntax errors, duplicate keys and numbers that YAML reads otherwise than a person are problems. */
export function readYaml(file: string, text: string): ReadYaml {
  const lines = new LineCounter();
  const document = parseDocument(text, { lineCounter: lines, prettyErrors: false, version: '1.2', stringKeys: true });
  const source = new Source(file, text, document, lines);
  const problems: Problem[] = [];
  for (const error of document.errors) {
    const { line, col } = lines.linePos(error.pos[0]);
    const duplicate = error.code === 'DUPLICATE_KEY';
    const key = duplicate ? (/^[^\s:]+/.exec(text.slice(error.pos[0]))?.[0] ?? '') : '';
    problems.push({ file, line, column: col, key, message: duplicate ? 'this key stands twice in one map' : `not valid YAML: ${error.message}`, accepted: duplicate ? 'each key once' : '' });
  }
  if (document.errors.some((e) => e.code !== 'DUPLICATE_KEY')) return { source, data: undefined, problems };
  const dangling = danglingAliases(document, source);
  if (dangling.length > 0) return { source, data: undefined, problems: [...problems, ...dangling] };
  problems.push(...numberTraps(document, source));
  try {
    return { source, data: document.toJS({ maxAliasCount: 100 }) as unknown, problems };
  } catch (cause) {
    problems.push(source.problem([], `not usable YAML: ${cause instanceof Error ? cause.message : String(cause)}`));
    return { source, data: undefined, problems };
  }
}

/** `*name` without a `&name` before it. */
function danglingAliases(document: Document, source: Source): Problem[] {
  const problems: Problem[] = [];
  visit(document, {
    Alias(_, node, ancestors) {
      if (node.resolve(document) === undefined) problems.push(source.problem(pathOf([...ancestors, node]), `*${node.source} refers to no &${node.source} before it`, 'a value'));
    },
  });
  return problems;
}

/** `010` is read as 10, `.inf` as infinity, and a number beyond 2⁵³ is rounded: none is what the author meant. */
function numberTraps(document: Document, source: Source): Problem[] {
  const problems: Problem[] = [];
  visit(document, {
    Scalar(_, node, ancestors) {
      if (typeof node.value !== 'number') return;
      const written = node.source ?? '';
      const path = pathOf([...ancestors, node]);
      if (/^[-+]?0\d/.test(written)) problems.push(source.problem(path, `${written} starts with a needless 0 and is read as ${node.value}`, String(node.value)));
      else if (!Number.isFinite(node.value) || Math.abs(node.value) > Number.MAX_SAFE_INTEGER) problems.push(source.problem(path, `${written} is not a number that can be used`, 'a finite number'));
    },
  });
  return problems;
}

function pathOf(chain: readonly unknown[]): Path {
  const path: (string | number)[] = [];
  chain.forEach((node, i) => {
    const next = chain[i + 1];
    if (isPair(node) && isScalar(node.key) && next !== node.key) path.push(String(node.key.value));
    if (isSeq(node)) path.push(node.items.indexOf(next));
  });
  return path;
}

function locate(document: Document, path: Path, place: Place): { node: Node | null; offset: number } {
  let node: Node | null = document.contents;
  let offset = start(node) ?? 0;
  for (const [i, part] of path.entries()) {
    if (isAlias(node)) node = node.resolve(document) ?? null;
    if (isMap(node)) {
      const pair = node.items.find((p) => isScalar(p.key) && String(p.key.value) === String(part));
      if (pair === undefined) return { node: null, offset };
      const key = start(pair.key as Node) ?? offset;
      node = pair.value as Node | null;
      const last = i === path.length - 1;
      // A map that begins on the next line is best pointed at by its key; so is a key without a value.
      offset = last && place === 'value' && !(isMap(node) && node.flow !== true) && !(isSeq(node) && node.flow !== true) && !isEmpty(node) ? (start(node) ?? key) : key;
    } else if (isSeq(node)) {
      const item = node.items[Number(part)];
      if (item === undefined) return { node: null, offset };
      node = item as Node;
      offset = start(node) ?? offset;
    } else return { node: null, offset };
  }
  return { node, offset };
}

function start(node: Node | null): number | undefined {
  return node?.range?.[0];
}

function isEmpty(node: Node | null): boolean {
  return node === null || (isScalar(node) && node.value === null);
}
