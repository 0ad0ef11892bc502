/**
 * thrust-curve: one sweep up and one down of the same slope. At equal throttle the rotor lags behind on the way up and is ahead
 * on the way down by the same amount, so the fit through both is free of lag; near the turning points, where that is not yet
 * so, the steady levels before and after take the place of the ramps.
 */
import { fitMonotone } from '../curves/monotone-fit';
import { lagFromRamps } from '../physics/filters';
import { fitThrustLaw } from '../physics/propeller';
import { between, channelOf, firstAt, withRole, type PlayedSegment, type RunData, type Series } from '../run-data';
import { absent, found, meanOf, plateauSpan, powerSeries, sampleAge, spoiledBy, zeroedThrust, type Maybe, type ThrustZero } from './common';
import { exact, metric, minus, noMetric, type Effects, type Reading, type RunMetric } from './reading';
import { instrumentsOf, type CurveQuantity, type RunCurve } from './run-curve';

/** Throttle between two points of the grid. */
const STEP = 0.02;
/** Nothing of a ramp counts this near to its ends, in throttle, nor within this many lags of them. */
const EDGE = 0.03;
const EDGE_LAGS = 4;
/** How many cells a steady level weighs in the fit. */
const ANCHOR_WEIGHT = 2;
/** Part of the low level before the sweep that has settled. */
const LOW_SETTLED = 0.5;

type Cells = { readonly x: number[]; readonly y: number[]; readonly cell: number[] };
type Ramp = { readonly segment: PlayedSegment; readonly from: number; readonly to: number };
type Sweep = { readonly low: PlayedSegment | null; readonly up: Ramp; readonly plateau: PlayedSegment; readonly down: Ramp; readonly rate: number };

/** The curve of a sweep with its metrics. */
export type SweepResult = { readonly curve: RunCurve | null; readonly metrics: RunMetric[] };

/** Fits the sweep of a run. */
export function sweepCurve(data: RunData, zero: ThrustZero): SweepResult {
  const sweep = sweepOf(data);
  if (!sweep.ok) return { curve: null, metrics: lagMetrics(sweep.reason) };
  const s = sweep.value;
  const series = seriesOf(data, zero);
  const speedLag = series.speed_rpm === null ? null : lagOf(series.speed_rpm, s);
  const edge = Math.max(EDGE, EDGE_LAGS * Math.abs(speedLag ?? 0) * s.rate);
  const throttle = gridOf(s.up.from, s.up.to);
  const flags = [...zero.flags, ...(data.desyncs.length > 0 ? ['samples around desyncs are left out of the curve'] : [])];
  const values: Record<CurveQuantity, number[] | null> = { thrust_N: null, speed_rpm: null, current_A: null, power_W: null };
  const scatter: Record<CurveQuantity, number | null> = { thrust_N: null, speed_rpm: null, current_A: null, power_W: null };
  for (const quantity of Object.keys(values) as CurveQuantity[]) {
    const one = series[quantity];
    if (one === null) continue;
    const fit = fitBoth(one, s, edge);
    if (!fit.ok) {
      flags.push(`${quantity}: ${fit.reason}`);
      continue;
    }
    values[quantity] = throttle.map((x) => fit.value.at(x));
    scatter[quantity] = fit.value.rmsOfCells / Math.sqrt(fit.value.cells / 4);
  }
  const voltage = channelOf(data, 'voltage');
  const volts = voltage === null ? null : between(voltage, s.up.segment.start_s, s.down.segment.end_s).value;
  const curve: RunCurve = {
    source: 'sweep', throttle, values, scatter, instruments: instrumentsOf(data, zero), voltage_V: volts === null || volts.length === 0 ? null : meanOf(volts).mean, flags,
  };
  const speed = channelOf(data, 'speed');
  const rotorLag = speedLag === null || speed === null ? null : minus(exact(speedLag), sampleAge(speed));
  return { curve, metrics: [...lagMetrics(null, rotorLag, series.thrust_N === null ? null : hysteresisOf(series.thrust_N, s, edge)), exponentMetric(series, s, edge, Math.abs(zero.drift_N ?? 0) / 2)] };
}

