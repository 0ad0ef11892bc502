/** efficiency-hold: what one gets at exactly the held current, power or speed. */
import { fitLine } from '../stats/linefit';
import { between, channelOf, withRole, type PlayedSegment, type RunData } from '../run-data';
import type { MetricName } from './catalogue';
import { desyncIn, electrical, meanOf, meanReading, thrustReading, thrustZero, type Electrical, type Span } from './common';
import { derived, exact, metric, noMetric, over, type Reading, type RunMetric } from './reading';
import { CUBE, holdThrottle, type Target } from './hold-throttle';
import { resolutionInSteps } from './resolution';
import { stepNear } from './coarse';
import { leftOfSteps } from './noise-over-steps';

const NAMES = [
  'hold_rpm', 'hold_thrust_N', 'hold_power_W', 'hold_current_A', 'hold_efficacy_N_per_W', 'hold_throttle', 'hold_correction', 'hold_drift_per_s',
] as const satisfies readonly MetricName[];

/** A correction above this is no longer local; it is flagged. */
const LARGE_CORRECTION = 0.02;

/** Metrics of an efficiency-hold run. */
export function holdMetrics(data: RunData): RunMetric[] {
  const none = (reason: string): RunMetric[] => NAMES.map((n) => noMetric(n, reason));
  const played = withRole(data, 'hold').at(-1);
  if (played === undefined) return none('the run has no hold');
  if (played.ended !== 'time') return none('the hold did not run to its end');
  const target = targetOf(played);
  if (target === null) return none('the hold has no target');
  const length = played.end_s - played.start_s;
  const used = Math.min(played.segment.tags?.use_last_s ?? (2 / 3) * length, length);
  const span = { from_s: played.end_s - used, to_s: played.end_s };
  const spoiled = desyncIn(data, span);
  if (spoiled !== null) return none(spoiled);
  const power = electrical(data, span);
  const speed = meanReading(data, 'speed', span);
  if (!power.ok) return none(power.reason);
  if (!speed.ok) return none(speed.reason);
  const zero = thrustZero(data);
  const thrust = thrustReading(data, zero, span);

  const held = target.kind === 'speed' ? speed.value : power.value[target.kind];
  if (!(held.value > 0 && speed.value.value > 0)) return none(`the ${target.kind} held was ${held.value}; nothing can be said at the target of ${target.value}`);
  const exponent = speedExponent(data, played, power.value, speed.value, target);
  const correction = target.value / held.value - 1;
  const flags = Math.abs(correction) > LARGE_CORRECTION ? [`the ${target.kind} held lies ${(100 * -correction).toFixed(1)} % off its target; the correction is not small`] : [];
  const method = `mean of the last ${used.toFixed(1)} s, corrected from the ${target.kind} held to exactly the target (${(100 * correction).toFixed(3)} %)`;

  /** A figure that goes with the `power`-th power of speed, at exactly the target. */
  const corrected = (reading: Reading, ofSpeed: number): Reading => {
    const e = ofSpeed * exponent.value;
    const factor = (target.value / held.value) ** e;
    const value = reading.value * factor;
    const byExponent: Reading = { value: exponent.value, within: 0, effects: { hold_exponent: exponent.u } };
    return derived(value, [[reading, factor], [held, (-e * value) / held.value], [byExponent, ofSpeed * value * Math.log(target.value / held.value)]]);
  };
  const powerSpeed = target.kind === 'speed' ? 1 / exponent.ofPower : 1 / exponent.value;
  // What is held is exact by definition: how well it was known has moved into everything that is corrected to it.
  const watts = target.kind === 'power' ? exact(target.value) : corrected(power.value.power, powerSpeed);
  const amps = target.kind === 'current' ? exact(target.value) : corrected(power.value.current, powerSpeed);
  const force = thrust.ok ? corrected(thrust.value, 2) : null;
  const thrustFlags = [...flags, ...zero.flags];
  return [
    metric('hold_rpm', target.kind === 'speed' ? exact(target.value) : corrected(speed.value, 1), method, flags),
    force === null ? noMetric('hold_thrust_N', thrust.ok ? 'none' : thrust.reason) : metric('hold_thrust_N', force, method, thrustFlags),
    metric('hold_power_W', watts, method, flags),
    metric('hold_current_A', amps, method, flags),
    force === null ? noMetric('hold_efficacy_N_per_W', thrust.ok ? 'none' : thrust.reason) : metric('hold_efficacy_N_per_W', over(force, watts), `${method}; thrust over power`, thrustFlags),
    holdThrottle({ data, hold: played, span, target }, held, power.value, exponent),
    // The loop holds what its sensor says; how far that is from the target in truth is as uncertain as the sensor.
    metric('hold_correction', derived(correction, [[held, -target.value / held.value ** 2]]), 'target over held value less one'),
    driftMetric(data, span, speed.value.value),
  ];
}

