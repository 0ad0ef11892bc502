// Goal: air, propeller and motor figures agree with the standards and published tables, and nonsense is refused.
// Method: ISO 2533 and CIPM-2007 values, the UIUC static propeller table, Drela's first-order motor model, identities.
import fc from 'fast-check';
import { describe, expect, test } from 'vitest';
import { cipm2007, idealMoistAir, saturationPressure, standardAtmosphere, stationPressure, viscosity } from '../../src/analysis/physics/air';
import { copperResistance, mechanicalSpeed, motorAt, motorWithPropeller, speedConstant, torqueConstant } from '../../src/analysis/physics/motor';
import {
  advanceRatio, atDensity, figureOfMerit, idealHoverPower, powerCoefficient, powerOf, propulsiveEfficiency, shaftPower, shaftTorque,
  thrustCoefficient, thrustOf, torqueCoefficient,
} from '../../src/analysis/physics/propeller';
import { fitLawAboveZero } from '../../src/analysis/physics/thrust-law';
import { fitNonlinear } from '../../src/analysis/stats/nonlinear';

describe('standard atmosphere, ISO 2533:1975 (geopotential altitude)', () => {
  test.each([
    [0, 288.15, 101325, 1.225, 340.294, 1.7894e-5],
    [1000, 281.65, 89874.6, 1.11164, 336.434, 1.7578e-5],
    [5000, 255.65, 54019.9, 0.73612, 320.53, 1.628e-5],
  ])('%i m', (h, T, p, rho, a, mu) => {
    const air = standardAtmosphere(h);
    expect(air.temperature_K).toBeCloseTo(T, 9);
    expect(Math.abs(air.pressure_Pa - p)).toBeLessThan(0.06);
    expect(Math.abs(air.density_kg_m3 - rho)).toBeLessThan(6e-6);
    expect(Math.abs(air.soundSpeed_m_s - a)).toBeLessThan(6e-3);
    expect(Math.abs(air.viscosity_Pa_s / mu - 1)).toBeLessThan(1e-4);
  });
  test('altitudes outside the layer are refused; sea-level pressure reduces to the station', () => {
    expect(() => standardAtmosphere(11_001)).toThrow(/outside/);
    expect(standardAtmosphere(11_000).temperature_K).toBeCloseTo(216.65, 9);
    expect(stationPressure(101325, 1000)).toBeCloseTo(89874.6, 0);
    expect(viscosity(15)).toBeCloseTo(1.78938e-5, 9);
  });
});

