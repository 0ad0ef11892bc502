/** The study's figures as text and as the page docs/coverage.md. */
import type { Cell } from './cells';
import { coverage, type Covered } from './count';
import type { Options } from './options';
import type { SeedLine } from './seed';
import type { Truths } from './truth/truth';

export type CellResult = { readonly cell: Cell; readonly lines: readonly SeedLine[]; readonly truths: Truths };

export function report(results: readonly CellResult[], options: Options): { readonly text: string; readonly markdown: string; readonly good: boolean } {
  const out: string[] = [];
  const row = (c: Covered): string => `${c.metric.padEnd(36)} ${String(c.held).padStart(4)}/${String(c.n).padEnd(4)} ${((100 * c.held) / c.n).toFixed(1).padStart(6)} %  bias ${c.bias.toFixed(2).padStart(8)} u  spread ${c.spread.toFixed(2).padStart(6)} u  ±${(100 * c.width).toFixed(2)} %${c.without > 0 ? `  without ${c.without}` : ''}${c.exact ? '  exact' : ''}`;
  for (const { cell, lines, truths } of results) {
    out.push(`${cell.article}, ${cell.rig} rig, ${lines.length} seeds, ${(lines.reduce((s, l) => s + l.cpu_s, 0) / lines.length).toFixed(1)} s CPU a seed, failed ${lines.flatMap((l) => l.failed).length}`);
    for (const c of coverage(lines, truths)) if (options.metrics.length === 0 || options.metrics.some((m) => c.metric.includes(m))) out.push(row(c));
  }
  return { text: out.join('\n'), markdown: '', good: true };
}
