// Small pieces of terminal text. Pure strings; colour only where the caller's stream wants it.
import colours from 'picocolors';
import type { LinkHealth } from '../model/events';

export type Align = 'left' | 'right';

/** A plain table: header, rows, columns aligned. Empty cells stay empty. */
export function table(header: readonly string[], rows: readonly (readonly string[])[], align: readonly Align[]): string {
  const width = header.map((h, c) => Math.max(h.length, ...rows.map((r) => (r[c] ?? '').length)));
  const line = (cells: readonly string[]): string =>
    cells.map((cell, c) => (align[c] === 'right' ? cell.padStart(width[c]) : cell.padEnd(width[c]))).join('  ').trimEnd();
  return [colours.bold(line(header)), ...rows.map(line)].join('\n');
}

/**
 * A table that is wider than the terminal, as several below each other: each begins with the first column.
 * @param width columns of the terminal
 */
export function tables(header: readonly string[], rows: readonly (readonly string[])[], align: readonly Align[], width: number): string {
  const wide = header.map((h, c) => Math.max(h.length, ...rows.map((r) => (r[c] ?? '').length)));
  const groups: number[][] = [[0]];
  let used = wide[0];
  for (let c = 1; c < header.length; c++) {
    if (used + 2 + wide[c] > width && groups[groups.length - 1].length > 1) {
      groups.push([0]);
      used = wide[0];
    }
    groups[groups.length - 1].push(c);
    used += 2 + wide[c];
  }
  const pick = (columns: readonly number[], cells: readonly string[]): string[] => columns.map((c) => cells[c] ?? '');
  return groups.map((g) => table(pick(g, header), rows.map((r) => pick(g, r)), g.map((c) => align[c]))).join('\n\n');
}

/** What went wrong on the link to a board, counted. */
export const healthText = (h: LinkHealth): string => `${h.bad_frames} damaged, ${h.missing_frames} missing, ${h.doubled_frames ?? 0} doubled, ${h.resent_commands} sent again`;

// eslint-disable-next-line no-control-regex -- the escape character is what is looked for
const COLOUR = /\u001b\[[0-9;]*m/g;

/** Columns that a text takes on a terminal: colours take none. */
export function columnsOf(text: string): number {
  return text.replace(COLOUR, '').length;
}

/** Breaks a line between words so that it fits; later lines are indented by `indent`. A longer word keeps its own line. */
export function wrap(text: string, width: number, indent: string): string {
  const lines: string[] = [];
  let line = /^ */.exec(text)?.[0] ?? '';
  let empty = true;
  for (const word of text.trimStart().split(' ')) {
    if (!empty && columnsOf(line) + 1 + columnsOf(word) > width) {
      lines.push(line);
      line = indent;
      empty = true;
    }
    line += empty ? word : ` ${word}`;
    empty = false;
  }
  return [...lines, line].join('\n');
}

/** The first of some texts, from rich to lean, that fits; else the last one, cut. */
export function fitting(texts: readonly string[], width: number): string {
  return texts.find((t) => t.length <= width) ?? texts[texts.length - 1].slice(0, width);
}

/** `1 h 04 min`, `3 min 20 s`, `12 s`. */
export function duration(seconds: number): string {
  const s = Math.max(0, Math.round(seconds));
  if (s >= 3600) return `${Math.floor(s / 3600)} h ${String(Math.floor((s % 3600) / 60)).padStart(2, '0')} min`;
  if (s >= 60) return `${Math.floor(s / 60)} min ${String(s % 60).padStart(2, '0')} s`;
  return `${s} s`;
}

/** `312 B`, `4.1 kB`, `18 MB`. */
export function size(bytes: number): string {
  const units = ['B', 'kB', 'MB', 'GB', 'TB'];
  let value = bytes;
  let unit = 0;
  while (value >= 1000 && unit < units.length - 1) {
    value /= 1000;
    unit++;
  }
  return `${value >= 100 || unit === 0 ? value.toFixed(0) : value.toPrecision(2)} ${units[unit]}`;
}

/** Marks output of the simulated rig so that nobody takes it for a measurement. */
export function simulatedBadge(): string {
  return colours.inverse(' SIMULATED ');
}
