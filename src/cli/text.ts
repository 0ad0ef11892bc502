// Small pieces of terminal text. Pure strings; colour only where the caller's stream wants it.
import colours from 'picocolors';

export type Align = 'left' | 'right';

/** A plain table: header, rows, columns aligned. Empty cells stay empty. */
export function table(header: readonly string[], rows: readonly (readonly string[])[], align: readonly Align[]): string {
  const width = header.map((h, c) => Math.max(h.length, ...rows.map((r) => (r[c] ?? '').length)));
  const line = (cells: readonly string[]): string =>
    cells.map((cell, c) => (align[c] === 'right' ? cell.padStart(width[c]) : cell.padEnd(width[c]))).join('  ').trimEnd();
  return [colours.bold(line(header)), ...rows.map(line)].join('\n');
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
