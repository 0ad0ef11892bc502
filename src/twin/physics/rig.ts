/**
 * The simulated rig: drive, supply, heat, load cell and converters behind one `step`. It knows no controller and no wire.
 * Everything random comes from the seed; two rigs with the same parameters, seed and calls give the same counts.
 */
import { MapCache } from './bridge-map';
import { Drive } from './drive';
import { applyFault, repair } from './fault-injection';
import { CHANNEL, CHANNEL_COUNT, FaultSchedule } from './faults';
import type { Fault } from './faults';
import { LoadCell } from './load-cell';
import type { ConverterParameters, EscSettings, RigParameters, SensorParameters } from './parameters';
import { Rng, STREAM } from './rng';
import { channelFact, Converter, CurrentPath, NO_COMMUTATION, periodCounts, VoltagePath } from './sensors';
import type { ChannelFact, Readings } from './sensors';
import { changedSettings } from './settings';
import type { SettingName } from './settings';
import { Supply } from './supply';
import { ThermalNodes } from './thermal';
import { RigTruth } from './rig-truth';

/** Inner step of the physics. */
export const TICK_US = 125;
export const MAX_STEP_US = 20_000;
const TICK_S = TICK_US * 1e-6;
const HEAT_TICKS = 16;

export interface RigOptions {
  /** Drives everything random. */
  readonly seed: number;
  /** Shared between rigs so that no operating point is solved twice. */
  readonly maps?: MapCache;
  /** Seeds of the sensors' errors and of the mounting, when they must outlive this rig (default: `seed`). */
  readonly calibrationSeed?: number;
  readonly mountingSeed?: number;
  /** false: no noise, no sensor errors, mounting factors 1, no random events. For protocol truths. */
  readonly noise?: boolean;
}

export class SimulatedRig {
  /** Device time. */
  now_us = 0;
  /** Newest reading of each channel, raw, in the order of `CHANNEL`. A step longer than a channel's period keeps only the newest. */
  readonly counts = new Int32Array(CHANNEL_COUNT);
  readonly channels: readonly ChannelFact[];
  readonly truth: RigTruth;
  readonly drive: Drive;
  readonly supply: Supply;
  readonly heat: ThermalNodes;
  readonly loadCell: LoadCell;
  /** Converters in channel order; their drawn errors are for graders only. */
  readonly converters: readonly Converter[];
  private readonly readings: Readings = { counts: this.counts, fresh: 0, valid: 0 };
  private settings: EscSettings;
  private propellerOn = true;
  private readonly faults = new FaultSchedule();
  private readonly mounting: Rng | null;
  private readonly noise: Rng | null;
  private readonly sensors: SensorParameters;
  private readonly currentPath: CurrentPath;
  private readonly voltagePath: VoltagePath;
  private readonly current: Converter;
  private readonly voltage: Converter;
  private readonly period: Converter;
  private readonly thrust: Converter;
  private readonly motorTemperature: Converter;
  private readonly escTemperature: Converter;
  private readonly senseAtSupply: boolean;
  private readonly restResolution_N: number;
  /** Ticks to the next reading of a slower channel, and the span they were counted from. */
  private slowTicks = 0;
  private slowSpan = 0;
  private heatTicks = 0;
  private resting = false;
  private copper_J = 0;
  private case_J = 0;
  private esc_J = 0;
  private current_As = 0;

  constructor(readonly parameters: RigParameters, options: RigOptions) {
    const { seed, maps = new MapCache(), calibrationSeed = seed, mountingSeed = seed, noise = true } = options;
    const sensors = parameters.sensors;
    this.sensors = sensors;
    this.settings = parameters.settings;
    const calibration = noise ? new Rng(calibrationSeed, STREAM.calibration) : null;
    this.mounting = noise ? new Rng(mountingSeed, STREAM.mounting) : null;
    this.noise = noise ? new Rng(seed, STREAM.noise) : null;
    this.supply = new Supply(parameters.supply, TICK_S);
    this.drive = new Drive(parameters, maps, this.supply, TICK_S, noise ? new Rng(seed, STREAM.drive) : null);
    this.heat = new ThermalNodes(parameters);
    this.loadCell = new LoadCell(parameters.loadCell, TICK_S);

    const clockError = calibration === null ? 0 : sensors.escClockSpread * calibration.normal();
    const start = noise ? new Rng(seed, STREAM.noise + 100) : null;
    const make = (index: number, converter: ConverterParameters): Converter =>
      new Converter(index, this.readings, converter, TICK_US, calibration, this.noise, start === null ? 1 - 1e-9 : start.uniform());
    this.current = make(CHANNEL.current, sensors.current);
    this.voltage = make(CHANNEL.voltage, sensors.voltage);
    this.period = make(CHANNEL.period, sensors.period);
    this.thrust = make(CHANNEL.thrust, sensors.thrust);
    this.motorTemperature = make(CHANNEL.motorTemperature, sensors.motorTemperature);
    this.escTemperature = make(CHANNEL.escTemperature, sensors.escTemperature);
    this.converters = [this.current, this.voltage, this.period, this.thrust, this.motorTemperature, this.escTemperature];
    this.channels = [sensors.current, sensors.voltage, sensors.period, sensors.thrust, sensors.motorTemperature, sensors.escTemperature]
      .map((converter, index) => channelFact(index, converter));
    this.senseAtSupply = sensors.voltageAt === 'supply';
    this.currentPath = new CurrentPath(sensors.current, sensors.rippleShare, TICK_S, clockError, start === null ? 0 : start.uniform());
    this.currentPath.setSwitching(this.settings.switchingFrequency_Hz);
    this.voltagePath = new VoltagePath(sensors.voltage, TICK_S, parameters.supply.volts, this.senseAtSupply);
    this.restResolution_N = 0.1 * sensors.thrust.step;
    this.truth = new RigTruth(this.drive, this.supply, this.heat);
    this.planSlow();
    this.drawMounting();
    this.drive.rest();
    this.truth.current_A = this.drive.current_A;
  }

