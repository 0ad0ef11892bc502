// The files that `analyze` writes and others read.
import { exists, join, readText } from '../host/files';
import { resultsSchema, type Results } from '../model/results';
import { BadInput } from './errors';

export const RESULTS_FILE = 'results.json';
export const RESULTS_TABLE = 'results.csv';

/** results.json of a folder. Throws {@link BadInput}. */
export function readResults(folder: string): Results {
  const path = join(folder, RESULTS_FILE);
  if (!exists(path)) throw new BadInput([`${path}: there is no such file; \`spoolbench analyze ${folder}\` writes it from the records`]);
  let parsed: unknown;
  try {
    parsed = JSON.parse(readText(path));
  } catch (error) {
    throw new BadInput([`${path}: this is not JSON (${error instanceof Error ? error.message : String(error)}); move it away and run \`spoolbench analyze ${folder}\` again`], { cause: error });
  }
  const checked = resultsSchema.safeParse(parsed);
  if (checked.success) return checked.data;
  const lines = checked.error.issues.slice(0, 5).map((i) => `${path}: ${i.path.join('.')}: ${i.message}`);
  throw new BadInput([...lines, `${path}: this is not what this version of \`spoolbench analyze\` writes; move it away and analyze again`], { cause: checked.error });
}
