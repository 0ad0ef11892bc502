/** Values at the full-throttle plateau, and what follows from them. */
import { STANDARD_DENSITY_kg_m3 } from '../physics/air';
import { figureOfMerit, powerCoefficient, shaftPower, thrustCoefficient } from '../physics/propeller';
import { withRole, type RunData } from '../run-data';
import type { MetricName } from './catalogue';
import { airDensity, desyncIn, electrical, meanReading, plateauSpan, thrustReading, type Electrical, type Maybe, type Span, type ThrustZero } from './common';
import { derived, metric, noMetric, over, times, type Reading, type RunMetric } from './reading';

const METHOD = 'mean of 0.4 to 0.9 s after arrival at the plateau';

/** The plateau's readings; `throttle` is that of the plateau. */
export type Plateau = { readonly span: Span; readonly throttle: number; readonly electrical: Maybe<Electrical>; readonly speed: Maybe; readonly thrust: Maybe };

/** Reads the plateau of a sweep, or says why there is none. */
export function readPlateau(data: RunData, zero: ThrustZero): Maybe<Plateau> {
  const segment = withRole(data, 'plateau').at(-1);
  if (segment === undefined) return { ok: false, reason: 'the run has no plateau' };
  const span = plateauSpan(segment);
  if (!span.ok) return span;
  const spoiled = desyncIn(data, span.value);
  if (spoiled !== null) return { ok: false, reason: spoiled };
  return {
    ok: true,
    value: {
      span: span.value, throttle: segment.segment.kind === 'level' ? segment.segment.throttle : 1,
      electrical: electrical(data, span.value), speed: meanReading(data, 'speed', span.value), thrust: thrustReading(data, zero, span.value),
    },
  };
}

const NAMES = [
  'full_throttle_rpm', 'full_throttle_thrust_N', 'full_throttle_current_A', 'full_throttle_power_W', 'full_throttle_efficacy_N_per_W',
  'thrust_coefficient', 'power_coefficient', 'figure_of_merit', 'full_throttle_thrust_standard_air_N',
] as const satisfies readonly MetricName[];

/** Metrics of the plateau. A plateau below full throttle gives none: its name would promise too much. */
export function fullThrottleMetrics(data: RunData, zero: ThrustZero, plateau: Maybe<Plateau>): RunMetric[] {
  const none = (reason: string): RunMetric[] => NAMES.map((n) => noMetric(n, reason));
  if (!plateau.ok) return none(plateau.reason);
  const p = plateau.value;
  if (p.throttle < 0.9999) return none(`the sweep ends at ${(100 * p.throttle).toFixed(1)} % throttle, not at full`);
  const one = (name: MetricName, reading: Maybe, flags: readonly string[] = [], method = METHOD): RunMetric =>
    (reading.ok ? metric(name, reading.value, method, flags) : noMetric(name, reading.reason, flags));
  const current: Maybe = p.electrical.ok ? { ok: true, value: p.electrical.value.current } : p.electrical;
  const power: Maybe = p.electrical.ok ? { ok: true, value: p.electrical.value.power } : p.electrical;
  const efficacy: Maybe = !p.thrust.ok ? p.thrust : !power.ok ? power
    : power.value.value > 0 ? { ok: true, value: over(p.thrust.value, power.value) } : { ok: false, reason: 'no electrical power flowed' };
  return [
    one('full_throttle_rpm', p.speed), one('full_throttle_thrust_N', p.thrust, zero.flags), one('full_throttle_current_A', current), one('full_throttle_power_W', power),
    one('full_throttle_efficacy_N_per_W', efficacy, zero.flags, `${METHOD}; thrust over power`), ...coefficients(data, p),
  ];
}

function coefficients(data: RunData, { span, speed, thrust }: Plateau): RunMetric[] {
  const names = ['thrust_coefficient', 'power_coefficient', 'figure_of_merit', 'full_throttle_thrust_standard_air_N'] as const;
  const none = (reason: string): RunMetric[] => names.map((n) => noMetric(n, reason));
  const air = airDensity(data);
  const diameter_m = data.facts.propeller_diameter_m;
  if (!air.ok) return none(air.reason);
  if (diameter_m === null) return none('the article states no propeller diameter');
  if (!speed.ok) return none(speed.reason);
  if (!thrust.ok) return none(thrust.reason);
  if (!(speed.value.value > 0)) return none('the motor did not turn on the plateau');
  const rho = air.value;
  const state = { speed_rpm: speed.value.value, diameter_m, density_kg_m3: rho.value };
  const force = thrust.value;
  const { flags } = rho;
  const ct = thrustCoefficient(force.value, state);
  const standard = STANDARD_DENSITY_kg_m3 / rho.value;
  const [cp, merit] = shaftFigures(data, span, state, force, rho);
  return [
    metric('thrust_coefficient', derived(ct, [[force, ct / force.value], [speed.value, (-2 * ct) / speed.value.value], [rho, -ct / rho.value]]), `${METHOD}; density by CIPM-2007`, flags),
    cp, merit,
    metric('full_throttle_thrust_standard_air_N', derived(force.value * standard, [[force, standard], [rho, (-force.value * standard) / rho.value]]), 'thrust times 1.225 kg/m³ over the density beside the stand, at the speed as measured', flags),
  ];
}

function shaftFigures(data: RunData, span: Span, state: { speed_rpm: number; diameter_m: number; density_kg_m3: number }, force: Reading, rho: Reading): [RunMetric, RunMetric] {
  const torque = meanReading(data, 'torque', span);
  const speed = meanReading(data, 'speed', span);
  const none = (reason: string): [RunMetric, RunMetric] => [noMetric('power_coefficient', reason), noMetric('figure_of_merit', reason)];
  if (!torque.ok) return none('shaft power is not measured: the rig has no torque channel');
  if (!speed.ok || !(torque.value.value > 0)) return none('the torque channel shows no torque on the plateau');
  const unit = derived(shaftPower(1, speed.value.value), [[speed.value, shaftPower(1, 1)]]);
  const watts = times(torque.value, unit);
  const cp = powerCoefficient(watts.value, state);
  const fom = figureOfMerit(force.value, watts.value, state.diameter_m, state.density_kg_m3);
  return [
    metric('power_coefficient', derived(cp, [[watts, cp / watts.value], [speed.value, (-3 * cp) / speed.value.value], [rho, -cp / rho.value]]), 'shaft power from the torque channel'),
    fom === null || !(force.value > 0) ? noMetric('figure_of_merit', 'no thrust or no shaft power')
      : metric('figure_of_merit', derived(fom, [[force, (1.5 * fom) / force.value], [watts, -fom / watts.value], [rho, (-0.5 * fom) / rho.value]]), 'T^1.5/√(2ρA) over shaft power from the torque channel'),
  ];
}
