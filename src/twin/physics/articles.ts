/**
 * The two simulated articles. No motor was measured: every value is a plausible figure for its class, and those marked
 * (tuned) were adjusted on the tiny class until it showed the trade's common experience (see docs/twin.md, "Honesty").
 */
import type { EscParameters, RigParameters, SensorParameters } from './parameters';

/** emf from the KV scale: Kt = 60/(2π·KV). */
function emfOf(kv_rpmPerV: number): number {
  return 60 / (2 * Math.PI * kv_rpmPerV);
}

const ESC: EscParameters = {
  deadTime_s: 0.38e-6, // (tuned) effective: setting plus gate delays; 0.1..0.6 µs plausible
  diode_V: 0.7,
  switch_ohm: 0.02,
  minCommutationDelay_s: 5.5e-6, // (tuned) filter and code latency; 2..12 µs plausible
  blanking_s: 2e-6,
  confirmFraction: 0.15, // (tuned) structure as in common firmware, numbers free
  confirmKnee_s: 30e-6, // (tuned)
  minDuty: 0.06, // (tuned) firmware convention
  timerClock_Hz: 48e6,
  idle_W: 0.12,
  switchingLoss_J: 0.15e-6,
  heat_JpK: 2,
  toAir_WpK: 0.03,
  desyncRate_perS: 15, // (tuned) rate law is semi-empirical
  desyncWidth_deg: 4, // (tuned)
  resync_s: 0.06,
  startFailure: 0.02, // semi-empirical
  startRetry_s: 0.12,
};

const SENSORS: SensorParameters = {
  current: {
    name: 'current_A', unit: 'A', step: 0.005, zero_counts: 4096, min_counts: 0, max_counts: 8191, noise: 0.02,
    gainUncertainty: 0.003, offsetUncertainty: 0.004, conversion_us: 125, average: 8, filter_Hz: 1600,
  },
  voltage: {
    name: 'voltage_V', unit: 'V', step: 0.00125, zero_counts: 0, min_counts: 0, max_counts: 32767, noise: 0.004,
    gainUncertainty: 0.001, offsetUncertainty: 0.002, conversion_us: 125, average: 8, filter_Hz: 1600,
  },
  voltageAt: 'esc',
  rippleShare: 0.15,
  escClockSpread: 0.004,
  period: {
    name: 'electrical_period_s', unit: 's', step: 1e-6, zero_counts: 0, min_counts: 0, max_counts: 65535, noise: 0,
    gainUncertainty: 2e-4, offsetUncertainty: 0, conversion_us: 1000, average: 1, filter_Hz: null,
  },
  periodBits: 9,
  periodDropout: 0.01,
  thrust: {
    name: 'thrust_N', unit: 'N', step: 1e-4, zero_counts: 100000, min_counts: 0, max_counts: 16777215, noise: 4e-4,
    gainUncertainty: 0.003, offsetUncertainty: 0.002, conversion_us: 12500, average: 1, filter_Hz: null,
  },
  motorTemperature: {
    name: 'motor_degC', unit: 'degC', step: 0.0625, zero_counts: 0, min_counts: -880, max_counts: 4000, noise: 0.2,
    gainUncertainty: 0.002, offsetUncertainty: 0.5, conversion_us: 100_000, average: 1, filter_Hz: 0.04,
  },
  escTemperature: {
    name: 'esc_degC', unit: 'degC', step: 0.0625, zero_counts: 0, min_counts: -880, max_counts: 4000, noise: 0.2,
    gainUncertainty: 0.002, offsetUncertainty: 1, conversion_us: 100_000, average: 1, filter_Hz: 0.16,
  },
};

