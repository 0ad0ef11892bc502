// Threads that will read records. They load while the command itself still does.
import { isFolder, join, list } from '../host/files';
import { spareCores, startCrew, type Crew } from '../host/threads';

/** Where the records of a campaign lie in its folder. */
export const RUNS = 'runs';

/** Fewer files than this are read faster than a thread starts. */
const WORTH_A_THREAD = 24;

/** Names of the record files of a campaign folder, in order; empty when it has none. */
export function recordsIn(folder: string): string[] {
  const runs = join(folder, RUNS);
  return isFolder(runs) ? list(runs).filter((f) => f.endsWith('.mcap')) : [];
}

/** Starts the threads that reading so many files is worth. */
export const readingCrew = (files: number): Crew => startCrew({ name: 'run-worker', base: import.meta.url }, files < WORTH_A_THREAD ? 0 : spareCores());
