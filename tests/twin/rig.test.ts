// Goal: the simulated rig keeps its promises to whoever wraps it: determinism, masks, rest, settings, faults.
// Method: seeded rigs in virtual time, checksums of every count they deliver.
import { describe, expect, test } from 'vitest';
import { CHANNEL, CHANNEL_COUNT, MapCache, NO_COMMUTATION, scout, SimulatedRig, Truth } from '../../src/twin/physics';
import type { ChannelName } from '../../src/twin/physics';
import { ThermalNodes } from '../../src/twin/physics/thermal';
import { maps, mean, rigOf, run, si, spread } from './helpers';

/** FNV-1a over all counts and masks of a run with steps, coasting and rest. */
function checksum(rig: SimulatedRig): number {
  let hash = 0x811c9dc5;
  const add = (value: number): void => { hash = Math.imul(hash ^ value, 0x01000193); };
  const note = (): void => {
    add(rig.fresh);
    add(rig.valid);
    for (let k = 0; k < CHANNEL_COUNT; k++) add(rig.counts[k]);
  };
  for (let cycle = 0; cycle < 4; cycle++) {
    run(rig, 0.1, 0.3, 1000, note);
    run(rig, 0.9, 0.3, 125, note);
  }
  run(rig, 0, 25, 20_000, note);
  run(rig, 0.3, 0.3, 1000, note);
  return hash >>> 0;
}

describe('determinism', () => {
  test('same seed, same counts; another seed, other counts', () => {
    const one = checksum(rigOf(scout, { seed: 7 }));
    expect(checksum(rigOf(scout, { seed: 7 }))).toBe(one);
    expect(checksum(rigOf(scout, { seed: 8 }))).not.toBe(one);
  });

  test('what other runs left in a shared map never changes a result', () => {
    const alone = checksum(new SimulatedRig(scout, { seed: 7, maps: new MapCache() }));
    const shared = new MapCache();
    for (const seed of [1, 2]) run(new SimulatedRig(scout, { seed, maps: shared }), 0.77, 3);
    expect(checksum(new SimulatedRig(scout, { seed: 7, maps: shared }))).toBe(alone);
  });

  test('the length of the controller tick does not change the physics', () => {
    const fine = rigOf(scout, { noise: false });
    const coarse = rigOf(scout, { noise: false });
    for (const throttle of [0.2, 0.8, 0.1]) { run(fine, throttle, 0.5, 125); run(coarse, throttle, 0.5, 20_000); }
    expect(coarse.truth.speed_rpm).toBe(fine.truth.speed_rpm);
    expect(coarse.truth.winding_degC).toBe(fine.truth.winding_degC);
  });
});

describe('masks and timing', () => {
  test('every channel is fresh at its declared rate and valid from its first reading on', () => {
    const rig = rigOf(scout, { seed: 3 });
    expect(rig.valid).toBe(0);
    const seen = new Array<number>(CHANNEL_COUNT).fill(0);
    run(rig, 0.3, 10, 1000, () => { for (let k = 0; k < CHANNEL_COUNT; k++) seen[k] += (rig.fresh >> k) & 1; });
    expect(rig.valid).toBe(0b111111);
    expect(seen[CHANNEL.current]).toBe(10_000);
    expect(seen[CHANNEL.voltage]).toBe(10_000);
    expect(seen[CHANNEL.thrust]).toBe(800);
    expect(seen[CHANNEL.motorTemperature]).toBe(100);
    expect(seen[CHANNEL.escTemperature]).toBe(100);
    expect(rig.now_us).toBe(10_000_000);
  });

  test('the slower channels keep their rate across rest', () => {
    const rig = rigOf(scout, { seed: 3 });
    let temperature = 0, thrust = 0;
    const count = (): void => {
      temperature += (rig.fresh >> CHANNEL.motorTemperature) & 1;
      thrust += (rig.fresh >> CHANNEL.thrust) & 1;
    };
    run(rig, 0, 30, 5000, count);
    expect(temperature).toBe(300);
    expect(thrust).toBe(2400);
  });

  test.each([0, 100, 124, 126, 20_125, NaN, -125])('refuses a step of %s µs', (dt_us) => {
    expect(() => rigOf(scout).step(0, dt_us)).toThrow(/multiple of 125 µs up to 20000 µs/);
  });

  test('refuses a throttle that is no number, and clamps one outside 0..1', () => {
    expect(() => rigOf(scout).step(NaN, 125)).toThrow(RangeError);
    const over = rigOf(scout, { noise: false }), full = rigOf(scout, { noise: false });
    run(over, 1.7, 0.5);
    run(full, 1, 0.5);
    expect(over.truth.speed_rpm).toBe(full.truth.speed_rpm);
    const under = rigOf(scout, { noise: false });
    run(under, -1, 0.5);
    expect(under.truth.speed_rpm).toBe(0);
  });

  test('channel facts convert counts to the truth and hide the drawn errors', () => {
    const rig = rigOf(scout, { seed: 21 });
    run(rig, 0.5, 3);
    const [current, voltage, , thrust] = rig.channels;
    expect(Math.abs(si(rig, CHANNEL.current) - rig.truth.current_A)).toBeLessThan(5 * (current.noise + current.offsetUncertainty + current.gainUncertainty));
    expect(Math.abs(si(rig, CHANNEL.voltage) - rig.truth.voltage_V)).toBeLessThan(5 * (voltage.noise + voltage.offsetUncertainty + 8 * voltage.gainUncertainty));
    expect(Math.abs(si(rig, CHANNEL.thrust) - rig.truth.thrust_N)).toBeLessThan(5 * (thrust.noise + thrust.offsetUncertainty + thrust.gainUncertainty));
    expect(Object.keys(current)).not.toContain('gainError');
    expect(rig.channels.map((channel) => channel.period_us)).toEqual([1000, 1000, 1000, 12_500, 100_000, 100_000]);
  });
});

