/**
 * thrust-curve: one sweep up and one down of the same slope. At equal throttle the rotor lags behind on the way up and is ahead
 * on the way down by the same amount, so the fit through both is free of lag; near the turning points, where that is not yet
 * so, the steady levels before and after take the place of the ramps.
 */
import { fitMonotone } from '../curves/monotone-fit';
import { fitLawAboveZero } from '../physics/thrust-law';
import { between, channelOf, type RunData, type Series } from '../run-data';
import { meanOf, plateauSpan, powerSeries, sampleAge, zeroedThrust, found, type ThrustZero } from './common';
import { metric, minus, noMetric, type Reading, type RunMetric } from './reading';
import { instrumentsOf, type CurveQuantity, type RunCurve } from './run-curve';
import { bothRamps, cellsOf, inside, sweepOf, withoutDesyncs, type Cells, type Sweep } from './sweep';
import { lagOf, lagReading, lineAt, settled, thrustTilt, type Tilt } from './sweep-lag';

/** Throttle between two points of the grid. */
const STEP = 0.02;
/** Throttle between two points that are kept for reading the curve at one place. */
const FINE = 0.01;
/** Nothing of a ramp counts this near to its ends, in throttle, nor within this many lags of them. */
const EDGE = 0.03;
const EDGE_LAGS = 4;
/** How many cells a steady level weighs in the fit. */
const ANCHOR_WEIGHT = 2;

/** The curve of a sweep with its metrics. */
export type SweepResult = { readonly curve: RunCurve | null; readonly metrics: RunMetric[] };

/** Fits the sweep of a run. */
export function sweepCurve(data: RunData, zero: ThrustZero): SweepResult {
  const sweep = sweepOf(data);
  if (!sweep.ok) return { curve: null, metrics: lagMetrics(sweep.reason) };
  const s = sweep.value;
  const series = seriesOf(data, zero);
  const speed = channelOf(data, 'speed');
  const lag = speed === null || series.speed_rpm === null ? null : lagReading(speed, series.speed_rpm, s);
  const edge = Math.max(EDGE, EDGE_LAGS * Math.abs(lag?.value ?? 0) * s.rate);
  const throttle = gridOf(s.up.from, s.up.to);
  const flags = [...zero.flags, ...(data.desyncs.length > 0 ? ['samples around desyncs are left out of the curve'] : [])];
  const values: Record<CurveQuantity, number[] | null> = { thrust_N: null, speed_rpm: null, current_A: null, power_W: null };
  const scatter: Record<CurveQuantity, number | null> = { thrust_N: null, speed_rpm: null, current_A: null, power_W: null };
  const fine: Record<CurveQuantity, { x: number[]; y: number[] } | null> = { thrust_N: null, speed_rpm: null, current_A: null, power_W: null };
  const apart: Record<CurveQuantity, { x: number[]; y: number[] } | null> = { thrust_N: null, speed_rpm: null, current_A: null, power_W: null };
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
    const { x, mean, half } = bothRamps(one, s, FINE, edge);
    fine[quantity] = { x, y: mean };
    apart[quantity] = { x, y: half };
  }
  const voltage = channelOf(data, 'voltage');
  const volts = voltage === null ? null : between(voltage, s.up.segment.start_s, s.down.segment.end_s).value;
  const curve: RunCurve = {
    source: 'sweep', throttle, values, scatter, fine, apart, instruments: instrumentsOf(data, zero), voltage_V: volts === null || volts.length === 0 ? null : meanOf(volts).mean, flags,
  };
  const rotorLag = lag === null || speed === null ? null : minus(lag, sampleAge(speed));
  return { curve, metrics: [...lagMetrics(null, rotorLag, thrustTilt(series.thrust_N, speed === null || series.speed_rpm === null ? null : { channel: speed, series: series.speed_rpm }, s)), exponentMetric(series, lag?.value ?? 0, s, edge)] };
}

function seriesOf(data: RunData, zero: ThrustZero): Record<CurveQuantity, Series | null> {
  const calm = (series: Series | null): Series | null => (series === null ? null : withoutDesyncs(data, series));
  return {
    thrust_N: calm(zeroedThrust(data, zero)), speed_rpm: calm(channelOf(data, 'speed')), current_A: calm(channelOf(data, 'current')),
    power_W: calm(powerSeries(data, { from_s: 0, to_s: data.duration_s + 1 })),
  };
}

