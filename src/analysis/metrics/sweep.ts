/** The parts of a sweep, and its samples over throttle. */
import { between, firstAt, withRole, type PlayedSegment, type RunData, type Series } from '../run-data';
import { absent, found, spoiledBy, type Maybe } from './common';

/** Means over cells of throttle: where the samples lie, and what they show. `cell` counts from the low end. */
export type Cells = { readonly x: number[]; readonly y: number[]; readonly cell: number[] };
/** A ramp between two throttles. */
export type Ramp = { readonly segment: PlayedSegment; readonly from: number; readonly to: number };
/** A sweep; `rate` is the throttle per second of both ramps. */
export type Sweep = { readonly low: PlayedSegment | null; readonly up: Ramp; readonly plateau: PlayedSegment; readonly down: Ramp; readonly rate: number };

/** The last sweep of a run, or why it has none. */
export function sweepOf(data: RunData): Maybe<Sweep> {
  const up = withRole(data, 'ramp-up').at(-1);
  const plateau = withRole(data, 'plateau').at(-1);
  const down = withRole(data, 'ramp-down').find((d) => plateau !== undefined && d.start_s >= plateau.start_s);
  if (up === undefined || plateau === undefined || down === undefined) return absent('the run has no sweep up and down with a plateau between them');
  if (up.segment.kind !== 'ramp' || down.segment.kind !== 'ramp' || plateau.segment.kind !== 'level') return absent('the sweep is not made of ramps and a level');
  if ([up, plateau, down].some((p) => p.ended !== 'time')) return absent('the sweep was not played to its end');
  const low = withRole(data, 'low').find((l) => l.start_s < up.start_s) ?? null;
  const from = low?.segment.kind === 'level' ? low.segment.throttle : between(data.throttle, up.start_s, up.end_s).value[0] ?? 0;
  const top = up.segment.to;
  const rate = (top - from) / up.segment.duration_s;
  const back = (top - down.segment.to) / down.segment.duration_s;
  if (!(rate > 0 && Math.abs(back / rate - 1) < 0.01)) return absent('up and down ramp differ in slope, so the lag does not cancel');
  return found({ low, plateau, rate, up: { segment: up, from, to: top }, down: { segment: down, from: top, to: down.segment.to } });
}

/** Means over cells of about `step` of throttle along a ramp; of the signal as it was `late_s` later, when it is told. */
export function cellsOf(series: Series, { segment, from, to }: Ramp, step: number, late_s = 0): Cells {
  const { start_s, end_s } = segment;
  const { t_s, value } = between(series, start_s + late_s, end_s + late_s);
  const perSecond = (to - from) / (end_s - start_s);
  const n = Math.max(4, Math.round(Math.abs(to - from) / step));
  // Cells count from the low end: along a ramp down from the last one on.
  const cellsPerSecond = (n / Math.abs(to - from)) * perSecond;
  const first = perSecond > 0 ? 0 : n;
  const sumT = new Float64Array(n);
  const sumY = new Float64Array(n);
  const count = new Float64Array(n);
  const begin_s = start_s + late_s;
  for (let i = 0; i < value.length; i++) {
    const t = t_s[i] - begin_s;
    const place = Math.floor(first + cellsPerSecond * t);
    const cell = place < 0 ? 0 : place < n ? place : n - 1;
    sumT[cell] += t;
    sumY[cell] += value[i];
    count[cell]++;
  }
  const [x, y, cell]: number[][] = [[], [], []];
  for (let c = 0; c < n; c++) {
    if (count[c] === 0) continue;
    x.push(from + (perSecond * sumT[c]) / count[c]);
    y.push(sumY[c] / count[c]);
    cell.push(c);
  }
  return { x, y, cell };
}

/** The cells between two throttles. */
export function inside({ x, y, cell }: Cells, from: number, to: number): Cells {
  const keep = x.map((v) => v > from && v < to);
  return { x: x.filter((_, i) => keep[i]), y: y.filter((_, i) => keep[i]), cell: cell.filter((_, i) => keep[i]) };
}

/** Only cells that the other ramp has too: a cell of one ramp alone would bring its lag into a mean of both. */
function shared(mine: Cells, other: Cells): Cells {
  const has = new Set(other.cell);
  const keep = mine.cell.map((c) => has.has(c));
  return { x: mine.x.filter((_, i) => keep[i]), y: mine.y.filter((_, i) => keep[i]), cell: mine.cell.filter((_, i) => keep[i]) };
}

/** Both ramps cell by cell: their mean, in which their lags cancel, and half of what they differ by, up less down, which is what lag does to either. */
export type BothRamps = { readonly x: number[]; readonly mean: number[]; readonly half: number[] };

/** The ramps on common cells, of the signal as it was `late_s` later. Nothing of a ramp counts within `edge` of its ends. */
export function bothRamps(series: Series, s: Sweep, step: number, edge: number, late_s = 0): BothRamps {
  const [up, down] = [s.up, s.down].map((ramp) => inside(cellsOf(series, ramp, step, late_s), s.up.from + edge, s.up.to - edge));
  const [a, b] = [shared(up, down), shared(down, up)];
  return { x: a.x.map((v, i) => (v + b.x[i]) / 2), mean: a.y.map((v, i) => (v + b.y[i]) / 2), half: a.y.map((v, i) => (v - b.y[i]) / 2) };
}

/** The samples that no desync has touched. */
export function withoutDesyncs(data: RunData, series: Series): Series {
  if (data.desyncs.length === 0) return series;
  const { t_s, value } = series;
  const keptTimes = new Float64Array(t_s.length);
  const keptValues = new Float64Array(t_s.length);
  let kept = 0;
  const keep = (from: number, to: number): void => {
    if (to <= from) return;
    keptTimes.set(t_s.subarray(from, to), kept);
    keptValues.set(value.subarray(from, to), kept);
    kept += to - from;
  };
  let next = 0;
  for (const { from_s, to_s } of data.desyncs.map(spoiledBy).sort((a, b) => a.from_s - b.from_s)) {
    keep(next, firstAt(t_s, from_s));
    next = Math.max(next, firstAt(t_s, to_s));
  }
  keep(next, t_s.length);
  return { t_s: keptTimes.subarray(0, kept), value: keptValues.subarray(0, kept) };
}
