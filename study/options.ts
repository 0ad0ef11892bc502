/** The command line of the study. */
import { ARTICLES, RIGS, type ArticleName, type Cell, type RigName } from './cells';

export type Options = {
  readonly cells: readonly Cell[];
  readonly seeds: readonly number[];
  readonly workers: number;
  readonly out: string;
  readonly records: 'drop' | 'keep' | 'kept';
  /** Parts of metric names to print; all when empty. */
  readonly metrics: readonly string[];
  /** File for the table in Markdown; none when null. */
  readonly table: string | null;
  /** Exit 1 when anything misses its band. */
  readonly check: boolean;
  /** Count what is there and play nothing. */
  readonly only_count: boolean;
  /** Digest of the sources whose lines are counted; those of this checkout when null. */
  readonly lines: string | null;
};

export const USAGE = `npm run coverage-study -- [options]
  --seeds 1..40           seeds (default 1..40)
  --rig default           quiet, default, hostile, or all (default: default)
  --article scout         scout, tiny, or all (default: all)
  --metrics hold,kv       only metrics whose name contains one of these in the printed table
  --workers 2             child processes (default 2)
  --out build/study       folder for truths and one line of JSON a seed; a study goes on where it stopped while the sources are the same
  --table docs/coverage.md   writes the table there
  --records keep|kept     keep the records (about 15 MB a seed), or analyse those kept again
  --check                 exit 1 when a figure misses its band
  --count                 play nothing, count what is there
  --lines DIGEST          with --count: lines that other sources made (lines-ARTICLE-RIG-DIGEST.jsonl)`;

/** Reads the options. @throws Error naming the option and what is accepted */
export function readOptions(argv: readonly string[]): Options {
  const given = new Map<string, string>();
  for (let i = 0; i < argv.length; i++) {
    const name = argv[i];
    if (name === '--check' || name === '--count') { given.set(name, 'yes'); continue; }
    const known = ['--seeds', '--rig', '--article', '--metrics', '--workers', '--out', '--table', '--records', '--lines'];
    if (!known.includes(name) || i + 1 >= argv.length) throw new Error(`${name}: not an option with its value\n${USAGE}`);
    given.set(name, argv[++i]);
  }
  const of = <T extends string>(name: string, all: readonly T[], usual: string): T[] => {
    const wanted = given.get(name) ?? usual;
    if (wanted === 'all') return [...all];
    return wanted.split(',').map((w) => {
      const found = all.find((a) => a === w);
      if (found === undefined) throw new Error(`${name} ${w}: accepted: ${all.join(', ')}, all`);
      return found;
    });
  };
  const range = /^(\d+)\.\.(\d+)$/.exec(given.get('--seeds') ?? '1..40');
  if (range === null) throw new Error(`--seeds ${given.get('--seeds') ?? ''}: accepted: FIRST..LAST, such as 1..400`);
  const [first, last] = [Number(range[1]), Number(range[2])];
  const records = given.get('--records') ?? 'drop';
  if (records !== 'drop' && records !== 'keep' && records !== 'kept') throw new Error(`--records ${records}: accepted: keep, kept`);
  const articles: ArticleName[] = of('--article', ARTICLES, 'all');
  const rigs: RigName[] = of('--rig', RIGS, 'default');
  return {
    cells: articles.flatMap((article) => rigs.map((rig) => ({ article, rig }))), seeds: Array.from({ length: Math.max(0, last - first + 1) }, (_, i) => first + i),
    workers: Number(given.get('--workers') ?? 2), out: given.get('--out') ?? 'build/study', records, metrics: (given.get('--metrics') ?? '').split(',').filter((m) => m !== ''),
    table: given.get('--table') ?? null, check: given.has('--check'), only_count: given.has('--count'), lines: given.get('--lines') ?? null,
  };
}