describe('moist air', () => {
  test('CIPM-2007 at 20 °C, 101 325 Pa, 50 %, 400 ppm and dry (evaluated independently from the published constants)', () => {
    expect(cipm2007({ temperature_degC: 20, pressure_Pa: 101325, humidity: 0.5 }).density_kg_m3).toBeCloseTo(1.1993139, 6);
    expect(cipm2007({ temperature_degC: 20, pressure_Pa: 101325, humidity: 0 }).density_kg_m3).toBeCloseTo(1.2045573, 6);
    expect(cipm2007({ temperature_degC: 15, pressure_Pa: 101325, humidity: 0 }).density_kg_m3).toBeCloseTo(1.2255213, 6);
    expect(saturationPressure(20)).toBeCloseTo(2339.163, 2);
  });
  test('the OIML R 111-1 E.3 approximation (from memory) agrees within its stated 2e-4', () => {
    for (const [t, p, h] of [[16, 95_000, 0.3], [20, 101_325, 0.5], [26, 103_000, 0.7]]) {
      const simple = (0.34848 * (p / 100) - 0.009 * (h * 100) * Math.exp(0.061 * t)) / (273.15 + t);
      expect(Math.abs(cipm2007({ temperature_degC: t, pressure_Pa: p, humidity: h }).density_kg_m3 / simple - 1)).toBeLessThan(2e-4);
    }
  });
  test('10 °C, 730 mmHg, 40 % gives 1.19569 (“Mass Metrology”, p. 205, as quoted in the tests of a published package), flagged as outside 15..27 °C', () => {
    const d = cipm2007({ temperature_degC: 10, pressure_Pa: (730 * 101325) / 760, humidity: 0.4 });
    expect(d.density_kg_m3).toBeCloseTo(1.19569, 4);
    expect(d.flags).toHaveLength(1);
  });
  test('flags begin just outside the stated range', () => {
    const flags = (t: number, p: number): number => cipm2007({ temperature_degC: t, pressure_Pa: p, humidity: 0.5 }).flags.length;
    expect([flags(15, 60_000), flags(27, 110_000), flags(14.99, 60_000), flags(27.01, 110_001)]).toEqual([0, 0, 1, 2]);
  });
  test('the ideal mixture stays within 0.1 % of CIPM-2007 over the bench range, and moist air is lighter', () => {
    fc.assert(fc.property(fc.double({ min: 15, max: 27, noNaN: true }), fc.double({ min: 60_000, max: 110_000, noNaN: true }), fc.double({ min: 0, max: 1, noNaN: true }), (temperature_degC, pressure_Pa, humidity) => {
      const air = { temperature_degC, pressure_Pa, humidity };
      expect(Math.abs(idealMoistAir(air) / cipm2007(air).density_kg_m3 - 1)).toBeLessThan(1e-3);
      expect(cipm2007(air).density_kg_m3).toBeLessThanOrEqual(cipm2007({ ...air, humidity: 0 }).density_kg_m3);
    }), { numRuns: 100, seed: 1 });
  });
  test('units that look wrong are named', () => {
    expect(() => cipm2007({ temperature_degC: 20, pressure_Pa: 1013, humidity: 0.5 })).toThrow(/1 hPa = 100 Pa/);
    expect(() => cipm2007({ temperature_degC: 293, pressure_Pa: 101325, humidity: 0.5 })).toThrow(/is the unit right/);
    expect(() => idealMoistAir({ temperature_degC: 20, pressure_Pa: 101325, humidity: 50 })).toThrow(/give 45 % as 0.45/);
  });
});

