// What hangs on the emulated board's pins and bus: a speed controller that reads the pulses, the simulated drive, and the sensors
// that measure it. Noise is seeded.
import { pt100_ohm, thermistor_ohm, typeK_mV } from '../../src/model/sensor-laws';
import type { Article, Rig } from '../../src/model/files';
import { MapCache, Rng, scout, SimulatedRig, withSettings } from '../../src/twin/physics';
import type { Lockstep } from './lockstep';
import { Ads1115, Ina219, Ina226, Nau7802 } from './parts';

/** A speed controller that hears no pulse for so long stops; it starts to listen after so long at stop (common practice, no published source). */
const SIGNAL_LOST_US = 250_000;
const ARM_AFTER_US = 1_000_000;
const STOP_BELOW_US = 1050;
const SHUNT_OHM = 0.002;
const SUPPLY_V = 5;
const SERIES_OHM = 10_000;
const ADC_STEPS = 1024;
/** Newtons a count of the bridge converter. */
export const NEWTON_PER_COUNT = 1e-5;
/** An amplified bridge for the converter of 16 bits. */
export const BRIDGE_V_PER_N = 0.1;
const JUNCTION_degC = 25;
/** What feeds each Pt100, and the amplifier before the one on an analogue input. */
const PT100_FEED_A = 1e-3;
const PT100_BOOST = 20;
const RPM_PER_COUNT = 45;
/** A divider before an analogue input that measures the bus, and a shunt amplifier before one that measures the current. */
const DIVIDER = 3;
const AMPLIFIER_V_PER_A = 0.1;
const MAPS = new MapCache();

/** What was true at one time of the bench. */
export interface TruePoint {
  readonly at_us: number;
  readonly speed: number;
  readonly thrust: number;
  readonly current: number;
  readonly voltage: number;
}

export class DriveEnd {
  /** The truth, millisecond by millisecond. */
  readonly line: TruePoint[] = [];
  readonly sim: SimulatedRig;
  readonly monitor = new Ina226();
  readonly bridge = new Nau7802();
  /** The load cell is beyond what the bridge converter can show. */
  overloaded = false;
  /** Other parts, at addresses of their own: they measure the same drive. */
  readonly other = { monitor: new Ina219(), bridge: new Ads1115(), thermocouple: new Ads1115(), pt100: new Ads1115() };
  /** Resistance between the sense wires of the Pt100 on the bus and of the one on input 3; null: that of a sensor on the ESC. */
  readonly pt100_ohm: { bus: number | null; input: number | null } = { bus: null, input: null };
  /** The throttle that the speed controller has heard, and when. */
  throttle = 0;
  private heard_us = -Infinity;
  private stopSince_us: number | null = null;
  private armed = false;
  private readonly rng = new Rng(7, 1);

  constructor(private readonly lock: Lockstep, private readonly rig: Rig, article: Article, private readonly pin = 9) {
    const base = withSettings(scout, scout.settings);
    this.sim = new SimulatedRig({ ...base, supply: { ...base.supply, lead_ohm: rig.lead_resistance_ohm } }, { seed: 3, maps: MAPS, noise: false });
    this.sim.setPropeller(article.propeller.mounted);
    this.sim.setSupply(rig.supply.voltage_V, rig.supply.current_limit_A);
    lock.uno.i2c.parts.set(0x40, this.monitor);
    lock.uno.i2c.parts.set(0x2a, this.bridge);
    lock.uno.i2c.parts.set(0x41, this.other.monitor);
    lock.uno.i2c.parts.set(0x48, this.other.bridge);
    lock.uno.i2c.parts.set(0x49, this.other.thermocouple);
    lock.uno.i2c.parts.set(0x4a, this.other.pt100);
    lock.onPulse = (pulse) => { if (pulse.pin === this.pin) this.pulse(pulse.start_us + pulse.width_us, pulse.width_us); };
    lock.onStep = () => this.step();
    lock.uno.setPin(2, false);
    this.measure();
  }

  private pulse(end_us: number, width_us: number): void {
    this.heard_us = end_us;
    if (width_us < STOP_BELOW_US) this.stopSince_us ??= end_us;
    else if (!this.armed) this.stopSince_us = null;
    if (this.stopSince_us !== null && end_us - this.stopSince_us >= ARM_AFTER_US) this.armed = true;
    this.throttle = this.armed ? Math.min(1, Math.max(0, (width_us - 1000) / 1000)) : 0;
  }

  private step(): void {
    if (this.lock.uno.now_us - this.heard_us > SIGNAL_LOST_US) {
      this.throttle = 0;
      this.armed = false;
      this.stopSince_us = null;
    }
    this.sim.step(this.throttle, 1000);
    this.measure();
    const { truth } = this.sim;
    this.line.push({ at_us: this.lock.now_us, speed: truth.speed_rpm, thrust: truth.thrust_N, current: truth.current_A, voltage: truth.voltage_V });
  }

  private measure(): void {
    const { truth } = this.sim;
    const { uno } = this.lock;
    const noise = (size: number): number => size * this.rng.normal();
    this.monitor.shunt_V = truth.current_A * SHUNT_OHM + noise(2.5e-6);
    this.monitor.bus_V = truth.voltage_V + noise(1e-3);
    this.bridge.counts = this.overloaded ? 0x7fffff : Math.round((truth.thrust_N + noise(1e-3)) / NEWTON_PER_COUNT);
    this.other.monitor.shunt_V = this.monitor.shunt_V;
    this.other.monitor.bus_V = this.monitor.bus_V;
    this.other.bridge.volts = (truth.thrust_N + noise(1e-3)) * BRIDGE_V_PER_N;
    this.other.thermocouple.volts = (typeK_mV(truth.case_degC) - typeK_mV(JUNCTION_degC)) / 1000 + noise(2e-6);
    const onEsc_ohm = pt100_ohm(truth.esc_degC);
    this.other.pt100.volts = (this.pt100_ohm.bus ?? onEsc_ohm) * PT100_FEED_A + noise(2e-6);
    uno.setAnalog(3, (this.pt100_ohm.input ?? onEsc_ohm) * PT100_FEED_A * PT100_BOOST + noise(2e-3));
    uno.setAnalog(0, this.thermistor_V(truth.case_degC) + noise(2e-3));
    uno.setAnalog(1, this.thermistor_V(truth.esc_degC) + noise(2e-3));
    uno.setAnalog(2, ((truth.speed_rpm / RPM_PER_COUNT + (truth.speed_rpm > 0 ? 0.5 : 0)) / ADC_STEPS) * SUPPLY_V + (truth.speed_rpm > 0 ? noise(2e-3) : 0));
    for (const { kind, source } of this.rig.channels) {
      if (source.kind !== 'analog' || source.element !== null) continue;
      const volts = kind === 'voltage' ? truth.voltage_V / DIVIDER : truth.current_A * AMPLIFIER_V_PER_A;
      uno.setAnalog(source.input, volts + noise(3e-3));
    }
  }

  private thermistor_V(degC: number): number {
    const ohm = thermistor_ohm(degC, 10_000, 3950);
    return (SUPPLY_V * ohm) / (ohm + SERIES_OHM);
  }
}
