// What is wrong with a file, and where: the one shape in which every complaint about input travels.

export interface Problem {
  readonly file: string;
  /** From 1. */
  readonly line: number;
  /** From 1. */
  readonly column: number;
  /** Dotted path of the key, e.g. `limits.current_peak.above`; empty for the file as a whole. */
  readonly key: string;
  readonly message: string;
  /** What may be written instead; empty when that goes without saying. */
  readonly accepted: string;
}

export type Path = readonly (string | number)[];

/** `rig.yaml:12:21 limits.speed.above: 38000 has no unit; accepted: a speed of rotation such as 4500 rpm`. */
export function formatProblem(p: Problem): string {
  const key = p.key === '' ? '' : ` ${p.key}`;
  return `${p.file}:${p.line}:${p.column}${key}: ${p.message}${p.accepted === '' ? '' : `; accepted: ${p.accepted}`}`;
}

/** `['points', 3, 'applied']` → `points.3.applied`. */
export function keyOf(path: Path): string {
  return path.join('.');
}

/** By place in the file, each said once. */
export function sortProblems(problems: readonly Problem[]): Problem[] {
  const seen = new Set<string>();
  return [...problems]
    .sort((a, b) => (a.file < b.file ? -1 : a.file > b.file ? 1 : a.line - b.line || a.column - b.column))
    .filter((p) => {
      const text = formatProblem(p);
      return seen.has(text) ? false : seen.add(text) !== undefined;
    });
}

/** The candidate that somebody who wrote this probably meant: fewest edits, at most about a third of the letters. */
export function nearest(written: string, candidates: readonly string[]): string | null {
  let best: string | null = null;
  let least = Math.max(1, Math.floor(written.length / 3)) + 1;
  for (const candidate of candidates) {
    const edits = editDistance(written.toLowerCase(), candidate.toLowerCase());
    if (edits < least) [best, least] = [candidate, edits];
  }
  return best;
}

/** Inserted, deleted, replaced or swapped neighbouring letters (optimal string alignment). */
function editDistance(a: string, b: string): number {
  const width = b.length + 1;
  const d = Array.from({ length: (a.length + 1) * width }, (_, i) => (i < width ? i : i % width === 0 ? i / width : 0));
  const at = (i: number, j: number): number => d[i * width + j] ?? 0;
  for (let i = 1; i <= a.length; i++) {
    for (let j = 1; j <= b.length; j++) {
      let cost = Math.min(at(i - 1, j) + 1, at(i, j - 1) + 1, at(i - 1, j - 1) + (a[i - 1] === b[j - 1] ? 0 : 1));
      if (i > 1 && j > 1 && a[i - 1] === b[j - 2] && a[i - 2] === b[j - 1]) cost = Math.min(cost, at(i - 2, j - 2) + 1);
      d[i * width + j] = cost;
    }
  }
  return at(a.length, b.length);
}