describe('rest', () => {
  test('a cool-down in 20 ms steps follows one in 1 ms steps within 0.1 °C', () => {
    const rigs = [1000, 20_000].map((dt_us) => {
      const rig = rigOf(scout, { noise: false });
      run(rig, 1, 10);
      run(rig, 0, 20, 1000);
      run(rig, 0, 60, dt_us);
      return rig;
    });
    expect(rigs[0].truth.speed_rpm).toBe(0);
    for (const key of ['winding_degC', 'case_degC', 'esc_degC'] as const) expect(Math.abs(rigs[0].truth[key] - rigs[1].truth[key])).toBeLessThan(0.1);
  });

  test('heat alone: 20 ms steps follow 2 ms steps within 0.2 °C through heating and cooling', () => {
    const coarse = new ThermalNodes(scout), fine = new ThermalNodes(scout);
    for (const watts of [10, 0]) {
      for (let k = 0; k < 1000; k++) {
        coarse.step(0.02, watts, 1, 1, 0);
        for (let j = 0; j < 10; j++) fine.step(0.002, watts, 1, 1, 0);
        expect(Math.abs(coarse.winding_degC - fine.winding_degC)).toBeLessThan(0.2);
      }
    }
    expect(fine.winding_degC).toBeGreaterThan(scout.ambient_degC + 1);
  });

  test('noise and errors of a resting rig are those of a running one', () => {
    const rig = rigOf(scout, { seed: 5 });
    const volts: number[] = [];
    run(rig, 0, 20, 20_000, () => volts.push(si(rig, CHANNEL.voltage)));
    expect(Math.abs(spread(volts.slice(1)) / rig.channels[CHANNEL.voltage].noise - 1)).toBeLessThan(0.12);
    const { gainError, offsetError } = rig.converters[CHANNEL.voltage];
    expect(Math.abs(mean(volts.slice(1)) - (rig.truth.voltage_V * (1 + gainError) + offsetError))).toBeLessThan(3e-4);
  });

  test('starts again from rest', () => {
    const rig = rigOf(scout, { seed: 5 });
    run(rig, 0, 5, 20_000);
    run(rig, 0.3, 1.5);
    expect(rig.truth.speed_rpm).toBeGreaterThan(8000);
  });

  test('some starts fail and are tried again: about the stated share of 400', () => {
    const rig = rigOf({ ...scout, esc: { ...scout.esc, startFailure: 0.1 }, motor: { ...scout.motor, coulombTorque_Nm: 0.02 } }, { seed: 5 });
    for (let k = 0; k < 400; k++) { run(rig, 0.2, 0.02); run(rig, 0, 0.1); }
    expect(rig.truth.failedStarts).toBeGreaterThan(22);
    expect(rig.truth.failedStarts).toBeLessThan(72);
  });
});

