/** The study's figures as text and as the tables of docs/coverage.md. */
import { familyBand } from './band';
import type { Cell } from './cells';
import { contrastCoverage, coverage, frequencyClaims, nullClaims, timingClaims, wrongEquivalences, type Claimed, type Covered } from './count';
import type { Options } from './options';
import type { SeedLine } from './seed';
import type { Truths } from './truth/truth';

export type CellResult = { readonly cell: Cell; readonly lines: readonly SeedLine[]; readonly truths: Truths };
type Report = { readonly text: string; readonly markdown: string; readonly good: boolean };

const CONFIDENCE = 0.95;
/** A verdict may be wrong in so many cases by design. */
const WRONG = 0.05;

/** `low`: too seldom; `high`: too often, so the interval is wider than it says; `exact`: no width by definition; `rare`: events too rare to judge an interval by; `none`: no interval. */
type Judged = Covered & { readonly mark: 'ok' | 'low' | 'high' | 'exact' | 'rare' | 'none' };

/** Figures that are looked at: all of a cell, values and differences. */
const lookedAt = (all: readonly Covered[]): number => all.filter((c) => c.n > 0 && !c.exact && !c.rare).length;

function judge(all: readonly Covered[], family: number): Judged[] {
  return all.map((c) => {
    if (c.n === 0) return { ...c, mark: 'none' };
    if (c.exact) return { ...c, mark: c.held === c.n ? 'exact' : 'low' };
    const { low } = familyBand(c.n, CONFIDENCE, family);
    if (c.rare) return { ...c, mark: c.held < low ? 'low' : 'rare' };
    const { high } = familyBand(c.n, Math.max(CONFIDENCE, c.most), family);
    return { ...c, mark: c.held < low ? 'low' : c.held > high ? 'high' : 'ok' };
  });
}

const share = (a: number, n: number): string => (n === 0 ? '–' : `${((100 * a) / n).toFixed(1)} %`);
/** Most wrong verdicts that a rate of 5 % gives in a family of so many. */
const mostWrong = (n: number, family: number): number => familyBand(n, WRONG, Math.max(1, family)).high;

/** Everything about every cell. */
export function report(results: readonly CellResult[], options: Options): Report {
  const counted = results.map((r) => ({ ...r, values: coverage(r.lines, r.truths), differences: contrastCoverage(r.lines, r.truths, 'switching') }));
  // One family over every cell that was asked for: all of its correct figures stay inside together.
  const family = counted.reduce((sum, c) => sum + lookedAt(c.values) + lookedAt(c.differences), 0);
  const parts = counted.map((c) => ofCell(c, family, options));
  return { text: parts.map((p) => p.text).join('\n\n'), markdown: parts.map((p) => p.markdown).join('\n\n'), good: parts.every((p) => p.good) };
}

type Counted = CellResult & { readonly values: readonly Covered[]; readonly differences: readonly Covered[] };

function ofCell({ cell, lines, truths, ...counted }: Counted, family: number, options: Options): Report {
  const title = `${cell.article}, ${cell.rig} rig, ${lines.length} seeds`;
  if (lines.length === 0) return { text: title, markdown: `### ${title}`, good: false };
  const wanted = (metric: string): boolean => options.metrics.length === 0 || options.metrics.some((m) => metric.includes(m));
  const values = judge(counted.values, family).filter((c) => wanted(c.metric));
  const differences = judge(counted.differences, family).filter((c) => wanted(c.metric));
  const claims = [nullClaims(lines), frequencyClaims(lines, truths), wrongEquivalences(lines, truths)].flatMap((group) => group.filter((c) => wanted(c.metric)).map((c) => ({ ...c, most: mostWrong(c.n, group.length) })));
  const timing = timingClaims(lines);
  const failed = lines.flatMap((l) => l.failed);
  const cpu = lines.reduce((s, l) => s + l.cpu_s, 0) / lines.length;
  const bad = [...values, ...differences].filter((c) => c.mark === 'low' || c.mark === 'high');
  const wrong = [...claims.filter((c) => c.claims > c.most).map((c) => `${c.what}: ${c.metric}`), ...tooOften(claims), ...tooSeldom(timing)];
  const line = (c: Judged): string => `${c.metric.padEnd(36)} ${`${c.held}/${c.n}`.padStart(8)} ${share(c.held, c.n).padStart(8)}  bias ${c.bias.toFixed(2).padStart(7)} u  spread ${c.spread.toFixed(2).padStart(5)} u  ${c.mark}`;
  const text = [
    `${title}: ${cpu.toFixed(1)} s CPU a seed, ${failed.length} runs without a good end`, 'values at the base setting', ...values.map(line), 'differences at twice the switching frequency', ...differences.map(line),
    ...summary(claims), ...timing.map((c) => `timing equivalent within 5 %: ${c.metric} ${c.claims}/${c.n}`),
    `${bad.length} of ${values.length + differences.length} figures outside their band, ${wrong.length} kinds of verdict off their rate`, ...wrong.map((w) => `  ${w}`),
  ].join('\n');
  return { text, markdown: markdownOf(title, cpu, failed.length, values, differences, claims, timing), good: bad.length === 0 && wrong.length === 0 };
}

