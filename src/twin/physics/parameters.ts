/**
 * What a simulated rig is made of: plain numbers with their units. The two articles live in `articles.ts`.
 * Nothing here was measured on a real part; each value's basis is told beside it in `articles.ts` and in docs/twin.md.
 */

/** Brushless motor, seen between two terminals (line values). */
export interface MotorParameters {
  readonly polePairs: number;
  /** Peak line-to-line EMF per mechanical speed at 20 °C, V·s/rad; equals 60/(2π·KV) of the ideal motor. */
  readonly emf_Vs: number;
  /** Winding resistance, line to line, at 20 °C. */
  readonly resistance_ohm: number;
  /** Winding inductance, line to line. */
  readonly inductance_H: number;
  /** Loss tangent of the ripple flux in iron and magnets (semi-empirical). */
  readonly rippleLossTangent: number;
  readonly inertia_kgm2: number;
  readonly coulombTorque_Nm: number;
  readonly viscousTorque_Nms: number;
  /** Reversible change of magnet flux per kelvin. */
  readonly magnetCoefficient_perK: number;
  readonly windingHeat_JpK: number;
  readonly windingToCase_WpK: number;
  readonly caseHeat_JpK: number;
  readonly caseToAir_WpK: number;
  /** Extra cooling of the case per rad/s of rotor speed. */
  readonly caseToAirBySpeed_Ws: number;
}

/** Propeller; thrust = groundFactor·CT·ρ·n²·d⁴, torque = CQ·ρ·n²·d⁵ with n in rev/s (static, no Reynolds dependence). */
export interface PropellerParameters {
  readonly diameter_m: number;
  readonly thrustCoefficient: number;
  /** CQ = CP/(2π). */
  readonly torqueCoefficient: number;
  readonly inertia_kgm2: number;
  /** Static unbalance; force amplitude = unbalance·ω². */
  readonly unbalance_kgm: number;
  readonly groundFactor: number;
}

/** The settings a person changes on the ESC. */
export interface EscSettings {
  readonly switchingFrequency_Hz: number;
  /** Commutation advance before the neutral instant, electrical degrees, 0..30. */
  readonly timingAdvance_deg: number;
  /** Duty allowed above the back-EMF while accelerating, fraction 0..2 (1 or more: no limit in practice). */
  readonly spoolUpHeadroom: number;
  /** Ceiling of the current drawn from the bus; Infinity switches the limiter off. */
  readonly currentLimit_A: number;
}

/** ESC hardware and firmware constants that nobody sets on the bench. */
export interface EscParameters {
  readonly deadTime_s: number;
  readonly diode_V: number;
  readonly switch_ohm: number;
  /** Shortest time from a detected zero crossing to the commutation. */
  readonly minCommutationDelay_s: number;
  /** After each PWM edge the comparator is not read for this long. */
  readonly blanking_s: number;
  /** Zero-crossing confirmation: min(fraction·sector, 0.35·(sector − knee)) (semi-empirical). */
  readonly confirmFraction: number;
  readonly confirmKnee_s: number;
  readonly minDuty: number;
  /** Duty is a whole number of timer counts. */
  readonly timerClock_Hz: number;
  readonly idle_W: number;
  /** Energy lost per switching period. */
  readonly switchingLoss_J: number;
  readonly heat_JpK: number;
  readonly toAir_WpK: number;
  /** Desync hazard = rate·exp(−margin/width) (semi-empirical rate law, physical margin). */
  readonly desyncRate_perS: number;
  readonly desyncWidth_deg: number;
  /** Median time to find the rotor again. */
  readonly resync_s: number;
  /** Chance that one start attempt from rest fails, and the pause before the next (semi-empirical). */
  readonly startFailure: number;
  readonly startRetry_s: number;
}

export interface BatteryParameters {
  readonly openCircuit_V: number;
  readonly resistance_ohm: number;
  readonly capacity_Ah: number;
}

/** Current-limited supply beside a battery and a capacitor, feeding the ESC through a common lead. */
export interface SupplyParameters {
  readonly volts: number;
  readonly currentLimit_A: number;
  readonly source_ohm: number;
  readonly lead_ohm: number;
  readonly capacitor_F: number;
  /** Bus resistance at the switching frequency (capacitor and copper). */
  readonly rippleBus_ohm: number;
  readonly battery: BatteryParameters | null;
  /** Braking chopper: conducts above set voltage + margin. */
  readonly clamp: { readonly margin_V: number; readonly resistance_ohm: number } | null;
}