describe('settings, supply, propeller, mounting', () => {
  test('settings act: a lower switching frequency changes speed at one throttle, an unknown or wild one is refused', () => {
    const rig = rigOf(scout, { noise: false });
    run(rig, 0.5, 1);
    const before = rig.truth.speed_rpm;
    rig.setSetting('switching_frequency', 22_000);
    run(rig, 0.5, 1);
    expect(rig.truth.speed_rpm).toBeGreaterThan(1.005 * before);
    expect(() => rig.setSetting('timing_advance', 45)).toThrow(/accepted: 0 to 30 degrees/);
    expect(() => rig.setSetting('colour' as 'timing_advance', 1)).toThrow(/accepted: switching_frequency/);
    expect(() => rig.setSetting('current_limit', NaN)).toThrow(RangeError);
    expect(() => rig.setSupply(0, 1)).toThrow(/0.5 to 60 V/);
  });

  test('a kv run: no propeller, 3 V, full throttle reaches the truth', () => {
    const rig = rigOf(scout, { noise: false });
    rig.setPropeller(false);
    rig.setSupply(3, 5);
    run(rig, 0, 1, 20_000);
    for (let k = 0; k < 3000; k++) rig.step(k / 3000, 1000);
    run(rig, 1, 1);
    const { winding_degC, case_degC, voltage_V } = rig.truth;
    const low = { ...scout, supply: { ...scout.supply, volts: 3 } };
    const truth = new Truth(low, maps, { propeller: false, winding_degC, case_degC }).kv_rpmPerV(voltage_V);
    expect(Math.abs(rig.truth.speed_rpm / voltage_V / truth - 1)).toBeLessThan(0.002);
    expect(rig.truth.thrust_N).toBe(0);
  });

  test('with the output off nothing feeds the bus, at rest in long steps too; on again it stands where it stood', () => {
    for (const dt_us of [1000, 20_000]) {
      const rig = rigOf(scout, { noise: false });
      run(rig, 0, 0.5, dt_us);
      const before = rig.truth.voltage_V;
      rig.setOutput(false);
      run(rig, 0, 3, dt_us);
      expect(rig.truth.voltage_V).toBeLessThan(1);
      run(rig, 0.5, 0.5, dt_us);
      expect(rig.truth.speed_rpm).toBe(0);
      run(rig, 0, 0.5, dt_us);
      rig.setOutput(true);
      run(rig, 0, 0.5, dt_us);
      expect(rig.truth.voltage_V).toBeCloseTo(before, 2);
      run(rig, 0.5, 1, 1000);
      expect(rig.truth.speed_rpm).toBeGreaterThan(5000);
    }
  });

  test('each mounting draws its own factors with the stated spread; they stay until the next', () => {
    const rig = rigOf(scout, { seed: 4 });
    const thrusts: number[] = [];
    for (let k = 0; k < 1500; k++) {
      rig.remount();
      thrusts.push(rig.truth.thrustFactor);
    }
    expect(Math.abs(spread(thrusts) / scout.mounting.thrustSpread - 1)).toBeLessThan(3.29 / Math.sqrt(2 * 1499));
    const kept = rig.truth.thrustFactor;
    run(rig, 0.3, 0.5);
    run(rig, 0, 25);
    expect(rig.truth.thrustFactor).toBe(kept);
  });

  test('nobody changes a propeller or a mounting on a turning rotor', () => {
    const rig = rigOf(scout);
    run(rig, 0.3, 0.5);
    expect(() => rig.setPropeller(false)).toThrow(/standstill/);
    expect(() => rig.remount()).toThrow(/standstill/);
  });
});