function targetOf({ segment }: PlayedSegment): Target | null {
  switch (segment.kind) {
    case 'hold-current': return { kind: 'current', value: segment.target_A };
    case 'hold-power': return { kind: 'power', value: segment.target_W };
    case 'hold-speed': return { kind: 'speed', value: segment.target_rpm };
    default: return null;
  }
}

/**
 * How speed goes with what is held: speed ∝ held^e near the hold. e lies between a third (power ∝ speed³, losses a fixed
 * share) and the secant to the start level (where losses weigh more); the middle is taken, the half range counts as rectangular.
 */
function speedExponent(data: RunData, hold: PlayedSegment, at: Electrical, speed: Reading, target: Target): { value: number; u: number; ofPower: number } {
  const cube = 1 / CUBE;
  const start = withRole(data, 'start').filter((s) => s.start_s < hold.start_s).at(-1);
  let secant = cube;
  if (start !== undefined) {
    const span = { from_s: (start.start_s + start.end_s) / 2, to_s: start.end_s };
    const below = electrical(data, span);
    const slow = meanReading(data, 'speed', span);
    const held = target.kind === 'current' ? 'current' : 'power';
    if (below.ok && slow.ok && slow.value.value > 0 && below.value[held].value > 0 && at[held].value > 1.5 * below.value[held].value) {
      secant = Math.log(speed.value / slow.value.value) / Math.log(at[held].value / below.value[held].value);
    }
  }
  const sane = Math.min(0.7, Math.max(0.25, secant));
  const ofPower = (cube + sane) / 2;
  const u = Math.abs(sane - cube) / 2 / Math.sqrt(3);
  // A speed hold is corrected in speed itself.
  return target.kind === 'speed' ? { value: 1, u: 0, ofPower } : { value: ofPower, u, ofPower };
}

/** Steps of telemetry of which noise leaves more than this, in steps, may hide a drift or make one up, unless it passes so many of them. */
const MOST_LEFT = 0.1;
const PASSED = 3;

/**
 * Drift over the window. There is none where the record does not show that noise carries the signal over its steps: a drift far below a
 * step is then nothing, or a whole step where an edge lies in the window.
 */
function driftMetric(data: RunData, span: Span, mean: number): RunMetric {
  const none = (reason: string): RunMetric => noMetric('hold_drift_per_s', reason);
  const speed = channelOf(data, 'speed');
  if (speed === null) return none('the rig has no speed channel');
  const part = between(speed, span.from_s, span.to_s);
  // A hundred batch means carry the slope as well as thousands of samples.
  const cells = Math.min(100, part.value.length);
  if (cells < 5) return none('too few samples of speed in the window');
  const t: number[] = [];
  const y: number[] = [];
  for (let c = 0; c < cells; c++) {
    const a = Math.floor((c * part.value.length) / cells);
    const b = Math.floor(((c + 1) * part.value.length) / cells);
    t.push(meanOf(part.t_s.subarray(a, b)).mean);
    y.push(meanOf(part.value.subarray(a, b)).mean);
  }
  const fit = fitLine(t, y);
  if (!fit.ok) return none(fit.reason);
  const within = (fit.standardErrors?.[1] ?? 0) / mean;
  const perStep = stepNear(speed, mean) / (span.to_s - span.from_s) / mean;
  const slope = fit.coefficients[1] / mean;
  const hidden = perStep > 0 && (leftOfSteps(speed, mean) ?? Infinity) > MOST_LEFT;
  if (hidden && Math.abs(slope) < PASSED * perStep) return none(`the steps of the speed channel may hide or make up a drift of ${(100 * perStep).toPrecision(2)} % per second`);
  // What they hide at the beginning of the window and what they hide at its end are two errors.
  const u = Math.SQRT2 * perStep * resolutionInSteps(speed, part.value, mean);
  return metric('hold_drift_per_s', { value: slope, within, effects: u > 0 ? { speed_resolution_drift: u } : {} }, 'least-squares line through speed over the window');
}
