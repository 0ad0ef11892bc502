// The throttle profile of a protocol, drawn in characters.
import { formatQuantity } from '../units';
import type { Segment } from '../model/segment';
import type { ProfilePoint, Walk } from './walk';

export interface DrawOptions {
  /** Width of the whole drawing in characters, at least 30. */
  readonly width?: number;
  /** Rows of the plot itself, odd and at least 3 so that 50 % has a row of its own; rounded up. */
  readonly height?: number;
  /** Only characters that every terminal has. */
  readonly ascii?: boolean;
}

interface Ink {
  readonly dotsX: number;
  readonly dotsY: number;
  readonly axis: string;
  readonly tick: string;
  readonly wall: string;
  readonly mark: string;
  readonly corner: string;
  readonly shade: string;
  /** The character for the dots that are set, bit = x + y · dotsX from the top left. */
  cell(bits: number): string;
}

// Braille cells hold 2 × 4 dots; Unicode numbers them 1-2-3-7 down the left and 4-5-6-8 down the right (Unicode, block 2800).
const BRAILLE_BIT = [0x01, 0x08, 0x02, 0x10, 0x04, 0x20, 0x40, 0x80];
const FINE: Ink = {
  dotsX: 2, dotsY: 4, axis: '─', tick: '┴', wall: '│', mark: '┤', corner: '└', shade: '░',
  cell: (bits) => (bits === 0 ? ' ' : String.fromCharCode(0x2800 + BRAILLE_BIT.reduce((sum, bit, i) => sum + ((bits >> i) & 1 ? bit : 0), 0))),
};
const PLAIN: Ink = { dotsX: 1, dotsY: 1, axis: '-', tick: '+', wall: '|', mark: '+', corner: '+', shade: '.', cell: (bits) => (bits === 0 ? ' ' : '*') };

const LABEL_WIDTH = 6;

/**
 * Throttle from 0 % to 100 % over time, one line a row, no trailing newline. Closed loops, whose throttle nobody knows
 * beforehand, are shaded and named underneath.
 */
export function draw(walked: Walk, options: DrawOptions = {}): string {
  const ink = options.ascii === true ? PLAIN : FINE;
  const columns = Math.max(30, options.width ?? 80) - LABEL_WIDTH - 1;
  const rows = 2 * Math.max(1, Math.floor((options.height ?? 9) / 2)) + 1;
  const dots = dotColumns(walked.points, walked.duration_s, columns * ink.dotsX, rows * ink.dotsY);
  const labelled = new Map([[0, '100 %'], [(rows - 1) / 2, '50 %'], [rows - 1, '0 %']]);
  const lines = Array.from({ length: rows }, (_, row) => {
    const label = labelled.get(row) ?? '';
    return `${label.padStart(LABEL_WIDTH - 1)} ${label === '' ? ink.wall : ink.mark}${plotRow(dots, row, rows, columns, ink)}`.trimEnd();
  });
  lines.push(...timeAxis(walked.duration_s, columns, ink));
  const holds = closedLoops(walked.segments.map((w) => w.segment));
  if (holds !== '') lines.push(`${' '.repeat(LABEL_WIDTH + 1)}${ink.shade} closed loop: ${holds}`);
  return lines.join('\n');
}

/** For each dot column the lowest and highest dot (0 at the bottom) that the line passes, or null inside a closed loop. */
type DotColumn = { readonly low: number; readonly high: number } | null;

function dotColumns(points: readonly ProfilePoint[], duration_s: number, wide: number, high: number): DotColumn[] {
  const step = duration_s / wide;
  const dot = (throttle: number): number => Math.round(Math.min(1, Math.max(0, throttle)) * (high - 1));
  let at = 0;
  return Array.from({ length: wide }, (_, x): DotColumn => {
    const from = x * step;
    const to = from + step;
    while (at + 1 < points.length && (points[at + 1]?.t_s ?? Infinity) <= from) at++;
    const seen: (number | null)[] = [];
    for (let i = at; i < points.length && (points[i]?.t_s ?? 0) <= to; i++) seen.push(...piece(points[i], points[i + 1], from, to));
    const values = seen.filter((v) => v !== null);
    if (values.length === 0) return null;
    return { low: dot(Math.min(...values)), high: dot(Math.max(...values)) };
  });
}

