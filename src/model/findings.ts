// Collects problems that a check finds in values that were read: places them, and drops those that rest on a key which
// was wrong itself.
import type { Loaded } from './load';
import type { Path, Problem } from './problem';
import type { Place } from './yaml-source';

export interface Finding {
  /** Where it is shown. */
  readonly at: Path;
  /** Other keys of the same file that the finding rests on. */
  readonly with?: readonly Path[];
  readonly message: string;
  readonly accepted: string;
  readonly place?: Place;
}

export class Findings {
  readonly problems: Problem[] = [];
  constructor(private readonly loaded: Loaded<unknown>) {}

  /** @param others keys of other files that the finding rests on */
  add(finding: Finding, others: readonly (readonly [Loaded<unknown>, Path])[] = []): void {
    const own = [finding.at, ...(finding.with ?? [])].map((path) => [this.loaded, path] as const);
    if ([...own, ...others].some(([loaded, path]) => isDoubtful(loaded, path))) return;
    this.problems.push(this.loaded.source.problem(finding.at, finding.message, finding.accepted, finding.place ?? 'value'));
  }
}

/** The key, one above it or one below it was wrong. */
export function isDoubtful(loaded: Loaded<unknown>, path: Path): boolean {
  return loaded.doubtful.some((doubtful) => {
    const shared = Math.min(doubtful.length, path.length);
    return doubtful.slice(0, shared).every((part, i) => String(part) === String(path[i]));
  });
}