export interface LoadCellParameters {
  readonly natural_Hz: number;
  readonly damping: number;
  readonly creepFraction: number;
  readonly creep_s: number;
  readonly hysteresis_N: number;
  /** Random walk of the zero, N per √hour. */
  readonly drift_NperRootHour: number;
  readonly crosstalk_NperNm: number;
}

/** One converter: counts = zero + SI/step, clamped to its range; `average` conversions are summed for one reading. */
export interface ConverterParameters {
  readonly name: string;
  readonly unit: 'A' | 'V' | 's' | 'N' | 'degC';
  /** SI per count of one conversion. */
  readonly step: number;
  readonly zero_counts: number;
  readonly min_counts: number;
  readonly max_counts: number;
  /** Standard deviation of one conversion, SI. */
  readonly noise: number;
  /** Standard uncertainty of the gain (relative) and of the zero (SI); the true errors are drawn from these per seed. */
  readonly gainUncertainty: number;
  readonly offsetUncertainty: number;
  /** Time between conversions; a whole multiple of 125 µs. */
  readonly conversion_us: number;
  readonly average: number;
  /** First-order cutoff before the converter; null: none. */
  readonly filter_Hz: number | null;
}

export interface SensorParameters {
  readonly current: ConverterParameters;
  readonly voltage: ConverterParameters;
  readonly voltageAt: 'esc' | 'supply';
  /** Share of the bridge's ripple current that the capacitor leaves in the sensed lead. */
  readonly rippleShare: number;
  /** Relative standard deviation of the ESC's clock (a resonator or RC oscillator). */
  readonly escClockSpread: number;
  readonly period: ConverterParameters;
  /** Significant bits kept by the period telemetry, and the share of frames lost. */
  readonly periodBits: number;
  readonly periodDropout: number;
  readonly thrust: ConverterParameters;
  readonly motorTemperature: ConverterParameters;
  readonly escTemperature: ConverterParameters;
}

/** Relative standard deviation of thrust and torque factors between mountings of the same propeller. */
export interface MountingParameters {
  readonly thrustSpread: number;
  readonly torqueSpread: number;
}

export interface RigParameters {
  readonly name: string;
  readonly motor: MotorParameters;
  readonly propeller: PropellerParameters;
  readonly esc: EscParameters;
  readonly settings: EscSettings;
  readonly supply: SupplyParameters;
  readonly loadCell: LoadCellParameters;
  readonly sensors: SensorParameters;
  readonly mounting: MountingParameters;
  readonly airDensity_kgpm3: number;
  readonly ambient_degC: number;
}

/** Copper against temperature: R = R20·(1 + 0.00393·(t − 20)), IEC 60028 (from memory). */
export const COPPER_PER_K = 0.00393;

/** Resistance ratio to 20 °C of a copper winding at `temperature_degC`. */
export function copperFactor(temperature_degC: number): number {
  return 1 + COPPER_PER_K * (temperature_degC - 20);
}

/** Same rig with some ESC settings replaced. */
export function withSettings(rig: RigParameters, settings: Partial<EscSettings>): RigParameters {
  return { ...rig, settings: { ...rig.settings, ...settings } };
}

/** Same rig with winding resistance, winding inductance and inertia (rotor and propeller) multiplied. */
export function scaleArticle(rig: RigParameters, by: { resistance?: number; inductance?: number; inertia?: number }): RigParameters {
  const { resistance = 1, inductance = 1, inertia = 1 } = by;
  const label = `${rig.name} R×${resistance} L×${inductance} J×${inertia}`;
  return {
    ...rig,
    name: label,
    motor: {
      ...rig.motor,
      resistance_ohm: rig.motor.resistance_ohm * resistance,
      inductance_H: rig.motor.inductance_H * inductance,
      inertia_kgm2: rig.motor.inertia_kgm2 * inertia,
    },
    propeller: { ...rig.propeller, inertia_kgm2: rig.propeller.inertia_kgm2 * inertia },
  };
}
