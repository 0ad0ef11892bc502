/**
 * Layer 3: ESC logic, motor and rotor. Electrics are quasi-static (averages from the maps), everything slower is integrated.
 * One step is one 125 µs tick.
 */
import { BridgeLadder, BUS_CURRENT, FREEWHEEL, RIPPLE_AMPLITUDE, RIPPLE_LOSS, SUM_SQUARES, TORQUE } from './bridge-map';
import type { MapCache } from './bridge-map';
import { copperFactor } from './parameters';
import type { EscSettings, RigParameters } from './parameters';
import type { Rng } from './rng';
import type { Supply } from './supply';
import { dutyOfThrottle, propellerFactors } from './truth';
import { attainableAdvance_deg, bridgeOf, FULL_DUTY } from './waveform-cell';

/** Mean of the rectified line EMF over its peak, 3/π. */
const EMF_MEAN = 3 / Math.PI;
/** Below this share of top speed the ESC runs open-loop start-up: no zero crossings to lose. */
const START_SHARE = 0.06;
/** Share of the stall current that flows while commutation is lost. */
const LOST_CURRENT = 0.15;
/** A rotor held still for this long makes the ESC lose commutation. */
const STALL_S = 0.02;
const RISK_TICKS = 8;
const DEGREES = 180 / Math.PI;

export class Drive {
  speed_radps = 0;
  duty = 0;
  /** Mean bus current of the tick at the ESC, A; negative while it returns energy. */
  current_A = 0;
  torque_Nm = 0;
  propellerTorque_Nm = 0;
  thrust_N = 0;
  rippleAmplitude_A = 0;
  copper_W = 0;
  /** Ripple loss and friction: heats the case. */
  case_W = 0;
  esc_W = 0;
  /** Time until commutation is found again, s; 0 while in step. */
  lost_s = 0;
  /** Losses of commutation so far, and how many of them while the rotor slowed down. */
  desyncs = 0;
  brakingDesyncs = 0;
  failedStarts = 0;
  rotorLocked = false;
  frictionScale = 1;
  unbalance_kgm = NaN;
  /** Factors of this mounting. */
  thrustFactor = 1;
  torqueFactor = 1;
  private ladder: BridgeLadder;
  private settings: EscSettings;
  private copper = NaN;
  private magnet = NaN;
  private inertia = NaN;
  private thrustPerSquare = NaN;
  private torquePerSquare = NaN;
  private switching_W = NaN;
  private headroom = NaN;
  private limit_A = Infinity;
  private limiterTrim = 1;
  private throttle = -1;
  private wantedDuty = 0;
  private stalled_s = 0;
  private started = false;
  private riskTicks = 0;
  private earlierSpeed = 0;
  private readonly ke: number;
  private readonly lineResistance_ohm: number;

  /** @param rng null: no random events (desync hazard, failed starts). */
  constructor(
    private readonly rig: RigParameters, private readonly maps: MapCache, private readonly supply: Supply,
    private readonly tick_s: number, private readonly rng: Rng | null,
  ) {
    this.settings = rig.settings;
    this.ladder = new BridgeLadder(maps, bridgeOf(rig), supply.volts);
    this.ke = rig.motor.emf_Vs;
    this.lineResistance_ohm = rig.motor.resistance_ohm;
    this.applySettings(rig.settings);
    this.setPropeller(true);
    this.setTemperatures(rig.ambient_degC, rig.ambient_degC);
  }

  /** Takes over ESC settings and the supply's set voltage (both choose the map). */
  applySettings(settings: EscSettings): void {
    this.settings = settings;
    this.ladder = new BridgeLadder(this.maps, bridgeOf({ ...this.rig, settings }), this.supply.volts);
    this.switching_W = this.rig.esc.switchingLoss_J * settings.switchingFrequency_Hz;
    this.headroom = settings.spoolUpHeadroom + this.rig.esc.minDuty;
    this.limit_A = settings.currentLimit_A;
    this.throttle = -1;
  }

