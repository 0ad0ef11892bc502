// Runs and files that an analysis left out, as text for people.
import type { Results } from '../model/results';
import { wrap } from './text';

/** Lines that are shown before the rest is counted. */
const NAMED = 12;

/** Each run that is not used and each foreign file with its reason; empty when all is used. `width`: columns of the terminal. */
export function leftOutText({ runs, foreign }: Pick<Results, 'runs' | 'foreign'>, width: number): string {
  const left = runs.filter((r) => r.status !== 'used');
  const lines = [...left.map((r) => `${r.id}: ${r.status === 'missing' ? 'missing' : 'left out'}, ${r.reason ?? 'no reason was given'}`), ...foreign.map((f) => `${f.file}: foreign, ${f.reason}`)];
  if (lines.length === 0) return '';
  const head = `${left.length} of ${runs.length} planned run${runs.length === 1 ? '' : 's'} not used${foreign.length === 0 ? '' : `, ${foreign.length} foreign file${foreign.length === 1 ? '' : 's'}`}:`;
  const rest = lines.length > NAMED ? [`and ${lines.length - NAMED} more, each with its reason in results.json and in the report`] : [];
  return `${[head, ...[...lines.slice(0, NAMED), ...rest].map((l) => wrap(`  ${l}`, width, '    '))].join('\n')}\n`;
}
