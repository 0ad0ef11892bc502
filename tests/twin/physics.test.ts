// Goal: the simulated drive obeys physics that others published, and its balances close. Method: noise-free rigs and equilibria
// of both simulated articles against identities, bounds and conservation.
import { describe, expect, test } from 'vitest';
import { scaleArticle, scout, tinyClass, Truth, withSettings } from '../../src/twin/physics';
import type { RigParameters } from '../../src/twin/physics';
import { copperFactor } from '../../src/twin/physics/parameters';
import { bridgeOf, solveCell } from '../../src/twin/physics/waveform-cell';
import { maps, mean, rigOf, run } from './helpers';

const articles: readonly [string, RigParameters, number][] = [['tiny', tinyClass, 21_000], ['scout', scout, 4_250]];
const DUTIES = [0.2, 0.4, 0.6, 0.8, 1] as const;

describe.each(articles)('%s', (name, rig, kv_rpmPerV) => {
  const volts = rig.supply.volts;
  const truth = new Truth(rig, maps);

  test('EMF constant is 60/(2π·KV): torque constant and speed constant are one number (first-order motor model, Drela, MIT, 2007)', () => {
    expect(rig.motor.emf_Vs).toBeCloseTo(60 / (2 * Math.PI * kv_rpmPerV), 12);
    // Ideal bridge (no advance, no lag, no dead time): torque per ampere at full duty is the mean line EMF, 3/π of its peak.
    const bridge = {
      ...bridgeOf(rig), timingAdvance_deg: 0, minCommutationDelay_s: 0, confirmFraction: 0, deadTime_s: 0, diode_V: 0, rippleBus_ohm: 0,
      inductance_H: rig.motor.inductance_H / 50,
    };
    const cell = solveCell(bridge, volts, 1, (0.5 * volts) / rig.motor.emf_Vs, 1);
    const perAmpere = cell.torque_Nm / cell.busCurrent_A;
    expect(Math.abs(perAmpere / ((3 / Math.PI) * rig.motor.emf_Vs) - 1)).toBeLessThan(0.02);
  });

  test('no-load speed per volt lies between the ideal and its loss by no-load current and resistance', () => {
    const bare = new Truth(rig, maps, { propeller: false }).atDuty(volts, 1);
    // n/V = (π/3)·K·(1 − I0·R/V)/cos(advance): sinusoidal EMF at full duty, hand check; lag costs about 1 %.
    const electrical = bare.speed_radps * rig.motor.polePairs;
    const advance = Math.min(rig.settings.timingAdvance_deg, 30 - (electrical * rig.esc.minCommutationDelay_s * 180) / Math.PI);
    const hand = ((Math.PI / 3) * kv_rpmPerV * (1 - (bare.current_A * rig.motor.resistance_ohm) / volts)) / Math.cos((advance * Math.PI) / 180);
    expect(Math.abs(bare.speed_rpm / volts / hand - 1)).toBeLessThan(0.025);
  });

  test('figure of merit stays below 1: T^1.5/√(2ρA) is less than the shaft power (momentum theory)', () => {
    const area = (Math.PI * rig.propeller.diameter_m ** 2) / 4;
    for (const duty of DUTIES) {
      const point = truth.atDuty(volts, duty);
      const ideal_W = point.thrust_N ** 1.5 / Math.sqrt(2 * rig.airDensity_kgpm3 * area);
      expect(ideal_W / point.propeller_W).toBeLessThan(0.8);
      expect(ideal_W / point.propeller_W).toBeGreaterThan(0.3);
    }
  });

  test('no operating point gives more mechanical than electrical power', () => {
    for (const duty of DUTIES) {
      const { efficiency } = truth.atDuty(volts, duty);
      expect(efficiency).toBeGreaterThan(0);
      expect(efficiency).toBeLessThan(0.9);
    }
  });

  test('energy balance: input equals shaft work and heat, within what diodes and bus resistance take', () => {
    const sim = rigOf(rig, { noise: false });
    let input = 0, shaft = 0, heat = 0, friction = 0, propeller = 0;
    for (let round = 0; round < 2; round++) {
      for (const throttle of [0.1, 0.5, 1, 0.3]) {
        for (let k = 0; k < 4000; k++) {
          const before = sim.drive.speed_radps;
          const bus = sim.supply.bus_V;
          sim.step(throttle, 125);
          const rippleLoss = sim.drive.case_W - frictionOf(rig, before) * before;
          input += bus * sim.drive.current_A * 125e-6;
          shaft += sim.drive.torque_Nm * before * 125e-6;
          heat += (sim.drive.copper_W + sim.drive.esc_W + rippleLoss) * 125e-6;
          friction += frictionOf(rig, before) * before * 125e-6;
          propeller += sim.drive.propellerTorque_Nm * before * 125e-6;
        }
      }
    }
    expect(Math.abs(1 - (shaft + heat) / input)).toBeLessThan(name === 'tiny' ? 0.03 : 0.015);
    // Shaft work goes into propeller, friction and the rotor's kinetic energy (explicit step: to 0.5 %).
    const inertia = rig.motor.inertia_kgm2 + rig.propeller.inertia_kgm2;
    const kinetic = 0.5 * inertia * sim.drive.speed_radps ** 2;
    expect(Math.abs((propeller + friction + kinetic) / shaft - 1)).toBeLessThan(0.005);
  });

  test('a small throttle step rises in ln 9 = 2.197 time constants from 10 to 90 % (first-order system)', () => {
    const sim = rigOf(rig, { noise: false });
    run(sim, 0.5, 5);
    const before = sim.truth.speed_rpm;
    const speeds: number[] = [];
    run(sim, 0.51, 0.5, 125, () => speeds.push(sim.truth.speed_rpm));
    const after = speeds[speeds.length - 1];
    const time = (share: number): number => speeds.findIndex((speed) => (speed - before) / (after - before) >= share) * 125e-6;
    // The time constant is that of the torque balance, J/(dQload/dω − dQmotor/dω), at the temperatures of the moment.
    const warm = new Truth(rig, maps, { winding_degC: sim.truth.winding_degC, case_degC: sim.truth.case_degC });
    const { timeConstant_s } = warm.atThrottle(sim.truth.voltage_V, 0.505);
    // On the tiny class the torque curve bends within the step (switching beats with commutation).
    expect(Math.abs((time(0.9) - time(0.1)) / (Math.log(9) * timeConstant_s) - 1)).toBeLessThan(name === 'tiny' ? 0.08 : 0.02);
  });

  test('a hard step draws several times the steady current', () => {
    const sim = rigOf(rig, { noise: false });
    run(sim, 0.1, 1);
    let peak = 0;
    run(sim, 1, 1, 125, () => (peak = Math.max(peak, sim.truth.current_A)));
    const ratio = peak / sim.truth.current_A;
    expect(Math.abs(ratio / (name === 'tiny' ? 2.8 : 7) - 1)).toBeLessThan(0.1);
  });

  test('the current limiter holds a hard step to its setting within 10 %', () => {
    for (const limit of name === 'tiny' ? [3, 6] : [6, 10]) {
      const sim = rigOf(rig, { noise: false });
      sim.setSetting('current_limit', limit);
      run(sim, 0.1, 1);
      let peak = 0;
      run(sim, 1, 1, 125, () => (peak = Math.max(peak, sim.truth.current_A)));
      expect(peak).toBeLessThan(1.1 * limit);
      expect(peak).toBeGreaterThan(0.85 * limit);
    }
  });

  test('without a sink braking pumps the bus several-fold; battery or clamp hold it', () => {
    const highest = (supply: RigParameters['supply']): number => {
      const sim = rigOf({ ...rig, supply }, { noise: false });
      run(sim, 1, 1);
      let top = 0;
      run(sim, 0.1, 0.5, 125, () => (top = Math.max(top, sim.truth.voltage_V)));
      return top;
    };
    expect(highest(rig.supply)).toBeLessThan(1.05 * volts);
    expect(highest({ ...rig.supply, battery: null })).toBeGreaterThan((name === 'tiny' ? 1.8 : 3.5) * volts);
    expect(highest({ ...rig.supply, battery: null, clamp: { margin_V: 0.4, resistance_ohm: 0.1 } })).toBeLessThan(volts + 1);
  });

  test('the apex of a 5 s ramp reads below the plateau, and the way down lies above the way up: rotor lag', () => {
    const sim = rigOf(rig, { noise: false });
    const up: number[] = [], plateau: number[] = [], down: number[] = [];
    run(sim, 0.05, 1);
    for (let k = 0; k < 5000; k++) { sim.step(0.05 + (0.95 * k) / 5000, 1000); up.push(sim.truth.thrust_N); }
    run(sim, 1, 1, 1000, () => plateau.push(sim.truth.thrust_N));
    for (let k = 0; k < 5000; k++) { sim.step(1 - (0.95 * k) / 5000, 1000); down.push(sim.truth.thrust_N); }
    const shortfall = 1 - up[4999] / mean(plateau.slice(400, 900));
    expect(shortfall).toBeGreaterThan(0.01);
    expect(shortfall).toBeLessThan(0.045);
    const lag = (throttle: number): number => {
      const k = Math.round(((throttle - 0.05) / 0.95) * 5000);
      return down[5000 - k] / up[k] - 1;
    };
    expect(lag(0.5)).toBeGreaterThan(0.01);
    expect(lag(0.2)).toBeGreaterThan(lag(0.5));
    expect(lag(0.2)).toBeLessThan(0.25);
  });
});