  /** Puts the propeller on or takes it off, with the present mounting factors. */
  setPropeller(on: boolean): void {
    const factors = propellerFactors(this.rig.propeller, this.rig.airDensity_kgpm3);
    this.thrustPerSquare = on ? factors.thrust * this.thrustFactor : 0;
    this.torquePerSquare = on ? factors.torque * this.torqueFactor : 0;
    this.inertia = this.rig.motor.inertia_kgm2 + (on ? this.rig.propeller.inertia_kgm2 : 0);
    this.unbalance_kgm = on ? this.rig.propeller.unbalance_kgm : 0;
  }

  /** Resistance and magnet follow the winding's and the case's temperature. */
  setTemperatures(winding_degC: number, case_degC: number): void {
    this.copper = copperFactor(winding_degC);
    this.magnet = 1 + this.rig.motor.magnetCoefficient_perK * (case_degC - 20);
  }

  /** Loses commutation now for `duration_s`. */
  loseStep(duration_s: number): void {
    this.lost_s = duration_s;
    this.desyncs++;
  }

  /** True while the ESC sees zero crossings (turning fast enough, in step). */
  get commutating(): boolean {
    return this.lost_s <= 0 && this.speed_radps > 0;
  }

  /** Current and loss at rest with the throttle at zero. */
  rest(): void {
    this.duty = 0;
    this.torque_Nm = this.copper_W = this.case_W = this.rippleAmplitude_A = this.thrust_N = this.propellerTorque_Nm = 0;
    this.lost_s = this.stalled_s = 0;
    this.started = false;
    this.esc_W = this.rig.esc.idle_W;
    this.current_A = this.rig.esc.idle_W / this.supply.bus_V;
    this.throttle = -1;
  }

  /** Advances one tick with `throttle` 0..1; also steps the supply. */
  step(throttle: number): void {
    if (throttle !== this.throttle) {
      this.throttle = throttle;
      this.wantedDuty = dutyOfThrottle(this.rig.esc, this.settings, throttle);
    }
    const volts = this.supply.bus_V;
    const speed = this.speed_radps;
    const duty = this.allowedDuty(this.wantedDuty, volts, speed);
    this.duty = duty;
    if (duty <= 0) this.started = false;
    else if (!this.started) this.start();

    let current = 0, torque = 0, copper = 0, ripple = 0, conduction = 0, switching = 0;
    this.rippleAmplitude_A = 0;
    if (this.lost_s > 0) {
      this.lost_s -= this.tick_s;
      current = (LOST_CURRENT * volts * duty) / this.lineResistance_ohm;
      copper = current * volts;
    } else if (duty > 0) {
      const averages = this.ladder.at(volts, duty, speed * this.magnet, this.copper);
      current = averages[BUS_CURRENT];
      torque = averages[TORQUE] * this.magnet;
      ripple = averages[RIPPLE_LOSS];
      copper = averages[SUM_SQUARES] * 0.5 * this.lineResistance_ohm * this.copper;
      conduction = averages[SUM_SQUARES] * this.rig.esc.switch_ohm;
      this.rippleAmplitude_A = averages[RIPPLE_AMPLITUDE];
      if (duty < FULL_DUTY) switching = this.switching_W;
      if (++this.riskTicks >= RISK_TICKS) this.risk(averages[FREEWHEEL], volts);
    }
    current += (ripple + switching + this.rig.esc.idle_W) / volts;
    this.current_A = current;
    this.torque_Nm = torque;
    this.copper_W = copper;
    this.esc_W = conduction + switching + this.rig.esc.idle_W;
    this.supply.step(current);
    this.turn(torque, ripple);
    if (this.limit_A < Infinity) this.trimLimiter();
  }

