// What a campaign ends with: its analysis and its report.
import { analyzeFolder } from './analyze';
import { writeReport } from './report';

export interface RunResults {
  readonly results: string;
  readonly report: string;
  /** The answer in sentences. */
  readonly answer: readonly string[];
}

/**
 * Analyzes the folder of a finished campaign and writes its report.
 * @throws BadInput when one of them cannot be made; the records are not touched
 */
export async function resultsOf(folder: string): Promise<RunResults> {
  const { results, files } = await analyzeFolder(folder);
  const { path } = writeReport(folder, results);
  return { results: files[0], report: path, answer: results.answer };
}