describe('bridge and supply', () => {
  test('copper: R(100 °C)/R(20 °C) = 1.3144, R(80 °C)/R(20 °C) = 1.2358 (0.00393/K, IEC 60028, from memory)', () => {
    expect(copperFactor(100)).toBeCloseTo(1.3144, 10);
    expect(copperFactor(80)).toBeCloseTo(1.2358, 10);
    expect(copperFactor(20)).toBe(1);
  });

  test('the waveform solver has converged: a fifth of the step changes torque by less than 1.5 %', () => {
    const coarse = solveCell(bridgeOf(scout), 7.6, 0.5, 1600, 1);
    const fine = solveCell(bridgeOf(scout), 7.6, 0.5, 1600, 1, 0.05e-6);
    expect(Math.abs(coarse.torque_Nm / fine.torque_Nm - 1)).toBeLessThan(0.015);
    expect(Math.abs(coarse.busCurrent_A / fine.busCurrent_A - 1)).toBeLessThan(0.02);
  });

  test('the ladder of maps follows the solver over a ninefold voltage range', () => {
    for (const volts of [3, 6, 7.6, 10, 14, 27]) {
      const point = new Truth({ ...scout, supply: { ...scout.supply, volts: 7.6 } }, maps).atDuty(volts, 0.6);
      const magnet = 1 + scout.motor.magnetCoefficient_perK * (scout.ambient_degC - 20);
      const cell = solveCell(bridgeOf(scout), volts, 0.6, point.speed_radps * magnet, copperFactor(scout.ambient_degC));
      const torque = cell.torque_Nm * magnet;
      expect(Math.abs(torque / (point.torque_Nm + frictionOf(scout, point.speed_radps)) - 1)).toBeLessThan(0.12);
      // The same in speed, which is what a run shows: torque error over the slope of torque against speed.
      const slope = (scout.motor.inertia_kgm2 + scout.propeller.inertia_kgm2) / point.timeConstant_s;
      expect(Math.abs((torque - point.torque_Nm - frictionOf(scout, point.speed_radps)) / slope / point.speed_radps)).toBeLessThan(0.03);
    }
  });

  test('a low supply setting takes the battery off the bus, and the right one puts it back', () => {
    const sim = rigOf(scout, { noise: false });
    expect(sim.supply.batteryConnected).toBe(true);
    sim.setSupply(3, 5);
    expect(sim.supply.batteryConnected).toBe(false);
    run(sim, 0, 1, 20_000);
    expect(sim.truth.voltage_V).toBeCloseTo(3, 2);
    sim.setSupply(7.6, 15);
    expect(sim.supply.batteryConnected).toBe(true);
  });

  test('a supply in current limit without a battery lets the bus sag; the battery carries it', () => {
    const weak = { ...scout, supply: { ...scout.supply, currentLimit_A: 2, battery: null } };
    const alone = rigOf(weak, { noise: false });
    run(alone, 1, 2);
    expect(alone.supply.lead_A).toBeCloseTo(2, 2);
    expect(alone.truth.voltage_V).toBeLessThan(6);
    const helped = rigOf({ ...scout, supply: { ...scout.supply, currentLimit_A: 2 } }, { noise: false });
    run(helped, 1, 2);
    expect(helped.truth.voltage_V).toBeGreaterThan(7.3);
  });

  test('the motor sensor, on the case, reads well below the winding under load', () => {
    const sim = rigOf(scout, { noise: false });
    run(sim, 1, 40);
    expect(sim.truth.winding_degC - sim.heat.caseSensor_degC).toBeGreaterThan(10);
    expect(sim.truth.winding_degC).toBeLessThan(120);
  });

  test('scaled articles change what they say and nothing else', () => {
    const heavy = scaleArticle(scout, { inertia: 2 });
    expect(new Truth(heavy, maps).atDuty(7.6, 0.5).timeConstant_s / new Truth(scout, maps).atDuty(7.6, 0.5).timeConstant_s).toBeCloseTo(2, 9);
    const hot = scaleArticle(scout, { resistance: 2, inductance: 0.5 });
    expect(hot.motor.resistance_ohm).toBe(0.34);
    expect(hot.motor.inductance_H).toBe(10e-6);
    expect({ ...hot.motor, resistance_ohm: 0.17, inductance_H: 20e-6 }).toEqual(scout.motor);
  });

  test('settings decide desyncs: a scout without advance loses commutation in hard steps, with 24 degrees hardly', () => {
    const count = (timingAdvance_deg: number): number => {
      const sim = rigOf(withSettings(scout, { timingAdvance_deg }), { seed: 5 });
      for (let cycle = 0; cycle < 60; cycle++) { run(sim, 0.1, 0.4); run(sim, 1, 0.4); }
      return sim.truth.desyncs;
    };
    expect(count(0)).toBeGreaterThanOrEqual(5);
    expect(count(24)).toBeLessThanOrEqual(2);
  });
});

function frictionOf(rig: RigParameters, speed_radps: number): number {
  return rig.motor.coulombTorque_Nm + rig.motor.viscousTorque_Nms * speed_radps;
}