  private turn(torque: number, ripple_W: number): void {
    const motor = this.rig.motor;
    const speed = this.speed_radps;
    const square = speed * speed;
    const friction = (motor.coulombTorque_Nm + motor.viscousTorque_Nms * speed) * this.frictionScale;
    const load = this.torquePerSquare * square;
    let next = speed + (this.tick_s / this.inertia) * (torque - friction - load);
    if (next < 0) next = 0;
    if (this.rotorLocked) {
      next = 0;
      this.stalled_s = this.duty > 0 ? this.stalled_s + this.tick_s : 0;
      if (this.stalled_s > STALL_S && this.lost_s <= 0) this.loseStep(this.rig.esc.resync_s);
    }
    this.speed_radps = next;
    this.case_W = friction * speed + ripple_W;
    this.propellerTorque_Nm = load;
    this.thrust_N = this.thrustPerSquare * square;
  }

  /** Spool-up headroom above the EMF, and the current limiter's ceiling. */
  private allowedDuty(wanted: number, volts: number, speed: number): number {
    if (wanted <= 0) return 0;
    let duty = wanted;
    const emf_V = speed * this.ke * EMF_MEAN;
    const ceiling = emf_V / volts + this.headroom;
    if (duty > ceiling) duty = ceiling;
    if (this.limit_A < Infinity) {
      // D·(D·V − E)/R = limit, solved for D; the trim makes up for what this direct-current model leaves out.
      const resistance = this.lineResistance_ohm * this.copper + 2 * this.rig.esc.switch_ohm;
      const top = (emf_V + Math.sqrt(emf_V * emf_V + 4 * resistance * volts * this.limit_A * this.limiterTrim)) / (2 * volts);
      if (duty > top) duty = top;
    }
    return duty;
  }

  private trimLimiter(): void {
    const excess = this.current_A / this.limit_A - 1;
    const limited = this.duty < this.wantedDuty;
    let trim = this.limiterTrim - this.tick_s * (limited || excess > 0 ? 200 * excess : 20 * (this.limiterTrim - 1));
    if (trim > 1.5) trim = 1.5;
    else if (trim < 0.2) trim = 0.2;
    this.limiterTrim = trim;
  }

  /** A start attempt from rest may fail; the ESC pauses and tries again. */
  private start(): void {
    this.started = true;
    if (this.rng === null || this.speed_radps > 0) return;
    let failures = 0;
    while (failures < 5 && this.rng.uniform() < this.rig.esc.startFailure) failures++;
    this.failedStarts += failures;
    if (failures > 0) this.lost_s = failures * this.rig.esc.startRetry_s;
  }

  /**
   * Loses commutation by chance. Margin: angle between the end of freewheeling plus blanking and the zero crossing.
   * Speeding up brings the crossing earlier and eats margin, slowing down delays it and adds some.
   */
  private risk(freewheel_deg: number, volts: number): void {
    const seconds = this.riskTicks * this.tick_s;
    this.riskTicks = 0;
    const speed = this.speed_radps;
    const gained = speed - this.earlierSpeed;
    this.earlierSpeed = speed;
    if (this.rng === null || speed * this.ke * EMF_MEAN <= START_SHARE * volts) return;
    const margin = this.commutationMargin_deg(freewheel_deg, gained / seconds);
    if (margin > 40) return;
    const esc = this.rig.esc;
    if (this.rng.uniform() < seconds * esc.desyncRate_perS * Math.exp(-margin / esc.desyncWidth_deg)) {
      this.loseStep(esc.resync_s * (0.6 + 0.8 * this.rng.uniform()));
      if (gained < 0) this.brakingDesyncs++;
    }
  }

  private commutationMargin_deg(freewheel_deg: number, acceleration_radps2: number): number {
    const esc = this.rig.esc;
    const electrical = this.speed_radps * this.rig.motor.polePairs;
    const sector_s = Math.PI / 3 / electrical;
    const advance = attainableAdvance_deg(this.settings.timingAdvance_deg, esc.minCommutationDelay_s, electrical);
    const shift = 30 * acceleration_radps2 * (sector_s / this.speed_radps);
    return 30 + advance - freewheel_deg - electrical * esc.blanking_s * DEGREES - shift;
  }
}
