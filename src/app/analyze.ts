// From a folder of records to results.json and results.csv.
import { analyzeCampaign } from '../analysis/campaign/analyze';
import { resultsCsv } from '../analysis/campaign/csv';
import { exists, FileProblem, join, readText, writeNew } from '../host/files';
import type { Results } from '../model/results';
import { campaignInput } from './campaign-input';
import { BadInput } from './errors';
import { RESULTS_FILE } from './report';

export const RESULTS_TABLE = 'results.csv';

export interface Analyzed {
  readonly results: Results;
  /** Files of this analysis; those that held the very same text before were not written again. */
  readonly files: readonly string[];
}

/**
 * Analyzes a campaign folder and writes its results beside the records.
 * @throws BadInput when the folder is no campaign's, or other results stand there already: nothing is ever overwritten
 */
export function analyzeFolder(folder: string): Analyzed {
  const results = analyzeCampaign(campaignInput(folder));
  const files = [
    [join(folder, RESULTS_FILE), `${JSON.stringify(results, null, 1)}\n`],
    [join(folder, RESULTS_TABLE), resultsCsv(results)],
  ] as const;
  const other = files.filter(([path, text]) => exists(path) && readText(path) !== text).map(([path]) => path);
  if (other.length > 0) throw new BadInput(other.map((path) => `${path}: other results stand there, and nothing is ever overwritten; move it away and analyze again`));
  for (const [path, text] of files) if (!exists(path)) write(path, text);
  return { results, files: files.map(([path]) => path) };
}

function write(path: string, text: string): void {
  try {
    writeNew(path, text);
  } catch (error) {
    if (error instanceof FileProblem) throw new BadInput([error.message], { cause: error });
    throw error;
  }
}