  /** Bit per channel (order of `CHANNEL`): the last step brought a new reading. */
  get fresh(): number {
    return this.readings.fresh;
  }

  /** Bit per channel: the reading in `counts` can be believed as far as the converter knows. */
  get valid(): number {
    return this.readings.valid;
  }

  /**
   * Advances by one controller tick.
   * @param throttle fraction 0..1 (clamped). @param dt_us a multiple of 125 µs up to 20 ms.
   * @throws RangeError for any other `dt_us`, or a throttle that is no number.
   */
  step(throttle: number, dt_us: number): void {
    const ticks = dt_us / TICK_US;
    if (!(ticks >= 1 && dt_us <= MAX_STEP_US && ticks === (ticks | 0)) || !(throttle === throttle)) refuseStep(throttle, dt_us);
    if (this.now_us >= this.faults.next_us) for (const fault of this.faults.take(this.now_us)) this.inject(fault);
    const wanted = throttle < 0 ? 0 : throttle > 1 ? 1 : throttle;
    this.readings.fresh = 0;
    if (wanted === 0 && this.drive.speed_radps === 0 && this.settled()) {
      this.rest(ticks);
    } else {
      this.drive.setThrottle(wanted);
      if (this.resting) this.wake();
      this.current_As = 0;
      for (let k = 0; k < ticks; k++) this.tick();
      this.truth.current_A = this.current_As / ticks;
    }
    this.now_us += dt_us;
  }

  /** Leaving rest: what the coarse steps did not keep up to date. */
  private wake(): void {
    this.resting = false;
    this.drive.setTemperatures(this.heat.winding_degC, this.heat.case_degC);
  }

  private tick(): void {
    const drive = this.drive;
    const before_radps = drive.speed_radps;
    drive.step();
    this.current_As += drive.current_A;
    this.copper_J += drive.copper_W;
    this.case_J += drive.case_W;
    this.esc_J += drive.esc_W;
    if (++this.heatTicks >= HEAT_TICKS) this.stepHeat();
    this.loadCell.step(drive);
    if (this.currentPath.step(drive)) this.current.read(this.currentPath.take());
    if (this.voltagePath.step(this.supply)) this.voltage.read(this.voltagePath.take());
    if (--this.slowTicks <= 0) this.readSlow(before_radps);
  }

  /** The slower channels that are due; then counts the ticks to the next one. @param before_radps speed at the start of the tick */
  private readSlow(before_radps: number): void {
    const { period, thrust, motorTemperature, escTemperature, slowSpan } = this;
    if (period.elapse(slowSpan)) this.readPeriod(before_radps);
    if (thrust.elapse(slowSpan)) thrust.read(this.loadCell.convert(thrust.periodTicks * TICK_S, this.noise));
    if (motorTemperature.elapse(slowSpan)) motorTemperature.read(this.heat.caseSensor_degC);
    if (escTemperature.elapse(slowSpan)) escTemperature.read(this.heat.escSensor_degC);
    this.planSlow();
  }

  private planSlow(): void {
    this.slowSpan = Math.min(this.period.due, this.thrust.due, this.motorTemperature.due, this.escTemperature.due);
    this.slowTicks = this.slowSpan;
  }

  private stepHeat(): void {
    const n = this.heatTicks;
    this.heat.step(n * TICK_S, this.copper_J / n, this.case_J / n, this.esc_J / n, this.drive.speed_radps);
    this.heatTicks = 0;
    this.copper_J = this.case_J = this.esc_J = 0;
    this.drive.setTemperatures(this.heat.winding_degC, this.heat.case_degC);
    this.supply.settleCharge();
  }

  /** Telemetry tells the speed at an instant inside the tick; thrust and temperatures are means, or slow, so that their tick is enough. */
  private readPeriod(before_radps: number): void {
    const rng = this.noise;
    if (rng !== null && rng.uniform() < this.sensors.periodDropout) return;
    const drive = this.drive;
    const speed_radps = drive.speed_radps - this.period.early * (drive.speed_radps - before_radps);
    const electrical = drive.commutating ? speed_radps * this.parameters.motor.polePairs : 0;
    const dither = rng === null ? 0 : rng.uniform() - 0.5;
    this.period.publish(
      electrical > 0 ? periodCounts(electrical, this.sensors.period.step, 1 + this.period.gainError, this.sensors.periodBits, dither) : NO_COMMUTATION,
    );
  }