const TINY: RigParameters = {
  name: 'tiny one-cell class (simulated)',
  motor: {
    polePairs: 6, // 9 slots, 12 magnets
    emf_Vs: emfOf(21000), // class
    resistance_ohm: 0.3, // (tuned) winding volume; 0.15..0.4 plausible
    inductance_H: 5e-6, // (tuned) 2..10 µH plausible
    rippleLossTangent: 0.25, // (tuned) 0.1..0.6 plausible
    inertia_kgm2: 0.9e-8, // (tuned) m·r²
    coulombTorque_Nm: 1.5e-5,
    viscousTorque_Nms: 1.2e-8,
    magnetCoefficient_perK: -0.0011, // usual for NdFeB (from memory)
    windingHeat_JpK: 0.25,
    windingToCase_WpK: 0.2,
    caseHeat_JpK: 0.6,
    caseToAir_WpK: 0.012,
    caseToAirBySpeed_Ws: 1.2e-5,
  },
  propeller: {
    diameter_m: 0.037, thrustCoefficient: 0.17, torqueCoefficient: 0.14 / (2 * Math.PI),
    inertia_kgm2: 1.1e-8, unbalance_kgm: 2e-10, groundFactor: 1,
  },
  esc: ESC,
  settings: { switchingFrequency_Hz: 48_000, timingAdvance_deg: 15, spoolUpHeadroom: 2, currentLimit_A: Infinity },
  supply: {
    volts: 4, currentLimit_A: 10, source_ohm: 0.02, lead_ohm: 0, capacitor_F: 1e-3, rippleBus_ohm: 0.02,
    battery: { openCircuit_V: 4, resistance_ohm: 0.06, capacity_Ah: 0.4 }, clamp: null,
  },
  loadCell: {
    natural_Hz: 140, damping: 0.04, creepFraction: 3e-4, creep_s: 90, hysteresis_N: 1e-4,
    drift_NperRootHour: 3e-3, crosstalk_NperNm: 0,
  },
  sensors: SENSORS,
  mounting: { thrustSpread: 0.004, torqueSpread: 0.004 },
  airDensity_kgpm3: 1.2,
  ambient_degC: 22,
};

const SCOUT: RigParameters = {
  name: 'greenhouse scout, two cells, 3 inch (simulated)',
  motor: {
    polePairs: 6,
    emf_Vs: emfOf(4250), // apparent KV about 4.5k
    resistance_ohm: 0.17, // 0.1..0.25 plausible
    inductance_H: 20e-6, // 10..40 µH plausible
    rippleLossTangent: 0.2,
    inertia_kgm2: 3.2e-7,
    coulombTorque_Nm: 2e-4,
    viscousTorque_Nms: 2.5e-7,
    magnetCoefficient_perK: -0.0011,
    windingHeat_JpK: 1.6,
    windingToCase_WpK: 0.25,
    caseHeat_JpK: 3.2,
    caseToAir_WpK: 0.02,
    caseToAirBySpeed_Ws: 4e-5,
  },
  propeller: {
    diameter_m: 0.0762, thrustCoefficient: 0.155, torqueCoefficient: 0.088 / (2 * Math.PI),
    inertia_kgm2: 5e-7, unbalance_kgm: 8e-9, groundFactor: 1,
  },
  esc: {
    ...ESC,
    deadTime_s: 0.2e-6, switch_ohm: 0.008, minCommutationDelay_s: 8e-6, confirmKnee_s: 60e-6,
    idle_W: 0.25, switchingLoss_J: 1.2e-6, heat_JpK: 3, toAir_WpK: 0.05,
  },
  settings: { switchingFrequency_Hz: 44_000, timingAdvance_deg: 16, spoolUpHeadroom: 2, currentLimit_A: Infinity },
  supply: {
    volts: 7.6, currentLimit_A: 15, source_ohm: 0.015, lead_ohm: 0.005, capacitor_F: 1e-3, rippleBus_ohm: 0.02,
    battery: { openCircuit_V: 7.6, resistance_ohm: 0.045, capacity_Ah: 0.85 }, clamp: null,
  },
  loadCell: {
    natural_Hz: 95, damping: 0.03, creepFraction: 3e-4, creep_s: 90, hysteresis_N: 5e-4,
    drift_NperRootHour: 1e-2, crosstalk_NperNm: 0,
  },
  sensors: {
    ...SENSORS,
    current: { ...SENSORS.current, step: 0.01, noise: 0.03, offsetUncertainty: 0.006 },
    thrust: { ...SENSORS.thrust, step: 5e-4, noise: 2e-3, offsetUncertainty: 0.005 },
  },
  mounting: { thrustSpread: 0.004, torqueSpread: 0.004 },
  airDensity_kgpm3: 1.19,
  ambient_degC: 26,
};

function freeze(value: object): void {
  Object.freeze(value);
  for (const part of Object.values(value) as unknown[]) if (part !== null && typeof part === 'object') freeze(part);
}

freeze(TINY);
freeze(SCOUT);

/** A very small high-KV motor on one cell; for the checks against the trade's common experience only. Simulated. */
export const tinyClass: RigParameters = TINY;

/** The demo article: a palm-size crop-scouting drone's drive. Simulated, not tuned to the tiny class's facts. */
export const scout: RigParameters = SCOUT;