function sweepOf(data: RunData): Maybe<Sweep> {
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

function seriesOf(data: RunData, zero: ThrustZero): Record<CurveQuantity, Series | null> {
  const calm = (series: Series | null): Series | null => (series === null ? null : withoutDesyncs(data, series));
  return {
    thrust_N: calm(zeroedThrust(data, zero)), speed_rpm: calm(channelOf(data, 'speed')), current_A: calm(channelOf(data, 'current')),
    power_W: calm(powerSeries(data, { from_s: 0, to_s: data.duration_s + 1 })),
  };
}

/** The samples that no desync has touched. */
function withoutDesyncs(data: RunData, series: Series): Series {
  if (data.desyncs.length === 0) return series;
  const { t_s, value } = series;
  const keep = new Uint8Array(t_s.length).fill(1);
  for (const d of data.desyncs) {
    const spoiled = spoiledBy(d);
    keep.fill(0, firstAt(t_s, spoiled.from_s), firstAt(t_s, spoiled.to_s));
  }
  return { t_s: t_s.filter((_, i) => keep[i] === 1), value: value.filter((_, i) => keep[i] === 1) };
}

function gridOf(from: number, to: number): number[] {
  const n = Math.max(4, Math.round((to - from) / STEP));
  return Array.from({ length: n + 1 }, (_, i) => from + ((to - from) * i) / n);
}

/** Means over cells of throttle along a ramp: where the samples lie, and what they show. */
function cellsOf(series: Series, { segment, from, to }: Ramp): Cells {
  const part = between(series, segment.start_s, segment.end_s);
  const perSecond = (to - from) / (segment.end_s - segment.start_s);
  const low = Math.min(from, to);
  const n = Math.max(4, Math.round(Math.abs(to - from) / STEP));
  const perCell = n / Math.abs(to - from);
  const sumX = new Float64Array(n);
  const sumY = new Float64Array(n);
  const count = new Float64Array(n);
  for (let i = 0; i < part.value.length; i++) {
    const x = from + perSecond * (part.t_s[i] - segment.start_s);
    const cell = Math.min(n - 1, Math.max(0, Math.floor((x - low) * perCell)));
    sumX[cell] += x;
    sumY[cell] += part.value[i];
    count[cell]++;
  }
  const used = Array.from(count.keys()).filter((c) => count[c] > 0);
  return { x: used.map((c) => sumX[c] / count[c]), y: used.map((c) => sumY[c] / count[c]), cell: used };
}

function inside({ x, y, cell }: Cells, s: Sweep, edge: number): Cells {
  const keep = x.map((v) => v > s.up.from + edge && v < s.up.to - edge);
  return { x: x.filter((_, i) => keep[i]), y: y.filter((_, i) => keep[i]), cell: cell.filter((_, i) => keep[i]) };
}

/** Only cells that the other ramp has too: a cell of one ramp alone would bring its lag into the fit. */
function shared(mine: Cells, other: Cells): Cells {
  const keep = mine.cell.map((c) => other.cell.includes(c));
  return { x: mine.x.filter((_, i) => keep[i]), y: mine.y.filter((_, i) => keep[i]), cell: mine.cell.filter((_, i) => keep[i]) };
}

function fitBoth(series: Series, s: Sweep, edge: number) {
  const up = inside(cellsOf(series, s.up), s, edge);
  const down = inside(cellsOf(series, s.down), s, edge);
  // Cell by cell the mean of both ramps: their lags cancel there already, and the fit has half the points.
  const [a, b] = [shared(up, down), shared(down, up)];
  const x = a.x.map((v, i) => (v + b.x[i]) / 2);
  const y = a.y.map((v, i) => (v + b.y[i]) / 2);
  const anchor = (at: number, from_s: number, to_s: number): void => {
    const part = between(series, from_s, to_s).value;
    if (part.length === 0) return;
    const { mean } = meanOf(part);
    for (let i = 0; i < ANCHOR_WEIGHT; i++) { x.push(at); y.push(mean); }
  };
  if (s.low !== null) anchor(s.up.from, s.low.end_s - LOW_SETTLED * (s.low.end_s - s.low.start_s), s.low.end_s);
  const plateau = plateauSpan(s.plateau);
  if (plateau.ok) anchor(s.up.to, plateau.value.from_s, plateau.value.to_s);
  const fit = fitMonotone(x, y, { intervals: 12 });
  return fit.ok ? found(fit) : fit;
}

/** Input at which a rising chain of cells passes each level, by straight lines between cells; null where it does not. */
function crossings({ x, y }: Cells, levels: readonly number[]): (number | null)[] {
  return levels.map((level) => {
    for (let i = 1; i < x.length; i++) {
      if (y[i - 1] < level && y[i] >= level) return x[i - 1] + ((level - y[i - 1]) / (y[i] - y[i - 1])) * (x[i] - x[i - 1]);
    }
    return null;
  });
}

/** Lag between a signal and the throttle, s, from up and down ramp over the middle of the signal's range. */
function lagOf(series: Series, s: Sweep): number | null {
  const up = cellsOf(series, s.up);
  const down = cellsOf(series, s.down);
  const low = Math.max(Math.min(...up.y), Math.min(...down.y));
  const high = Math.min(Math.max(...up.y), Math.max(...down.y));
  const levels = Array.from({ length: 25 }, (_, i) => low + (high - low) * (0.2 + (0.6 * i) / 24));
  const a = crossings(up, levels);
  const b = crossings(down, levels);
  const both = levels.flatMap((_, i) => (a[i] === null || b[i] === null ? [] : [[a[i], b[i]] as [number, number]]));
  return both.length === 0 ? null : lagFromRamps(both.map(([v]) => v), both.map(([, v]) => v), s.rate);
}

/** On straight lines between cells; null outside them. Samples of two channels do not lie at the same throttles. */
function lineAt({ x, y }: Cells, at: number): number | null {
  for (let i = 1; i < x.length; i++) if (x[i - 1] <= at && at <= x[i]) return y[i - 1] + ((at - x[i - 1]) / (x[i] - x[i - 1])) * (y[i] - y[i - 1]);
  return null;
}

/** Largest difference between down and up once each is shifted by the signal's own lag, as a share of the top. */
function hysteresisOf(series: Series, s: Sweep, edge: number): number | null {
  const lag = lagOf(series, s);
  if (lag === null) return null;
  const shift = lag * s.rate;
  const up = inside(cellsOf(series, s.up), s, edge);
  const down = inside(cellsOf(series, s.down), s, edge);
  const at = (c: Cells, by: number, x: number): number | null => {
    for (let i = 1; i < c.x.length; i++) {
      const a = c.x[i - 1] + by;
      const b = c.x[i] + by;
      if (a <= x && x <= b) return c.y[i - 1] + ((x - a) / (b - a)) * (c.y[i] - c.y[i - 1]);
    }
    return null;
  };
  let most: number | null = null;
  for (const x of gridOf(s.up.from, s.up.to)) {
    const a = at(up, -shift, x);
    const b = at(down, shift, x);
    if (a !== null && b !== null) most = Math.max(most ?? 0, Math.abs(b - a));
  }
  const top = Math.max(...up.y, ...down.y);
  return most === null || !(top > 0) ? null : most / top;
}

function lagMetrics(reason: string | null, lag: Reading | null = null, left: number | null = null): RunMetric[] {
  return [
    lag === null ? noMetric('ramp_lag_s', reason ?? 'the ramps share no speed at which they could be compared') : metric('ramp_lag_s', lag, 'half the distance of the ramps at equal speed over their rate, mean of 25 speeds; half a sample period taken off'),
    left === null ? noMetric('curve_hysteresis', reason ?? 'thrust was not measured on both ramps') : metric('curve_hysteresis', exact(left), 'largest difference of the ramps once both are shifted by the lag of thrust'),
  ];
}

/** @param zero_N how far the zero of the load cell is from returning: half of its change over the run */
function exponentMetric(series: Record<CurveQuantity, Series | null>, s: Sweep, edge: number, zero_N: number): RunMetric {
  const name = 'thrust_exponent';
  if (series.thrust_N === null || series.speed_rpm === null) return noMetric(name, 'it needs thrust and speed');
  const speeds: number[] = [];
  const thrusts: number[] = [];
  for (const ramp of [s.up, s.down]) {
    const thrust = inside(cellsOf(series.thrust_N, ramp), s, edge);
    const speed = inside(cellsOf(series.speed_rpm, ramp), s, edge);
    const least = 0.2 * Math.max(...thrust.y);
    thrust.x.forEach((x, i) => {
      const rpm = lineAt(speed, x);
      if (rpm !== null && thrust.y[i] >= least && rpm > 0) { speeds.push(rpm); thrusts.push(thrust.y[i]); }
    });
  }
  const law = fitThrustLaw(speeds, thrusts);
  const moved = fitThrustLaw(speeds, thrusts.map((t) => t + zero_N));
  const effects: Effects = law.ok && moved.ok && zero_N > 0 ? { thrust_zero: moved.exponent - law.exponent } : {};
  return law.ok ? metric(name, { value: law.exponent, within: law.uExponent, effects }, `log–log line through ${speeds.length} cells; ${law.text}`, law.square === 'holds' ? [] : [law.text]) : noMetric(name, law.reason);
}