function gridOf(from: number, to: number): number[] {
  const n = Math.max(4, Math.round((to - from) / STEP));
  return Array.from({ length: n + 1 }, (_, i) => from + ((to - from) * i) / n);
}

function fitBoth(series: Series, s: Sweep, edge: number) {
  const { x, mean: y } = bothRamps(series, s, STEP, edge);
  const anchor = (at: number, from_s: number, to_s: number): void => {
    const part = between(series, from_s, to_s).value;
    if (part.length === 0) return;
    const level = meanOf(part).mean;
    for (let i = 0; i < ANCHOR_WEIGHT; i++) { x.push(at); y.push(level); }
  };
  if (s.low !== null) anchor(s.up.from, ...settled(s.low));
  const plateau = plateauSpan(s.plateau);
  if (plateau.ok) anchor(s.up.to, plateau.value.from_s, plateau.value.to_s);
  const fit = fitMonotone(x, y, { intervals: 12 });
  return fit.ok ? found(fit) : fit;
}

function lagMetrics(reason: string | null, lag: Reading | null = null, tilt: Tilt | null = null): RunMetric[] {
  return [
    lag === null ? noMetric('ramp_lag_s', reason ?? 'the ramps share no speed at which they could be compared')
      : metric('ramp_lag_s', lag, 'half the distance of the ramps at equal speed over their rate, mean over speeds from 20 to 80 % between low level and plateau; half a sample period taken off'),
    tilt === null ? noMetric('curve_hysteresis', reason ?? 'neither thrust nor speed was measured on both ramps')
      : metric('curve_hysteresis', tilt.reading, 'straight line through down less up over the middle 80 % of throttle, once both are shifted by their lag; of the square of speed, of thrust where speed is not measured', tilt.flags),
  ];
}

/**
 * The exponent does not rest on the zero of the load cell: a cell that comes back to another zero would bend it. Lag would bend it
 * too, and can be taken out in two ways that leave errors of opposite sign: thrust and speed at the same time, ramp by ramp; or both
 * where the throttle was a lag ago, and the mean of the ramps. The value is midway, and half of what they differ by is a bound.
 */
function exponentMetric(series: Record<CurveQuantity, Series | null>, speedLag: number, s: Sweep, edge: number): RunMetric {
  const name = 'thrust_exponent';
  if (series.thrust_N === null || series.speed_rpm === null) return noMetric(name, 'it needs thrust and speed');
  const [thrust, speed] = [series.thrust_N, series.speed_rpm];
  const thrustLag = lagOf(thrust, s) ?? 0;
  const atOnce = [s.up, s.down].flatMap((ramp) => {
    const [t, n] = [cellsOf(thrust, ramp, FINE, thrustLag - speedLag), cellsOf(speed, ramp, FINE)].map((cells) => inside(cells, s.up.from + edge, s.up.to - edge));
    return pairs(t, n);
  });
  const [steadyThrust, steadySpeed] = [bothRamps(thrust, s, FINE, edge, thrustLag), bothRamps(speed, s, FINE, edge, speedLag)];
  const steady = pairs({ x: steadyThrust.x, y: steadyThrust.mean }, { x: steadySpeed.x, y: steadySpeed.mean });
  const [a, b] = [atOnce, steady].map((points) => fitLawAboveZero(points.map((p) => p.rpm), points.map((p) => p.thrust_N)));
  if (!a.ok) return noMetric(name, a.reason);
  if (!b.ok) return noMetric(name, b.reason);
  const effects = { thrust_resolution_ramps: (a.exponent - b.exponent) / 2 / Math.sqrt(3) };
  return metric(name, { value: (a.exponent + b.exponent) / 2, within: a.uExponent, effects }, `zero + k·rpm^exponent through ${atOnce.length} cells, the zero of the load cell fitted too; ${a.text}`, a.square === 'holds' ? [] : [a.text]);
}

type XY = Pick<Cells, 'x' | 'y'>;

/** Thrust of cells with the speed on a line between cells at the same throttle. */
const pairs = (thrust: XY, speed: XY): { rpm: number; thrust_N: number }[] => thrust.x.flatMap((x, i) => {
  const rpm = lineAt(speed, x);
  return rpm !== null && rpm > 0 ? [{ rpm, thrust_N: thrust.y[i] }] : [];
});
