/**
 * Layer 1: waveforms of one operating point. Six-step commutation with complementary PWM at fixed speed and duty, solved with
 * a sub-microsecond step and averaged over many sectors. Dead time, freewheeling diodes, zero-crossing detection and its
 * delays live here, so that what the settings change follows from waveforms rather than from fitted curves.
 *
 * Phase equations (star, line values halved): L·di/dt = v − v_n − e − R·i, trapezoidal in R·i. In a 60° sector one leg is
 * switched (P), one is held low (N) and one floats (F); F conducts through a diode until its current ends.
 */
import type { RigParameters } from './parameters';

/** Everything the waveforms depend on; also the key of a stored map. */
export interface BridgeParameters {
  readonly polePairs: number;
  readonly emf_Vs: number;
  readonly resistance_ohm: number;
  readonly inductance_H: number;
  readonly rippleLossTangent: number;
  readonly switch_ohm: number;
  readonly diode_V: number;
  readonly deadTime_s: number;
  readonly minCommutationDelay_s: number;
  readonly blanking_s: number;
  readonly confirmFraction: number;
  readonly confirmKnee_s: number;
  readonly switchingFrequency_Hz: number;
  readonly timingAdvance_deg: number;
  readonly rippleBus_ohm: number;
}

/** The part of a rig's parameters that shapes the waveforms. */
export function bridgeOf(rig: RigParameters): BridgeParameters {
  const { motor, esc, settings, supply } = rig;
  return {
    polePairs: motor.polePairs,
    emf_Vs: motor.emf_Vs,
    resistance_ohm: motor.resistance_ohm,
    inductance_H: motor.inductance_H,
    rippleLossTangent: motor.rippleLossTangent,
    switch_ohm: esc.switch_ohm,
    diode_V: esc.diode_V,
    deadTime_s: esc.deadTime_s,
    minCommutationDelay_s: esc.minCommutationDelay_s,
    blanking_s: esc.blanking_s,
    confirmFraction: esc.confirmFraction,
    confirmKnee_s: esc.confirmKnee_s,
    switchingFrequency_Hz: settings.switchingFrequency_Hz,
    timingAdvance_deg: settings.timingAdvance_deg,
    rippleBus_ohm: supply.rippleBus_ohm,
  };
}

/** Averages of one operating point. */
export interface CellAverages {
  readonly busCurrent_A: number;
  readonly torque_Nm: number;
  /** Mean of i_a² + i_b² + i_c²; copper loss = this × phase resistance. */
  readonly sumSquares_A2: number;
  /** Iron and magnet loss of the ripple flux. */
  readonly rippleLoss_W: number;
  /** Mean freewheeling angle after each commutation, electrical degrees. */
  readonly freewheel_deg: number;
  /** Amplitude of the bus current's component at the switching frequency. */
  readonly rippleAmplitude_A: number;
}

/** Duty from here on counts as "always on": no switching edges. */
export const FULL_DUTY = 0.998;
/** The drive commutates at least at this share of top speed; slower it is in open-loop start-up. */
export const COMMUTATION_FLOOR = 0.04;
const MAX_STEP_S = 0.25e-6;
const SQRT3 = Math.sqrt(3);
const DEG = Math.PI / 180;

/** Length of the overlap of [a, b) and [c, d). */
function overlap(a: number, b: number, c: number, d: number): number {
  const start = a > c ? a : c;
  const end = b < d ? b : d;
  return end > start ? end - start : 0;
}

/** Extra wait, s, until the comparator may be read, for a wish at PWM phase `phase` (both edges blank the reading). */
function blankingWait(phase: number, onTime: number, period: number, deadTime: number, blanking: number): number {
  const afterRise = Math.min(deadTime + blanking, onTime);
  if (phase < afterRise) return afterRise - phase;
  const afterFall = Math.min(onTime + deadTime + blanking, period);
  return phase > onTime && phase < afterFall ? afterFall - phase : 0;
}

/** Advance that the delay of a real detector leaves at electrical speed `electrical_radps`, degrees. */
export function attainableAdvance_deg(setting_deg: number, minDelay_s: number, electrical_radps: number): number {
  return Math.min(setting_deg, 30 - (electrical_radps * minDelay_s) / DEG);
}

