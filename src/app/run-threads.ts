// Many records, read on all cores.
import { shareWork, type Crew } from '../host/threads';
import { readingCrew } from './run-crew';
import { readOneRun, type RunFile, type RunRead } from './run-reads';

/** Reads records, each thread one at a time. The results stand in the order of the files, whoever read them. */
export function readRunsOnThreads(files: readonly RunFile[], planned: readonly string[], crew: Crew = readingCrew(files.length)): Promise<RunRead[]> {
  const ids = new Set(planned);
  return shareWork(crew, files, planned, (file) => readOneRun(file, ids));
}