/** Wrong verdicts over all metrics of a kind may be this share of all that were given. */
const WRONG_OVERALL = 0.078;

/** Kinds of wrong verdict that are too frequent over all their metrics. */
function tooOften(claims: readonly Claimed[]): string[] {
  return [...new Set(claims.map((c) => c.what))].filter((what) => {
    const own = claims.filter((c) => c.what === what);
    const [n, k] = [own.reduce((s, c) => s + c.n, 0), own.reduce((s, c) => s + c.claims, 0)];
    return own.length > 1 && k > WRONG_OVERALL * n;
  }).map((what) => `${what}, over all metrics`);
}

/** What is true and was found in fewer seeds than 95 % give. */
const tooSeldom = (found: readonly Claimed[]): string[] => found.filter((c) => c.claims < familyBand(c.n, CONFIDENCE, found.length).low).map((c) => `${c.what}, too seldom: ${c.metric}`);

/** One line a kind of claim: all metrics together, and the worst. */
function summary(claims: readonly (Claimed & { readonly most: number })[]): string[] {
  return [...new Set(claims.map((c) => c.what))].map((what) => {
    const own = claims.filter((c) => c.what === what);
    const worst = own.reduce((a, b) => (b.claims / b.n > a.claims / a.n ? b : a));
    const [n, k] = [own.reduce((s, c) => s + c.n, 0), own.reduce((s, c) => s + c.claims, 0)];
    return `${what}: ${share(k, n)} over ${own.length} metrics; most for ${worst.metric}, ${worst.claims} of ${worst.n} (at most ${worst.most} allowed)`;
  });
}

function markdownOf(title: string, cpu: number, failed: number, values: readonly Judged[], differences: readonly Judged[], claims: readonly (Claimed & { readonly most: number })[], timing: readonly Claimed[]): string {
  const cellOf = (c: Judged | undefined): string => (c === undefined ? '' : c.mark === 'none' ? 'no interval' : `${c.held}/${c.n}${c.mark === 'low' ? ' **low**' : c.mark === 'high' ? ' **high**' : c.mark === 'exact' ? ' (exact)' : c.mark === 'rare' ? ' (rare)' : ''}`);
  const names = [...new Set([...values, ...differences].map((c) => c.metric))];
  const rows = names.map((name) => {
    const [v, d] = [values.find((c) => c.metric === name), differences.find((c) => c.metric === name)];
    const size = v === undefined || v.n === 0 || v.exact ? '' : `${v.bias.toFixed(2)} | ${v.spread.toFixed(2)}`;
    return `| \`${name}\` | ${cellOf(v)} | ${size === '' ? ' | ' : size} | ${cellOf(d)} |`;
  });
  return [
    `### ${title}`, '', `${cpu.toFixed(1)} s CPU a seed; ${failed} runs without a good end.`, '',
    '| metric | value: held | bias, u | spread, u | difference: held |', '|---|---|---|---|---|', ...rows, '',
    ...summary(claims).map((s) => `- ${s}`), ...timing.map((c) => `- timing advance halved, found equivalent within 5 %: \`${c.metric}\` ${c.claims} of ${c.n}`),
  ].join('\n');
}
