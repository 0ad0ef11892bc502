// A helper thread of the analysis: reads records, one at a time. Started by run-threads.ts.
import { helpWith } from '../host/threads';
import { readOneRun, type RunFile } from './run-reads';

const planned = { list: null as readonly string[] | null, ids: new Set<string>() };

helpWith((file: RunFile, ids: readonly string[]) => {
  if (planned.list !== ids) {
    planned.list = ids;
    planned.ids = new Set(ids);
  }
  return readOneRun(file, planned.ids);
});
