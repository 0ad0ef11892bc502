/** True values at full throttle, with and without propeller, by the definitions of the metrics. */
import type { RunData } from '../../src/analysis/run-data';
import type { RigParameters } from '../../src/twin/physics';
import { stretch } from './segments';
import { meanOver, type Trace } from './trace';

const FROM_US = 0.4e6;
const TO_US = 0.9e6;
/** Density that thrust is reduced to, kg/m³ (ISO 2533:1975, sea level). */
const STANDARD_AIR = 1.225;

/** Means over 0.4 to 0.9 s after arrival. */
function plateau(data: RunData, trace: Trace) {
  const { from_us } = stretch(data, 'plateau');
  const mean = (column: readonly number[]): number => meanOver(trace, column, from_us + FROM_US, from_us + TO_US);
  const power = trace.current_A.map((i, k) => i * trace.voltage_V[k]);
  return { speed: mean(trace.speed_rpm), thrust: mean(trace.thrust_N), current: mean(trace.current_A), voltage: mean(trace.voltage_V), power: mean(power) };
}

/** kv. @param declared_ohm the resistance that the article declares */
export function kvTruth(data: RunData, trace: Trace, declared_ohm: number): Record<string, number> {
  const p = plateau(data, trace);
  const kv = p.speed / p.voltage;
  const corrected = p.speed / (p.voltage - p.current * declared_ohm);
  return { kv_rpm_per_V: kv, no_load_current_A: p.current, no_load_speed_rpm: p.speed, kt_apparent_Nm_per_A: 60 / (2 * Math.PI * corrected) };
}

/** thrust-curve, its plateau. */
export function fullThrottleTruth(data: RunData, trace: Trace, rig: RigParameters): Record<string, number> {
  const p = plateau(data, trace);
  const turns = p.speed / 60;
  return {
    full_throttle_rpm: p.speed, full_throttle_thrust_N: p.thrust, full_throttle_current_A: p.current, full_throttle_power_W: p.power,
    full_throttle_efficacy_N_per_W: p.thrust / p.power,
    thrust_coefficient: p.thrust / (rig.airDensity_kgpm3 * turns ** 2 * rig.propeller.diameter_m ** 4),
    full_throttle_thrust_standard_air_N: (p.thrust * STANDARD_AIR) / rig.airDensity_kgpm3,
  };
}
