/**
 * Layer 3: ESC logic, motor and rotor. Electrics are quasi-static (averages from the maps), everything slower is integrated.
 * One step is one 125 µs tick.
 */
import { BridgeLadder, BUS_CURRENT, FREEWHEEL, RIPPLE_AMPLITUDE, RIPPLE_LOSS, SUM_SQUARES, TORQUE } from './bridge-map';
import type { BridgePoint, MapCache } from './bridge-map';
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
/** Below this bus voltage an ESC drives nothing and is a plain resistance. */
const BROWN_OUT_V = 1;
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
  /** Amplitude of the bus current's component at the switching frequency. */
  rippleAmplitude_A = 0;
  copper_W = 0;
  /** Ripple loss and friction: heats the case. */
  case_W = 0;
  esc_W = 0;
  /** Time until commutation is found again, s; 0 or less while in step. */
  lost_s = 0;
  /** Losses of commutation so far, and how many of them while the rotor slowed down. */
  desyncs = 0;
  brakingDesyncs = 0;
  failedStarts = 0;
  rotorLocked = false;
  frictionScale = 1;
  unbalance_kgm = 0;
  /** Factors of this mounting. */
  thrustFactor = 1;
  torqueFactor = 1;
  private ladder: BridgeLadder;
  private settings: EscSettings;
  private readonly point: BridgePoint = { volts: NaN, perVolt: NaN, duty: NaN, speed_radps: NaN, resistance: NaN };
  private magnet = NaN;
  private tickPerInertia = NaN;
  private thrustPerSquare = NaN;
  private torquePerSquare = NaN;
  /** What the ESC loses by switching, and to itself, W. */
  private switched_W = NaN;
  private ripple_W = NaN;
  private headroom = NaN;
  /** Resistance of a phase as warm as it is. */
  private winding_ohm = NaN;
  private limited = false;
  private limit_A = NaN;
  private limiterTrim = 1;
  private throttle = 0;
  private wantedDuty = 0;
  private stalled_s = 0;
  private started = false;
  private riskTicks = 0;
  private earlierSpeed = 0;
  private readonly emfMean_Vs: number;
  private readonly lineResistance_ohm: number;
  private readonly phaseResistance_ohm: number;
  private readonly switch_ohm: number;
  private readonly idle_W: number;
  private readonly coulomb_Nm: number;
  private readonly viscous_Nms: number;

  /** @param rng null: no random events (desync hazard, failed starts). */
  constructor(
    private readonly rig: RigParameters, private readonly maps: MapCache, private readonly supply: Supply,
    private readonly tick_s: number, private readonly rng: Rng | null,
  ) {
    this.settings = rig.settings;
    this.ladder = new BridgeLadder(maps, bridgeOf(rig), supply.volts);
    this.emfMean_Vs = EMF_MEAN * rig.motor.emf_Vs;
    this.lineResistance_ohm = rig.motor.resistance_ohm;
    this.phaseResistance_ohm = rig.motor.resistance_ohm / 2;
    this.switch_ohm = rig.esc.switch_ohm;
    this.idle_W = rig.esc.idle_W;
    this.coulomb_Nm = rig.motor.coulombTorque_Nm;
    this.viscous_Nms = rig.motor.viscousTorque_Nms;
    this.applySettings(rig.settings);
    this.setPropeller(true);
    this.setTemperatures(rig.ambient_degC, rig.ambient_degC);
  }

  /** Takes over ESC settings and the supply's set voltage (both choose the map). */
  applySettings(settings: EscSettings): void {
    this.settings = settings;
    this.ladder = new BridgeLadder(this.maps, bridgeOf({ ...this.rig, settings }), this.supply.volts);
    this.switched_W = this.rig.esc.switchingLoss_J * settings.switchingFrequency_Hz + this.rig.esc.idle_W;
    this.headroom = settings.spoolUpHeadroom + this.rig.esc.minDuty;
    this.limited = settings.currentLimit_A < Infinity;
    this.limit_A = settings.currentLimit_A;
    this.limiterTrim = 1;
    this.wantedDuty = dutyOfThrottle(this.rig.esc, settings, this.throttle);
  }

  /** Throttle fraction 0..1 for the coming ticks. */
  setThrottle(throttle: number): void {
    if (throttle === this.throttle) return;
    this.throttle = throttle;
    this.wantedDuty = dutyOfThrottle(this.rig.esc, this.settings, throttle);
  }

  /** Puts the propeller on or takes it off, with the present mounting factors. */
  setPropeller(on: boolean): void {
    const factors = propellerFactors(this.rig.propeller, this.rig.airDensity_kgpm3);
    this.thrustPerSquare = on ? factors.thrust * this.thrustFactor : 0;
    this.torquePerSquare = on ? factors.torque * this.torqueFactor : 0;
    this.tickPerInertia = this.tick_s / (this.rig.motor.inertia_kgm2 + (on ? this.rig.propeller.inertia_kgm2 : 0));
    this.unbalance_kgm = on ? this.rig.propeller.unbalance_kgm : 0;
  }

  /** Resistance and magnet follow the winding's and the case's temperature. */
  setTemperatures(winding_degC: number, case_degC: number): void {
    this.point.resistance = copperFactor(winding_degC);
    this.winding_ohm = this.phaseResistance_ohm * this.point.resistance;
    this.magnet = 1 + this.rig.motor.magnetCoefficient_perK * (case_degC - 20);
  }

  /** Loses commutation now for `duration_s`. */
  loseStep(duration_s: number): void {
    this.lost_s = duration_s;
    this.desyncs++;
    if (this.speed_radps < this.earlierSpeed) this.brakingDesyncs++;
  }

  /** True while the ESC sees zero crossings (turning, in step); also while coasting. */
  get commutating(): boolean {
    return this.lost_s <= 0 && this.speed_radps > 0;
  }

  /** Current and loss at rest with the throttle at zero. */
  rest(): void {
    this.setThrottle(0);
    this.duty = 0;
    this.torque_Nm = this.copper_W = this.case_W = this.rippleAmplitude_A = this.thrust_N = this.propellerTorque_Nm = 0;
    this.lost_s = this.stalled_s = this.earlierSpeed = 0;
    this.started = false;
    this.esc_W = this.idle_W;
    this.current_A = this.idleCurrent();
  }

  /** What the ESC draws without driving: constant power, a resistance once its own regulator has given up. */
  private idleCurrent(): number {
    const volts = this.supply.bus_V;
    return volts >= BROWN_OUT_V ? this.idle_W / volts : (this.idle_W * volts) / (BROWN_OUT_V * BROWN_OUT_V);
  }

  /**
   * Advances one tick; also steps the supply. The usual case, driving in step, is written out: a call that the engine does not
   * put in place costs as much as what it does.
   */
  step(): void {
    const { point, supply } = this;
    const volts = supply.bus_V;
    const perVolt = 1 / volts;
    const speed = this.speed_radps;
    // Wanted duty, held down by the spool-up headroom above the EMF and by the current limiter.
    const emf_V = speed * this.emfMean_Vs;
    const { headroom } = this;
    let duty = this.wantedDuty;
    if ((duty - headroom) * volts > emf_V) duty = emf_V * perVolt + headroom;
    if (this.limited) duty = this.limitedDuty(duty, emf_V, volts);
    this.duty = duty;
    const driven = duty > 0 && volts >= BROWN_OUT_V;
    if (driven && !this.started) this.start();
    if (driven && this.lost_s <= 0) {
      point.volts = volts;
      point.perVolt = perVolt;
      point.duty = duty;
      point.speed_radps = speed * this.magnet;
      const averages = this.ladder.at(point);
      const squares = averages[SUM_SQUARES];
      const ripple = averages[RIPPLE_LOSS];
      const own = duty < FULL_DUTY ? this.switched_W : this.idle_W;
      this.current_A = averages[BUS_CURRENT] + (ripple + own) * perVolt;
      this.torque_Nm = averages[TORQUE] * this.magnet;
      this.rippleAmplitude_A = averages[RIPPLE_AMPLITUDE];
      this.copper_W = squares * this.winding_ohm;
      this.ripple_W = ripple;
      this.esc_W = squares * this.switch_ohm + own;
      if (++this.riskTicks >= RISK_TICKS) this.risk(averages[FREEWHEEL]);
    } else if (driven) this.flounder();
    else this.coast();
    supply.step(this);
    // Rotor: constant and speed-proportional friction, and the propeller's square law.
    const square = speed * speed;
    const friction = (this.coulomb_Nm + this.viscous_Nms * speed) * this.frictionScale;
    const load = this.torquePerSquare * square;
    const next = speed + this.tickPerInertia * (this.torque_Nm - friction - load);
    this.speed_radps = next > 0 && !this.rotorLocked ? next : 0;
    this.case_W = friction * speed + this.ripple_W;
    this.propellerTorque_Nm = load;
    this.thrust_N = this.thrustPerSquare * square;
    if (this.rotorLocked) this.stall();
    if (this.limited) this.trimLimiter();
  }

  private coast(): void {
    this.started = false;
    if (this.lost_s > 0) this.lost_s -= this.tick_s;
    this.torque_Nm = this.rippleAmplitude_A = this.copper_W = this.ripple_W = 0;
    this.esc_W = this.idle_W;
    this.current_A = this.idleCurrent();
  }

  /** Commutation lost: current without mean torque. */
  private flounder(): void {
    this.lost_s -= this.tick_s;
    const volts = this.supply.bus_V;
    const lost_A = (LOST_CURRENT * volts * this.duty) / this.lineResistance_ohm;
    this.torque_Nm = this.rippleAmplitude_A = this.ripple_W = 0;
    this.copper_W = lost_A * volts;
    this.esc_W = this.idle_W;
    this.current_A = lost_A + this.idle_W / volts;
  }

  /** A rotor that is held still makes the ESC lose commutation, again and again. */
  private stall(): void {
    this.stalled_s = this.duty > 0 ? this.stalled_s + this.tick_s : 0;
    if (this.stalled_s > STALL_S && this.lost_s <= 0) this.loseStep(this.rig.esc.resync_s);
  }

  /** What the current limiter leaves of a duty. */
  private limitedDuty(duty: number, emf_V: number, volts: number): number {
    // D·(D·V − E)/R = limit, solved for D; the trim makes up for what this direct-current model leaves out.
    const resistance = this.lineResistance_ohm * this.point.resistance + 2 * this.switch_ohm;
    const top = (emf_V + Math.sqrt(emf_V * emf_V + 4 * resistance * volts * this.limit_A * this.limiterTrim)) / (2 * volts);
    return duty > top ? top : duty;
  }

  private trimLimiter(): void {
    const excess = this.current_A / this.limit_A - 1;
    const active = excess > 0 || this.duty < this.wantedDuty;
    const trim = this.limiterTrim - this.tick_s * (active ? 200 * excess : 20 * (this.limiterTrim - 1));
    this.limiterTrim = trim > 3 ? 3 : trim < 0.2 ? 0.2 : trim;
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

  /** Loses commutation by chance: hazard falls exponentially with the margin of the detection. */
  private risk(freewheel_deg: number): void {
    const seconds = this.riskTicks * this.tick_s;
    this.riskTicks = 0;
    const speed = this.speed_radps;
    const gained = speed - this.earlierSpeed;
    if (this.rng !== null && speed * this.emfMean_Vs > START_SHARE * this.supply.bus_V) {
      const margin = this.commutationMargin_deg(freewheel_deg, gained / seconds);
      const esc = this.rig.esc;
      if (margin < 40 && this.rng.uniform() < seconds * esc.desyncRate_perS * Math.exp(-margin / esc.desyncWidth_deg)) {
        this.loseStep(esc.resync_s * (0.6 + 0.8 * this.rng.uniform()));
      }
    }
    this.earlierSpeed = speed;
  }

  /**
   * Angle that detection has to spare. Driving: the freewheeling phase is clamped to the rail that looks like "crossed", so it
   * and the blanking must be over before the zero crossing, which speeding up brings earlier (slowing down delays it).
   * Braking: the current is reversed and clamps to the other rail, which looks like "not yet"; the crossing is then seen late,
   * and only lost when freewheeling fills the whole sector.
   */
  private commutationMargin_deg(freewheel_deg: number, acceleration_radps2: number): number {
    const esc = this.rig.esc;
    const electrical = this.speed_radps * this.rig.motor.polePairs;
    const hidden = freewheel_deg + electrical * esc.blanking_s * DEGREES;
    if (this.torque_Nm < 0) return 60 - hidden;
    const sector_s = Math.PI / 3 / electrical;
    const advance = attainableAdvance_deg(this.settings.timingAdvance_deg, esc.minCommutationDelay_s, electrical);
    return 30 + advance - hidden - 30 * acceleration_radps2 * (sector_s / this.speed_radps);
  }
}