/** Throttles at the ends of the part of the line from a to b that lies within [from, to]. */
function piece(a: ProfilePoint | undefined, b: ProfilePoint | undefined, from: number, to: number): (number | null)[] {
  if (a === undefined || b === undefined) return [];
  if (a.throttle === null || b.throttle === null) return [null];
  const { throttle } = a;
  const slope = b.t_s > a.t_s ? (b.throttle - throttle) / (b.t_s - a.t_s) : 0;
  const value = (t: number): number => throttle + slope * (t - a.t_s);
  const start = Math.max(from, a.t_s);
  const end = Math.min(to, b.t_s);
  if (b.t_s === a.t_s) return start <= to && start >= from ? [throttle, b.throttle] : [];
  return end < start ? [] : [value(start), value(end)];
}

function plotRow(dots: readonly DotColumn[], row: number, rows: number, columns: number, ink: Ink): string {
  let line = '';
  for (let column = 0; column < columns; column++) {
    const own = dots.slice(column * ink.dotsX, (column + 1) * ink.dotsX);
    line += own.every((d) => d === null) ? ink.shade : ink.cell(bitsOf(own, (rows - 1 - row) * ink.dotsY, ink));
  }
  return line;
}

/** Dots of one cell whose lowest row of dots is `bottom` (counted from the bottom of the plot). */
function bitsOf(own: readonly DotColumn[], bottom: number, ink: Ink): number {
  let bits = 0;
  own.forEach((dots, x) => {
    if (dots === null) return;
    for (let y = 0; y < ink.dotsY; y++) {
      const height = bottom + ink.dotsY - 1 - y;
      if (height >= dots.low && height <= dots.high) bits |= 1 << (x + y * ink.dotsX);
    }
  });
  return bits;
}

/** Ticks at round times, with their labels centred under them. */
function timeAxis(duration_s: number, columns: number, ink: Ink): string[] {
  const step = roundStep(duration_s / Math.max(1, Math.floor(columns / 12)));
  const axis = Array.from({ length: columns }, () => ink.axis);
  const labels = Array.from({ length: columns + LABEL_WIDTH + 8 }, () => ' ');
  for (let n = 0; n * step <= duration_s * (1 + 1e-9); n++) {
    const column = Math.min(columns - 1, Math.round(((n * step) / duration_s) * (columns - 1)));
    axis[column] = ink.tick;
    const text = formatQuantity(n * step, 'time', { unit: step >= 60 ? 'min' : step < 0.1 ? 'ms' : 's' });
    const start = LABEL_WIDTH + 1 + Math.min(column - Math.floor(text.length / 2), columns - text.length);
    [...text].forEach((c, i) => (labels[start + i] = c));
  }
  return [`${' '.repeat(LABEL_WIDTH)}${ink.corner}${axis.join('')}`, labels.join('').trimEnd()];
}

/** The smallest of 1, 2, 5 times a power of ten (for minutes: 60 s times those) that is at least `least`. */
function roundStep(least: number): number {
  const unit = least > 30 ? 60 : 1;
  const power = 10 ** Math.floor(Math.log10(Math.max(1e-3, least / unit)));
  return unit * power * ([1, 2, 5].find((m) => m * power >= least / unit) ?? 10);
}

function closedLoops(segments: readonly Segment[]): string {
  const targets = segments.flatMap((s) => {
    if (s.kind === 'hold-current') return [formatQuantity(s.target_A, 'current')];
    if (s.kind === 'hold-power') return [formatQuantity(s.target_W, 'power')];
    return s.kind === 'hold-speed' ? [formatQuantity(s.target_rpm, 'speed')] : [];
  });
  const distinct = [...new Set(targets)];
  return distinct.length > 4 ? `${distinct.slice(0, 4).join(', ')} and ${distinct.length - 4} more` : distinct.join(', ');
}