/**
 * Solves one operating point.
 * @param volts bus voltage, V. @param duty 0..1. @param speed_radps mechanical speed. @param resistanceScale winding R over its 20 °C value.
 * @param maxStep_s upper bound of the time step (default 0.25 µs; halving it moves torque by about 0.4 %).
 */
export function solveCell(
  bridge: BridgeParameters, volts: number, duty: number, speed_radps: number, resistanceScale: number, maxStep_s = MAX_STEP_S,
): CellAverages {
  const R = (bridge.resistance_ohm * resistanceScale + 2 * bridge.switch_ohm) / 2;
  const L = bridge.inductance_H / 2;
  const phaseEmf_Vs = bridge.emf_Vs / SQRT3;
  const emf = phaseEmf_Vs * speed_radps;
  const electrical = Math.max(speed_radps, (COMMUTATION_FLOOR * volts) / bridge.emf_Vs) * bridge.polePairs;
  const sector = Math.PI / 3 / electrical;
  const delay = Math.max((30 - bridge.timingAdvance_deg) * DEG / electrical, bridge.minCommutationDelay_s);
  const advance = Math.PI / 6 - electrical * delay;
  const confirm = Math.min(bridge.confirmFraction * sector, 0.35 * Math.max(0, sector - bridge.confirmKnee_s));

  // Switching: high side on in [dead, on − dead), low side on from `on`; a little off the nominal period so that it never locks to the sectors.
  const full = duty >= FULL_DUTY;
  const period = 1.00037 / bridge.switchingFrequency_Hz;
  const onTime = duty * period;
  const dead = bridge.deadTime_s;
  const highEnd = Math.max(dead, onTime - dead);
  const lowStart = Math.min(period, Math.max(highEnd, onTime));

  const dt = Math.min(maxStep_s, sector / 40, L / R / 8);
  const warmUp = Math.max(2 * sector, Math.min((6 * L) / R, 60e-6));
  const sectors = full ? 6 : Math.ceil(Math.max(2, Math.min(96, (60 * period) / sector)));
  const end = (Math.ceil(warmUp / sector) + sectors) * sector;
  const smallCurrent = (0.002 * volts) / R;
  const gainStar = dt / (L + (R * dt) / 2);
  const gainLine = dt / (2 * L + R * dt);
  const stepAngle = electrical * dt;
  const stepCos = Math.cos(stepAngle);
  const stepSin = Math.sin(stepAngle);
  const filterWarm = dt / 3e-5;
  const filterRun = dt / 2e-3;

  // Angle of the switched phase's EMF; even sectors run −60°..0, odd ones 0..60° (both moved by the advance).
  let angle = -Math.PI / 3 - advance + stepAngle / 2;
  let cosP = Math.cos(angle);
  let sinP = Math.sin(angle);
  let odd = 1; // +1 in even sectors, −1 in odd ones: which side the held and floating phases lie
  let iP = 0, iN = 0, iF = 0;
  let phase = 0.37 * period;
  let time = 0;
  let crossing = sector - delay;
  let nextCommutation = sector;
  let freewheeling = false;
  let busMean = 0, bus = 0;
  let measuring = false;
  let count = 0, sumBus = 0, sumTorque = 0, sumSquares = 0, freewheelSteps = 0;

  while (time < end) {
    if (time >= nextCommutation) {
      if (odd > 0) { const held = iN; iN = iF; iF = held; }
      else { const driven = iP; iP = iF; iF = driven; angle -= (2 * Math.PI) / 3; }
      odd = -odd;
      cosP = Math.cos(angle);
      sinP = Math.sin(angle);
      freewheeling = true;
      crossing += sector;
      let detected = crossing + confirm;
      if (!full) {
        const at = (phase - time + detected) % period;
        detected += blankingWait(at < 0 ? at + period : at, onTime, period, dead, bridge.blanking_s);
      }
      nextCommutation = Math.max(time + 2 * dt, detected + delay);
    }
    const half = -0.5 * cosP;
    const side = odd * 0.5 * SQRT3 * sinP;
    const cosN = half + side;
    const cosF = half - side;
    const eP = emf * cosP, eN = emf * cosN, eF = emf * cosF;
    const supply = volts + bridge.rippleBus_ohm * (busMean - bus);

    // Share of this step with the high switch on, and with both off (then the current's sign picks the rail).
    let high = 1, off = 0;
    const q = phase + dt;
    if (!full && !(phase >= dead && q <= highEnd)) {
      high = 0;
      if (!(phase >= lowStart && q <= period)) {
        const wrap = q - period;
        high = overlap(phase, q, dead, highEnd);
        off = overlap(phase, q, 0, dead) + overlap(phase, q, highEnd, lowStart);
        if (wrap > 0) {
          high += overlap(0, wrap, dead, highEnd);
          off += overlap(0, wrap, 0, dead);
        }
        high /= dt;
        off = Math.min(off / dt, 1 - high);
      }
    }
    let sign = iP / smallCurrent;
    if (sign > 1) sign = 1; else if (sign < -1) sign = -1;
    const vP = high * supply + off * (supply / 2 - sign * (supply / 2 + bridge.diode_V));
    const highShare = high + (off * (1 - sign)) / 2;

    // Floating phase: through a diode while its current lasts, or when its open voltage passes a rail.
    let vF = 0, upper = 0;
    let conducts = true;
    if (iF > 1e-9) vF = -bridge.diode_V;
    else if (iF < -1e-9) { vF = supply + bridge.diode_V; upper = 1; }
    else {
      const open = (vP - eP - eN) / 2 + eF;
      if (open > supply + bridge.diode_V) { vF = supply + bridge.diode_V; upper = 1; }
      else if (open < -bridge.diode_V) vF = -bridge.diode_V;
      else conducts = false;
    }
    const oldP = iP, oldN = iN, oldF = iF;
    if (conducts) {
      const neutral = (vP + vF) / 3;
      iP += (vP - neutral - eP - R * iP) * gainStar;
      iF += (vF - neutral - eF - R * iF) * gainStar;
      if ((oldF > 1e-9 && iF <= 0) || (oldF < -1e-9 && iF >= 0)) iF = 0;
      iN = -iP - iF;
    } else {
      iP += (vP - eP + eN - 2 * R * iP) * gainLine;
      iF = 0;
      iN = -iP;
      freewheeling = false;
    }
    const meanP = (iP + oldP) / 2, meanN = (iN + oldN) / 2, meanF = (iF + oldF) / 2;
    bus = highShare * meanP + upper * meanF;
    busMean += (bus - busMean) * (measuring ? filterRun : filterWarm);
    if (measuring) {
      count++;
      sumBus += bus;
      sumTorque += cosP * meanP + cosN * meanN + cosF * meanF;
      sumSquares += meanP * meanP + meanN * meanN + meanF * meanF;
      if (freewheeling) freewheelSteps++;
    } else if (time >= warmUp) measuring = true;

    time += dt;
    angle += stepAngle;
    const turned = cosP * stepCos - sinP * stepSin;
    sinP = sinP * stepCos + cosP * stepSin;
    cosP = turned;
    phase += dt;
    if (phase >= period) phase -= period;
  }

  const squares = sumSquares / count;
  return {
    busCurrent_A: sumBus / count,
    torque_Nm: (phaseEmf_Vs * sumTorque) / count,
    sumSquares_A2: squares,
    rippleLoss_W: full ? 0 : rippleLoss_W(bridge, volts, duty),
    freewheel_deg: (60 * freewheelSteps) / count,
    rippleAmplitude_A: full ? 0 : (2 / Math.PI) * Math.sqrt(squares / 2) * Math.sin(Math.PI * duty),
  };
}

/** Loss of the ripple flux: 2π·f·L·tanδ·I_ripple², with I_ripple = V·D·(1−D)/(√12·f·L) of a triangular ripple. */
export function rippleLoss_W(bridge: BridgeParameters, volts: number, duty: number): number {
  const ripple = (volts * duty * (1 - duty)) / (Math.sqrt(12) * bridge.switchingFrequency_Hz * bridge.inductance_H);
  return 2 * Math.PI * bridge.switchingFrequency_Hz * bridge.inductance_H * bridge.rippleLossTangent * ripple * ripple;
}
