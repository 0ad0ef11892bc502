// Which settings a campaign visits: factors crossed, points listed, or one factor at a time.
import { bounded, distinctSlugs, own } from './text';

/** Who or what brings a factor to its level. */
export const APPLIERS = ['rig', 'supply', 'command', 'operator'] as const;
export type Applier = (typeof APPLIERS)[number];

/** A level as the person wrote it, with its value in SI; null for a name such as a motor's. */
export interface Level {
  readonly text: string;
  readonly value: number | null;
}

export interface Factor {
  readonly name: string;
  readonly levels: readonly Level[];
  readonly apply: Applier;
  /** Costly to change: its levels form blocks. Left out: true where an operator changes it. */
  readonly hard?: boolean;
  /** One change takes this long, s; left out: the usual time of its applier. */
  readonly takes_s?: number;
}

/** One combination of levels. */
export interface Setting {
  /** Stable and safe in a file name, e.g. `switching_frequency-44kHz_timing_advance-16deg`. */
  readonly id: string;
  readonly levels: Readonly<Record<string, Level>>;
}

/** Texts of levels by factor, as a person writes a point. */
export type Point = Readonly<Record<string, string>>;

/** How factors become settings. */
export type Design =
  | { readonly kind: 'full' }
  | { readonly kind: 'points'; readonly points: readonly Point[] }
  | { readonly kind: 'one-at-a-time'; readonly baseline: Point };

/** A campaign that cannot be planned, with every reason found. */
export class CannotPlan extends Error {
  constructor(readonly problems: readonly string[]) {
    super(problems.join('\n'));
    this.name = 'CannotPlan';
  }
}

/** The id of the only setting of a campaign without factors. */
export const AS_IT_IS = 'as-it-is';
const LONGEST_ID = 150;
const MOST_SETTINGS = 100_000;

/**
 * The settings of a design, in the order of a written table: the last factor changes fastest.
 * One at a time: the baseline first, then each other level of each factor with the rest at baseline.
 * @throws CannotPlan with every problem: no level, duplicate level, unknown factor or level in a point, missing factor,
 *   duplicate point, more than 100 000 settings.
 */
export function settingsOf(factors: readonly Factor[], design: Design): Setting[] {
  const problems = [...factorProblems(factors), ...pointProblems(factors, design)];
  if (problems.length > 0) throw new CannotPlan(problems);
  const rows = rowsOf(factors, design);
  const seen = new Map<string, number>();
  rows.forEach((row, i) => {
    const key = row.join(',');
    const before = seen.get(key);
    if (before !== undefined) problems.push(`Points ${before + 1} and ${i + 1} are the same: ${describeRow(factors, row)}.`);
    seen.set(key, i);
  });
  if (problems.length > 0) throw new CannotPlan(problems);
  const names = distinctSlugs(factors.map((f) => f.name));
  const levels = factors.map((f) => distinctSlugs(f.levels.map((l) => l.text)));
  const taken = new Set<string>();
  const idOf = (row: readonly number[]): string => {
    if (factors.length === 0) return AS_IT_IS;
    const id = bounded(row.map((level, f) => `${names[f]}-${levels[f][level]}`).join('_'), LONGEST_ID);
    // Odd level names can run into each other; the level numbers then tell the settings apart.
    const free = taken.has(id.toLowerCase()) ? `${id}~${row.join('.')}` : id;
    taken.add(free.toLowerCase());
    return free;
  };
  return rows.map((row) => ({
    id: idOf(row),
    levels: Object.fromEntries(row.map((level, f) => [factors[f].name, factors[f].levels[level]])),
  }));
}

/** A setting in words: `switching_frequency 44 kHz, timing_advance 16 deg`. */
export function describeSetting(setting: Setting): string {
  const parts = Object.entries(setting.levels).map(([name, level]) => `${name} ${level.text}`);
  return parts.length === 0 ? 'as it is' : parts.join(', ');
}

function describeRow(factors: readonly Factor[], row: readonly number[]): string {
  return row.map((level, f) => `${factors[f].name} ${factors[f].levels[level].text}`).join(', ');
}

/** Level indices of every setting. */
function rowsOf(factors: readonly Factor[], design: Design): number[][] {
  switch (design.kind) {
    case 'full': return crossed(factors.map((f) => f.levels.length));
    case 'points': return design.points.map((p) => rowOfPoint(factors, p));
    case 'one-at-a-time': {
      const base = rowOfPoint(factors, design.baseline);
      const others = factors.flatMap((factor, f) =>
        factor.levels.flatMap((_, level) => (level === base[f] ? [] : [base.map((b, i) => (i === f ? level : b))])),
      );
      return [base, ...others];
    }
  }
}

function crossed(sizes: readonly number[]): number[][] {
  let rows: number[][] = [[]];
  for (const size of sizes) rows = rows.flatMap((row) => Array.from({ length: size }, (_, level) => [...row, level]));
  return rows;
}

function rowOfPoint(factors: readonly Factor[], point: Point): number[] {
  return factors.map((f) => f.levels.findIndex((l) => sameText(l.text, own(point, f.name))));
}

/** Spaces do not matter: `44kHz` and `44 kHz` are one level. */
export function sameText(a: string, b: string | undefined): boolean {
  return a.replace(/\s+/g, '') === b?.replace(/\s+/g, '');
}

function factorProblems(factors: readonly Factor[]): string[] {
  const problems: string[] = [];
  const names = new Set<string>();
  let settings = 1;
  for (const f of factors) {
    if (names.has(f.name)) problems.push(`Factor "${f.name}" is listed twice.`);
    names.add(f.name);
    if (f.levels.length === 0) problems.push(`Factor "${f.name}" has no levels; give at least one.`);
    settings *= Math.max(1, f.levels.length);
    f.levels.forEach((level, i) => {
      const twin = f.levels.findIndex((l) => sameText(l.text, level.text) || (l.value !== null && l.value === level.value));
      if (twin < i) problems.push(`Factor "${f.name}" has the level ${level.text} twice (also written ${f.levels[twin].text}).`);
    });
  }
  if (settings > MOST_SETTINGS) problems.push(`The factors cross to ${settings} settings; at most ${MOST_SETTINGS} can be planned. List points instead.`);
  return problems;
}

function pointProblems(factors: readonly Factor[], design: Design): string[] {
  if (design.kind === 'full') return [];
  const points = design.kind === 'points' ? design.points : [design.baseline];
  const problems = points.length === 0 ? ['The list of points is empty; give at least one.'] : [];
  points.forEach((point, i) => {
    const where = design.kind === 'points' ? `Point ${i + 1}` : 'The baseline';
    for (const [name, text] of Object.entries(point)) {
      const factor = factors.find((f) => f.name === name);
      if (factor === undefined) {
        problems.push(`${where} names the factor "${name}"; accepted: ${factors.map((f) => f.name).join(', ') || 'none'}.`);
      } else if (!factor.levels.some((l) => sameText(l.text, text))) {
        problems.push(`${where} puts ${name} at ${text}; accepted: ${factor.levels.map((l) => l.text).join(', ')}.`);
      }
    }
    for (const f of factors) if (own(point, f.name) === undefined) problems.push(`${where} says nothing about ${f.name}; every factor needs a level.`);
  });
  return problems;
}
