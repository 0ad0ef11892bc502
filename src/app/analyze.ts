// From a folder of records to results.json and results.csv.
import { analyzeCampaign } from '../analysis/campaign/analyze';
import { resultsCsv } from '../analysis/campaign/csv';
import { exists, FileProblem, join, readText, renameOwn, writeNew } from '../host/files';
import type { Crew } from '../host/threads';
import type { Rig } from '../model/files';
import type { Results } from '../model/results';
import { isSimulated } from '../model/simulated';
import { campaignInputOnThreads } from './campaign-input';
import { provenanceOfBench } from './bench-words';
import { readCampaignFolder, type ReadFolder } from './campaign-files';
import { BadInput } from './errors';
import { RESULTS_FILE, RESULTS_TABLE } from './result-files';

export interface Analyzed {
  readonly results: Results;
  /** Files of this analysis; those that held the very same text before were not written again. */
  readonly files: readonly string[];
  /** Earlier results, under the names that they have now. */
  readonly setAside: readonly string[];
}

/**
 * Analyzes a campaign folder and writes its results beside the records. Earlier results are kept under a number
 * (results-1.json, results-1.csv, …), so that the newest always have the plain name and nothing is lost.
 * @param crew threads that were started beforehand; the records are shared with new ones unless given
 * @throws BadInput when the folder is no campaign's, or a results.json stands there that this program did not write
 */
export async function analyzeFolder(folder: string, crew?: Crew): Promise<Analyzed> {
  const found = analyzeCampaign(await campaignInputOnThreads(folder, crew === undefined ? {} : { crew }));
  // Without a usable record the plan still tells.
  const plan = readCampaignFolder(folder);
  const results = { ...found, simulated: found.simulated || isTwin(plan), provenance: { ...found.provenance, ...provenanceOfBench(plan, found.runs) } };
  const files = [
    [join(folder, RESULTS_FILE), `${JSON.stringify(results, null, 1)}\n`],
    [join(folder, RESULTS_TABLE), resultsCsv(results)],
  ] as const;
  const changed = files.filter(([path, text]) => exists(path) && readText(path) !== text);
  const setAside = changed.length === 0 ? [] : aside(folder);
  for (const [path, text] of files) if (!exists(path)) write(path, text);
  return { results, files: files.map(([path]) => path), setAside };
}

/** Whether the campaign was planned for the simulated rig. */
function isTwin({ frozen }: ReadFolder): boolean {
  const { rig } = frozen.plan.bench as unknown as { readonly rig?: Partial<Pick<Rig, 'link'>> };
  return isSimulated(rig ?? {});
}

/** Gives results.json and results.csv the first number that neither has yet. Nothing of anybody else's is touched. */
function aside(folder: string): string[] {
  const json = join(folder, RESULTS_FILE);
  if (exists(json) && !isOurs(readText(json))) throw new BadInput([`${json}: this was not written by \`spoolbench analyze\`, and nothing of yours is overwritten; move it away and analyze again`]);
  const numbered = (name: string, n: number): string => join(folder, name.replace('.', `-${n}.`));
  const names = [RESULTS_FILE, RESULTS_TABLE];
  let n = 1;
  while (names.some((name) => exists(numbered(name, n)))) n++;
  return names.filter((name) => exists(join(folder, name))).map((name) => {
    renameOwn(join(folder, name), numbered(name, n));
    return numbered(name, n);
  });
}

function isOurs(text: string): boolean {
  try {
    return (JSON.parse(text) as { spoolbench_results?: unknown } | null)?.spoolbench_results !== undefined;
  } catch {
    return false;
  }
}

function write(path: string, text: string): void {
  try {
    writeNew(path, text);
  } catch (error) {
    if (error instanceof FileProblem) throw new BadInput([error.message], { cause: error });
    throw error;
  }
}
