/**
 * First-order model of a brushless motor seen from its direct-current terminals (Drela, "First-Order DC Electric Motor
 * Model", MIT, 2007): speed = Kv(v − iR), torque = (i − i₀)/K_Q with K_Q = Kv in consistent units.
 */
const RPM_TO_RAD_S = (2 * Math.PI) / 60;

/** Constants of a motor. */
export type MotorConstants = { readonly kv_rpm_V: number; readonly resistance_ohm: number; readonly noLoadCurrent_A: number };

/** Torque constant, N·m/A, of a speed constant: 60/(2π·KV). */
export function torqueConstant(kv_rpm_V: number): number {
  if (!(kv_rpm_V > 0)) throw new RangeError(`KV is ${kv_rpm_V} rpm/V; it must be above 0`);
  return 1 / (kv_rpm_V * RPM_TO_RAD_S);
}

/** Working point of a motor. */
export type MotorPoint = {
  readonly speed_rpm: number; readonly torque_Nm: number; readonly shaftPower_W: number;
  readonly electricalPower_W: number;
  /** Shaft over electrical power; null where no electrical power flows in. */
  readonly efficiency: number | null;
};

/** The working point at a terminal voltage and current. */
export function motorAt(m: MotorConstants, voltage_V: number, current_A: number): MotorPoint {
  const speed_rpm = m.kv_rpm_V * (voltage_V - current_A * m.resistance_ohm);
  const torque_Nm = (current_A - m.noLoadCurrent_A) * torqueConstant(m.kv_rpm_V);
  const shaftPower_W = torque_Nm * speed_rpm * RPM_TO_RAD_S;
  const electricalPower_W = voltage_V * current_A;
  return { speed_rpm, torque_Nm, shaftPower_W, electricalPower_W, efficiency: electricalPower_W > 0 ? shaftPower_W / electricalPower_W : null };
}

/** The working point where the motor turns a load of torque = load·ω² (a propeller in still air), N·m·s². */
export function motorWithPropeller(m: MotorConstants, voltage_V: number, load_Nm_s2: number): MotorPoint & { readonly current_A: number } {
  if (!(load_Nm_s2 >= 0)) throw new RangeError(`the load factor is ${load_Nm_s2} N·m·s²; it must be 0 or more`);
  // v = i₀R + ω·Kt + (R/Kt)·load·ω²: one positive root, written so that it survives load = 0.
  const kt = torqueConstant(m.kv_rpm_V);
  const drive = voltage_V - m.noLoadCurrent_A * m.resistance_ohm;
  const a = (m.resistance_ohm * load_Nm_s2) / kt;
  const omega = drive <= 0 ? 0 : (2 * drive) / (kt + Math.sqrt(kt * kt + 4 * a * drive));
  const current_A = drive <= 0 && m.resistance_ohm > 0 ? voltage_V / m.resistance_ohm : m.noLoadCurrent_A + (load_Nm_s2 * omega * omega) / kt;
  return { ...motorAt(m, voltage_V, current_A), speed_rpm: omega / RPM_TO_RAD_S, current_A };
}

/** What a no-propeller run at full throttle gives. */
export type KvRun = {
  readonly speed_rpm: number;
  /** At the controller's input, where the rig says it is measured. */
  readonly voltage_V: number;
  readonly noLoadCurrent_A?: number;
  /** Terminal to terminal, with the controller's on-resistance. */
  readonly resistance_ohm?: number;
  /** Ratio of KV at this timing advance to KV at none, from a run without advance. */
  readonly advanceRatio?: number;
};

/** A speed constant with its torque constant and how far it is corrected. */
export type KvResult = {
  /** rpm per volt as read: speed over voltage. */
  readonly apparentKv_rpm_V: number;
  /** After the corrections that the inputs allow. */
  readonly kv_rpm_V: number;
  readonly kt_Nm_A: number;
  /** `corrected` only when no-load current, resistance and advance are all accounted for. */
  readonly label: 'corrected' | 'apparent';
  /** What was not corrected for. */
  readonly notCorrected: readonly string[];
};

/**
 * Speed constant from a no-load run: KV = rpm/(V − I₀R), divided by the gain in speed that timing advance makes
 * (which raises no-load speed without a matching change of torque). Without any of the three, Kt is "apparent".
 * @throws RangeError when voltage or speed are not positive, or I₀R eats the voltage
 */
export function speedConstant(run: KvRun): KvResult {
  const { speed_rpm, voltage_V, noLoadCurrent_A, resistance_ohm, advanceRatio } = run;
  if (!(speed_rpm > 0 && voltage_V > 0)) throw new RangeError(`KV needs speed and voltage above 0, got ${speed_rpm} rpm and ${voltage_V} V`);
  const drop = noLoadCurrent_A !== undefined && resistance_ohm !== undefined ? noLoadCurrent_A * resistance_ohm : 0;
  if (drop >= voltage_V) throw new RangeError(`the resistive drop of ${drop} V is not below the supply of ${voltage_V} V; check current and resistance`);
  if (advanceRatio !== undefined && !(advanceRatio > 0)) throw new RangeError(`the advance ratio is ${advanceRatio}; it must be above 0`);
  const notCorrected = [
    ...(noLoadCurrent_A === undefined ? ['no-load current'] : []),
    ...(resistance_ohm === undefined ? ['resistance'] : []),
    ...(advanceRatio === undefined ? ['timing advance'] : []),
  ];
  const kv = speed_rpm / (voltage_V - drop) / (advanceRatio ?? 1);
  return {
    apparentKv_rpm_V: speed_rpm / voltage_V, kv_rpm_V: kv, kt_Nm_A: torqueConstant(kv),
    label: notCorrected.length === 0 ? 'corrected' : 'apparent', notCorrected,
  };
}

/** Mechanical speed, rpm, from electrical speed and pole pairs (magnets / 2). */
export const mechanicalSpeed = (electrical_rpm: number, polePairs: number): number => electrical_rpm / polePairs;

/** Copper resistance at another temperature, from a reference at 20 °C: 0.393 %/K (IEC 60028). */
export const copperResistance = (at20_ohm: number, temperature_degC: number): number => at20_ohm * (1 + 0.00393 * (temperature_degC - 20));