describe('propeller', () => {
  // UIUC Propeller Data Site, volume 1 (Brandt & Selig, AIAA 2011-1255): static run of a 10 x 4.7 propeller; rpm, CT, CP.
  const D = 0.254;
  const table = [
    [2377, 0.1059, 0.0431], [2676, 0.1079, 0.0437], [2947, 0.1079, 0.0437], [3234, 0.1104, 0.0444], [3494, 0.1117, 0.045], [3762, 0.1143, 0.046],
    [4029, 0.1158, 0.0466], [4319, 0.1177, 0.0474], [4590, 0.12, 0.0484], [4880, 0.1223, 0.0494], [5147, 0.1237, 0.05], [5417, 0.1252, 0.0508],
    [5715, 0.1263, 0.0513], [5960, 0.1278, 0.052], [6226, 0.1286, 0.0524], [6528, 0.1299, 0.0531],
  ];
  const state = (rpm: number) => ({ speed_rpm: rpm, diameter_m: D, density_kg_m3: 1.225 });
  test.each([[6528, 7.84039, 88.56984, 0.703492], [4029, 2.66239, 18.27379, 0.67471], [2377, 0.84747, 3.47069, 0.63798]])('%i rpm: thrust, power and figure of merit (computed from the table at 1.225 kg/m³)', (rpm, thrust, power, fm) => {
    const [, ct, cp] = table.find(([r]) => r === rpm) ?? [];
    expect(thrustOf(ct, state(rpm))).toBeCloseTo(thrust, 5);
    expect(powerOf(cp, state(rpm))).toBeCloseTo(power, 4);
    expect(figureOfMerit(thrust, power, D, 1.225)).toBeCloseTo(fm, 5);
    expect(figureOfMerit(thrust, power, D, 1.225)).toBeCloseTo((ct ** 1.5 / cp) * Math.sqrt(2 / Math.PI), 4); // the same in coefficients
  });
  test('torque, ideal power and the forward sweep at J = 0.445 (η printed 0.657)', () => {
    expect(shaftTorque(88.56984, 6528)).toBeCloseTo(0.129562, 6);
    expect(idealHoverPower(7.84039, D, 1.225)).toBeCloseTo(62.30819, 3);
    expect(propulsiveEfficiency(0.445, 0.0562, 0.0381)).toBeCloseTo(0.6564, 4);
    expect(advanceRatio(12, 6512, D)).toBeCloseTo(12 / (108.5333 * 0.254), 4);
  });
  test('coefficients and dimensions undo each other; CP = 2π·CQ; merit stays below 1 over the table', () => {
    for (const [rpm, ct, cp] of table) {
      const s = state(rpm);
      expect(thrustCoefficient(thrustOf(ct, s), s)).toBeCloseTo(ct, 14);
      expect(powerCoefficient(powerOf(cp, s), s)).toBeCloseTo(cp, 14);
      const torque = shaftTorque(powerOf(cp, s), rpm);
      expect(2 * Math.PI * torqueCoefficient(torque, s)).toBeCloseTo(cp, 13);
      expect(shaftPower(torque, rpm)).toBeCloseTo(powerOf(cp, s), 10);
      expect(figureOfMerit(thrustOf(ct, s), powerOf(cp, s), D, 1.225)).toBeLessThan(1);
    }
    expect(figureOfMerit(1, 0, D, 1.225)).toBeNull();
    expect(() => thrustCoefficient(1, state(0))).toThrow(/above 0/);
    expect(atDensity(10, 1.1, 1.225)).toBeCloseTo(11.13636, 5);
    expect(() => atDensity(10, 0, 1.225)).toThrow(/above 0/);
  });
  test('this table is no rpm² law: CT rises by a fifth, and the fitted exponent says so', () => {
    const law = fitLawAboveZero(table.map(([r]) => r), table.map(([r, ct]) => thrustOf(ct, state(r))));
    if (!law.ok) throw new Error(law.reason);
    expect(law.exponent).toBeGreaterThan(2.1);
    expect(law.square).toBe('fails');
  });
  test('the quick start ends where a search from afar ends: at the least sum of squares', () => {
    fc.assert(fc.property(fc.double({ min: 1.2, max: 3, noNaN: true }), fc.double({ min: -0.5, max: 0.5, noNaN: true }), fc.integer({ min: 1, max: 1e6 }), (exponent, zero, seed) => {
      const speed = Array.from({ length: 40 }, (_, i) => 4000 + 500 * i);
      const z = speed.map((v) => v / 23_500);
      const thrust = z.map((v, i) => zero + 2 * v ** exponent + 0.02 * Math.sin(seed * (i + 1) ** 2));
      const law = fitLawAboveZero(speed, thrust);
      const far = fitNonlinear(z, thrust, ([c, k, p]) => (x) => c + k * x ** p, { start: [0.3, 1, 2.5], lower: [-9, 0.01, 0.3], upper: [9, 99, 8] });
      if (!law.ok || !far.ok) throw new Error(`${law.ok ? '' : law.reason} ${far.ok ? '' : far.reason}`);
      expect(Math.abs(law.exponent - far.parameters[2])).toBeLessThan(1e-6 * far.standardErrors![2]);
      expect(law.uExponent / far.standardErrors![2]).toBeCloseTo(1, 6);
    }), { numRuns: 30, seed: 5 });
  });
  test('a true square holds, whatever the zero of the load cell; on a coarse stand, or with four points, no claim is made', () => {
    const rpm = [3000, 4000, 5000, 6000, 7000, 8000, 9000];
    const thrust = (zero: number, noise: number): number[] => rpm.map((r, i) => zero + 1e-7 * r * r + noise * (-1) ** i);
    for (const zero of [0, 0.3, -0.3]) {
      const law = fitLawAboveZero(rpm, thrust(zero, 0.002));
      if (!law.ok) throw new Error(law.reason);
      expect(law).toMatchObject({ square: 'holds' });
      expect(law.exponent).toBeCloseTo(2, 2);
      expect(law.zero_N).toBeCloseTo(zero, 1);
    }
    expect(fitLawAboveZero(rpm, thrust(0, 0.2))).toMatchObject({ ok: true, square: 'too coarse' });
    expect(fitLawAboveZero([1, 2, 3, 4], [1, 4, 9, 16])).toMatchObject({ ok: false });
    expect(fitLawAboveZero(rpm, rpm.map(() => -1))).toMatchObject({ ok: false });
  });
});