describe('faults', () => {
  const running = (): SimulatedRig => {
    const rig = rigOf(scout, { seed: 6 });
    run(rig, 0.5, 1);
    return rig;
  };

  test('lock-rotor: a current surge, then current without rotation', () => {
    const rig = running();
    rig.inject({ kind: 'lock-rotor' });
    let peak = 0;
    run(rig, 0.5, 0.02, 125, () => (peak = Math.max(peak, rig.truth.current_A)));
    expect(peak).toBeGreaterThan(8);
    run(rig, 0.5, 0.1);
    expect(rig.truth.speed_rpm).toBe(0);
    expect(rig.truth.current_A).toBeGreaterThan(2);
    expect(rig.counts[CHANNEL.period]).toBe(NO_COMMUTATION);
    rig.clearFaults();
    run(rig, 0.5, 1);
    expect(rig.truth.speed_rpm).toBeGreaterThan(10_000);
  });

  test('lose-propeller: thrust ends, speed runs up, current falls', () => {
    const rig = running();
    const { speed_rpm, current_A } = rig.truth;
    rig.inject({ kind: 'lose-propeller' });
    run(rig, 0.5, 0.5);
    expect(rig.truth.speed_rpm).toBeGreaterThan(1.1 * speed_rpm);
    expect(rig.truth.current_A).toBeLessThan(current_A);
    expect(rig.truth.thrust_N).toBe(0);
    expect(Math.abs(si(rig, CHANNEL.thrust))).toBeLessThan(0.05);
  });

  test.each(Object.keys(CHANNEL) as ChannelName[])('%s can freeze, fall silent, saturate and open', (channel) => {
    const rig = running();
    const bit = 1 << CHANNEL[channel];
    const fact = rig.channels[CHANNEL[channel]];
    const watch = (): { fresh: number; values: Set<number> } => {
      let fresh = 0;
      const values = new Set<number>();
      run(rig, 0.8, 0.4, 1000, () => { if ((rig.fresh & bit) !== 0) { fresh++; values.add(rig.counts[CHANNEL[channel]]); } });
      return { fresh, values };
    };
    rig.inject({ kind: 'freeze-channel', channel });
    const frozen = watch();
    expect(frozen.fresh).toBeGreaterThan(2);
    expect(frozen.values.size).toBe(1);
    rig.inject({ kind: 'silence-channel', channel });
    expect(watch().fresh).toBe(0);
    rig.inject({ kind: 'saturate-channel', channel, at: 'high' });
    expect([...watch().values]).toEqual([fact.max_counts]);
    rig.inject({ kind: 'saturate-channel', channel, at: 'low' });
    expect([...watch().values]).toEqual([fact.min_counts]);
    expect(rig.valid & bit).toBe(bit);
    rig.inject({ kind: 'open-channel', channel });
    watch();
    expect(rig.valid & bit).toBe(0);
    rig.clearFaults();
    expect(watch().fresh).toBeGreaterThan(2);
    expect(rig.valid & bit).toBe(bit);
  });

  test('supply-resistance: the bus sags under load and recovers', () => {
    const rig = running();
    const before = rig.truth.voltage_V;
    rig.inject({ kind: 'supply-resistance', ohm: 1 });
    run(rig, 0.5, 0.3);
    expect(rig.truth.voltage_V).toBeLessThan(before - 0.5);
    rig.clearFaults();
    run(rig, 0.5, 0.3);
    expect(rig.truth.voltage_V).toBeCloseTo(before, 1);
  });

  test('disconnect-sink: braking pumps the bus', () => {
    const rig = rigOf(scout, { seed: 6 });
    run(rig, 0.8, 1);
    rig.inject({ kind: 'disconnect-sink' });
    let top = 0;
    run(rig, 0.1, 0.3, 125, () => (top = Math.max(top, rig.truth.voltage_V)));
    expect(top).toBeGreaterThan(15);
  });

  test('scale-friction: more current for less speed', () => {
    const rig = running();
    const { speed_rpm, current_A } = rig.truth;
    rig.inject({ kind: 'scale-friction', factor: 5 });
    run(rig, 0.5, 0.5);
    expect(rig.truth.current_A).toBeGreaterThan(current_A);
    expect(rig.truth.speed_rpm).toBeLessThan(speed_rpm);
  });

  test('desync: torque is gone for the stated time and counted once', () => {
    const rig = running();
    const { speed_rpm, desyncs } = rig.truth;
    rig.inject({ kind: 'desync', duration_s: 0.1 });
    run(rig, 0.5, 0.099);
    expect(rig.truth.inStep).toBe(false);
    expect(rig.truth.speed_rpm).toBeLessThan(0.8 * speed_rpm);
    run(rig, 0.5, 0.002);
    expect(rig.truth.inStep).toBe(true);
    expect(rig.truth.desyncs).toBe(desyncs + 1);
  });

  test('heat-node: the sensor follows with its lag', () => {
    const rig = running();
    rig.inject({ kind: 'heat-node', node: 'case', temperature_degC: 110 });
    run(rig, 0.5, 0.2);
    expect(rig.truth.case_degC - si(rig, CHANNEL.motorTemperature)).toBeGreaterThan(60);
    run(rig, 0.5, 20);
    expect(Math.abs(rig.truth.case_degC - si(rig, CHANNEL.motorTemperature))).toBeLessThan(10);
    expect(si(rig, CHANNEL.motorTemperature)).toBeGreaterThan(45);
    rig.inject({ kind: 'heat-node', node: 'esc', temperature_degC: 95 });
    expect(rig.truth.esc_degC).toBe(95);
  });

  test('a scheduled fault acts from its time on, and is forgotten when cleared', () => {
    const rig = running();
    const at = rig.now_us + 50_000;
    rig.inject({ kind: 'silence-channel', channel: 'current' }, at);
    let last = 0;
    run(rig, 0.5, 0.1, 1000, () => { if ((rig.fresh & 1) !== 0) last = rig.now_us; });
    expect(last).toBeLessThanOrEqual(at);
    expect(last).toBeGreaterThan(at - 2000);
    rig.clearFaults();
    rig.inject({ kind: 'lock-rotor' }, rig.now_us + 10_000);
    rig.clearFaults();
    run(rig, 0.5, 0.1);
    expect(rig.truth.speed_rpm).toBeGreaterThan(1000);
  });
});
