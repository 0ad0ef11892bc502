// Many records, read on all cores.
import { shareWork, spareCores } from '../host/threads';
import { readOneRun, type RunFile, type RunRead } from './run-reads';

/** Fewer files than this are read faster than a thread starts. */
const WORTH_A_THREAD = 24;

/** Reads records, each thread one at a time. The results stand in the order of the files, whoever read them. */
export function readRunsOnThreads(files: readonly RunFile[], planned: readonly string[]): Promise<RunRead[]> {
  const ids = new Set(planned);
  const helpers = files.length < WORTH_A_THREAD ? 0 : spareCores();
  return shareWork({ name: 'run-worker', base: import.meta.url }, helpers, files, planned, (file) => readOneRun(file, ids));
}