describe('first-order motor model (Drela, MIT, 2007)', () => {
  const m = { kv_rpm_V: 1000, resistance_ohm: 0.1, noLoadCurrent_A: 0.5 };
  test('own worked case: 10 V, 10 A give 9000 rpm, 0.09072 N·m, 85.5 W, and η = (1 − i₀/i)(1 − iR/v)', () => {
    const p = motorAt(m, 10, 10);
    expect(p.speed_rpm).toBeCloseTo(9000, 9);
    expect(p.torque_Nm).toBeCloseTo(0.0907183176, 9);
    expect(p.shaftPower_W).toBeCloseTo(85.5, 9);
    expect(p.efficiency).toBeCloseTo((1 - 0.05) * (1 - 0.1), 12);
    expect(motorAt(m, 10, 0).efficiency).toBeNull();
  });
  test('with a propeller the model’s speed, current and torque agree with each other, and no load means no-load current', () => {
    const kq = 1.2e-7;
    const p = motorWithPropeller(m, 10, kq);
    const omega = (p.speed_rpm * 2 * Math.PI) / 60;
    expect(p.torque_Nm).toBeCloseTo(kq * omega ** 2, 12);
    expect(p.speed_rpm).toBeCloseTo(motorAt(m, 10, p.current_A).speed_rpm, 8);
    expect(motorWithPropeller(m, 10, 0)).toMatchObject({ current_A: 0.5 });
    expect(motorWithPropeller(m, 0.03, kq).speed_rpm).toBe(0);
  });
  test('torque constant 60/(2π·KV), electrical speed and copper', () => {
    expect(torqueConstant(1000)).toBeCloseTo(0.009549297, 9);
    expect(torqueConstant(2300)).toBeCloseTo(0.004151868, 9);
    expect(mechanicalSpeed(70_000, 7)).toBe(10_000);
    expect(copperResistance(1, 80)).toBeCloseTo(1.2358, 12); // IEC 60028 coefficient
  });
  test('KV is called corrected only with no-load current, resistance and advance; what is missing is listed', () => {
    const run = { speed_rpm: 13_000, voltage_V: 3 };
    const bare = speedConstant(run);
    expect(bare.label).toBe('apparent');
    expect(bare.notCorrected).toEqual(['no-load current', 'resistance', 'timing advance']);
    expect(bare.kv_rpm_V).toBe(bare.apparentKv_rpm_V);
    const full = speedConstant({ ...run, noLoadCurrent_A: 1, resistance_ohm: 0.1, advanceRatio: 1.05 });
    expect(full.label).toBe('corrected');
    expect(full.kv_rpm_V).toBeCloseTo(13_000 / 2.9 / 1.05, 9);
    expect(full.kt_Nm_A).toBeCloseTo(torqueConstant(full.kv_rpm_V), 15);
    expect(() => speedConstant({ ...run, noLoadCurrent_A: 30, resistance_ohm: 0.1 })).toThrow(/resistive drop/);
    expect(() => speedConstant({ speed_rpm: 0, voltage_V: 3 })).toThrow(/above 0/);
  });
});