  /** Nothing fast moves any more: rest may be stepped coarsely. */
  private settled(): boolean {
    return (!this.supply.live || Math.abs(this.supply.lead_A - this.drive.current_A) < 1e-3) && this.loadCell.atRest(this.restResolution_N);
  }

  /** Coarse step at rest: heat in one step, one reading per channel at most, electrics quasi-static. */
  private rest(ticks: number): void {
    const duration_s = ticks * TICK_S;
    if (this.heatTicks > 0) this.stepHeat();
    this.resting = true;
    const ran = this.slowSpan - this.slowTicks;
    const drive = this.drive;
    drive.rest();
    this.supply.rest(drive.current_A, duration_s);
    this.heat.step(duration_s, 0, 0, drive.esc_W, 0);
    this.loadCell.rest();
    const volts = this.senseAtSupply ? this.supply.terminal_V : this.supply.bus_V;
    this.currentPath.settle(drive.current_A);
    this.voltagePath.settle(volts);
    if (this.current.elapse(ticks)) this.current.read(drive.current_A);
    if (this.voltage.elapse(ticks)) this.voltage.read(volts);
    if (this.thrust.elapse(ticks + ran)) {
      const periods = Math.max(1, Math.floor(ticks / this.thrust.periodTicks));
      this.thrust.read(this.loadCell.convert(periods * this.thrust.periodTicks * TICK_S, this.noise));
    }
    if (this.motorTemperature.elapse(ticks + ran)) this.motorTemperature.read(this.heat.caseSensor_degC);
    if (this.escTemperature.elapse(ticks + ran)) this.escTemperature.read(this.heat.escSensor_degC);
    if (this.period.elapse(ticks + ran)) this.period.publish(NO_COMMUTATION);
    this.planSlow();
    this.truth.current_A = drive.current_A;
  }

  /** Changes one ESC setting. @throws RangeError naming the accepted range. */
  setSetting(name: SettingName, value: number): void {
    this.settings = changedSettings(this.settings, name, value);
    this.drive.applySettings(this.settings);
    this.currentPath.setSwitching(this.settings.switchingFrequency_Hz);
  }

  /** The ESC settings in force. */
  get escSettings(): EscSettings {
    return this.settings;
  }

  /** Sets the supply; a battery further than 12 % from `volts` is taken off the bus. @throws RangeError outside 0.5..60 V or for a limit ≤ 0. */
  setSupply(volts: number, currentLimit_A: number): void {
    if (!(volts >= 0.5 && volts <= 60) || !(currentLimit_A > 0)) {
      throw new RangeError(`Supply ${volts} V with a limit of ${currentLimit_A} A is out of range; accepted: 0.5 to 60 V, a limit above 0 A.`);
    }
    this.supply.set(volts, currentLimit_A);
    this.drive.applySettings(this.settings);
  }

  /** Switches the supply's output (and the battery beside it) off the bus, or on again at the voltage set last. */
  setOutput(on: boolean): void {
    this.supply.setOutput(on);
  }

  /** Takes the propeller off or puts it on (same mounting). @throws Error while the rotor turns. */
  setPropeller(on: boolean): void {
    this.requireStandstill('change the propeller');
    this.propellerOn = on;
    this.drive.setPropeller(on);
  }

  get hasPropeller(): boolean {
    return this.propellerOn;
  }

  /** Takes the article off and mounts it again: new thrust and torque factors. @throws Error while the rotor turns. */
  remount(): void {
    this.requireStandstill('mount the article again');
    this.drawMounting();
  }

  private drawMounting(): void {
    const { thrustSpread, torqueSpread } = this.parameters.mounting;
    if (this.mounting !== null) {
      this.drive.thrustFactor = 1 + thrustSpread * this.mounting.normal();
      this.drive.torqueFactor = 1 + torqueSpread * this.mounting.normal();
    }
    this.drive.setPropeller(this.propellerOn);
  }

  private requireStandstill(what: string): void {
    if (this.drive.speed_radps <= 0) return;
    throw new Error(`Cannot ${what}: the rotor turns at ${this.truth.speed_rpm.toFixed(0)} rpm. Bring it to a standstill first.`);
  }

  /** Puts a fault in at once, or at `at_us` of device time (taken at the start of the first step from then on). */
  inject(fault: Fault, at_us?: number): void {
    if (at_us !== undefined && at_us > this.now_us) {
      this.faults.add(at_us, fault);
      return;
    }
    if (fault.kind === 'lose-propeller') this.propellerOn = false;
    applyFault(this, fault);
  }

  /** Repairs everything and forgets scheduled faults; temperatures and a lost propeller stay as they are. */
  clearFaults(): void {
    this.faults.clear();
    repair(this);
  }
}

function refuseStep(throttle: number, dt_us: number): never {
  throw new RangeError(
    `Rig step with throttle ${throttle} and ${dt_us} µs refused; accepted: a number for throttle and a multiple of ${TICK_US} µs up to ${MAX_STEP_US} µs.`,
  );
}
