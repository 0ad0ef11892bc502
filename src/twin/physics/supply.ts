/**
 * The electrical source: current-limited supply ‖ battery at one end of a lead, capacitor ‖ optional braking clamp ‖ ESC at
 * the other. The supply can only give current, so what braking returns goes into battery, clamp or, failing both, into the
 * capacitor's voltage. One implicit step per tick, exact for a constant current, so that stiff sources stay stable.
 */
import type { SupplyParameters } from './parameters';

const MIN_BUS_V = 0.5;
/** Battery voltage falls by this share of its nominal from full to empty. */
const BATTERY_SWING = 0.2;
/** A battery stays connected only while the supply is set within this share of its voltage (the bench's contactor). */
const CONTACTOR_WINDOW = 0.12;

/** Charge is booked, and the battery's voltage moved, in steps of this share of its capacity. */
const BOOKABLE = 1e-5;

/** Thevenin equivalent of everything behind the lead, seen at the ESC. */
interface Behind {
  volts: number;
  conductance: number;
  /** Current source beside it (supply in current limit without a battery). */
  amps: number;
  /** What it drives into a short circuit, and one over its conductance and that of the capacitor over a tick. */
  short_A: number;
  perConductance: number;
}

export class Supply {
  /** Voltage at the ESC and at the supply's terminals, V. */
  bus_V = NaN;
  terminal_V = NaN;
  /** Current from supply and battery towards the ESC, A. */
  lead_A = 0;
  /** Charge left in the battery, 0..1. */
  charge = 1;
  private set_V: number;
  private limit_A: number;
  private extraLead_ohm = 0;
  private sinkPresent = true;
  private outputOn = true;
  private batteryOn = false;
  private lead_ohm = NaN;
  private sourceConductance = NaN;
  private capacitorConductance = NaN;
  private clamp_V = Infinity;
  private clampConductance = 0;
  private drawn_As = 0;
  private readonly bookable_As: number;
  private batteryOpen_V = NaN;
  private batteryTickConductance = NaN;
  private readonly supplying: Behind = { volts: NaN, conductance: NaN, amps: NaN, short_A: NaN, perConductance: NaN };
  private readonly idle: Behind = { volts: NaN, conductance: NaN, amps: NaN, short_A: NaN, perConductance: NaN };
  private readonly limiting: Behind = { volts: NaN, conductance: NaN, amps: NaN, short_A: NaN, perConductance: NaN };

  constructor(private readonly parameters: SupplyParameters, private readonly tick_s: number) {
    this.set_V = parameters.volts;
    this.limit_A = parameters.currentLimit_A;
    this.bus_V = parameters.volts;
    this.terminal_V = parameters.volts;
    this.capacitorConductance = parameters.capacitor_F / tick_s;
    this.bookable_As = BOOKABLE * 3600 * (parameters.battery?.capacity_Ah ?? 0);
    this.configure();
  }

  /** Sets the supply. The battery is taken off the bus when its voltage is further than 12 % from the set voltage. */
  set(volts: number, currentLimit_A: number): void {
    this.set_V = volts;
    this.limit_A = currentLimit_A;
    this.configure();
  }

  get volts(): number {
    return this.set_V;
  }

  get batteryConnected(): boolean {
    return this.batteryOn;
  }

  /** Adds resistance to the lead (sag); 0 removes it. */
  setExtraLead(ohm: number): void {
    this.extraLead_ohm = ohm;
    this.configure();
  }

  /** Takes battery and clamp off the bus, or puts them back. */
  setSink(present: boolean): void {
    this.sinkPresent = present;
    this.configure();
  }

  /** Opens (false) or closes the bench's contactor: with it open neither supply nor battery gives or takes anything; clamp and capacitor stay. */
  setOutput(on: boolean): void {
    this.outputOn = on;
    this.configure();
  }

  get live(): boolean {
    return this.outputOn;
  }

  private configure(): void {
    const { battery, clamp, source_ohm, lead_ohm } = this.parameters;
    this.batteryOn = this.outputOn && this.sinkPresent && battery !== null && Math.abs(battery.openCircuit_V / this.set_V - 1) <= CONTACTOR_WINDOW;
    this.lead_ohm = lead_ohm + this.extraLead_ohm;
    this.sourceConductance = 1 / source_ohm;
    this.clamp_V = this.sinkPresent && clamp !== null ? this.set_V + clamp.margin_V : Infinity;
    this.clampConductance = clamp === null ? 0 : 1 / clamp.resistance_ohm;
    this.refresh();
  }

  /** Recomputes the three equivalents; call after the battery's charge has changed noticeably. */
  private refresh(): void {
    const { battery } = this.parameters;
    const gSource = this.sourceConductance;
    if (!this.outputOn) {
      for (const nothing of [this.supplying, this.idle, this.limiting]) this.describe(nothing, 0, Infinity, 0);
      return;
    }
    if (battery === null || !this.batteryOn) {
      this.describe(this.supplying, this.set_V, 1 / gSource, 0);
      this.describe(this.idle, 0, Infinity, 0);
      this.describe(this.limiting, 0, Infinity, this.limit_A);
      return;
    }
    const open_V = battery.openCircuit_V * (1 - BATTERY_SWING * (1 - this.charge));
    const gBattery = 1 / battery.resistance_ohm;
    this.batteryOpen_V = open_V;
    this.batteryTickConductance = gBattery * this.tick_s;
    this.describe(this.supplying, (this.set_V * gSource + open_V * gBattery) / (gSource + gBattery), 1 / (gSource + gBattery), 0);
    this.describe(this.idle, open_V, battery.resistance_ohm, 0);
    this.describe(this.limiting, open_V + this.limit_A * battery.resistance_ohm, battery.resistance_ohm, 0);
  }

  private describe(behind: Behind, volts: number, ohm: number, amps: number): void {
    behind.volts = volts;
    behind.conductance = Number.isFinite(ohm) ? 1 / (ohm + this.lead_ohm) : 0;
    behind.amps = amps;
    behind.short_A = amps + volts * behind.conductance;
    behind.perConductance = 1 / (this.capacitorConductance + behind.conductance);
  }

  /** Advances one tick while `load` draws its current (negative: it returns some). The usual case, the supply supplying, is written out. */
  step(load: { readonly current_A: number }): void {
    const { supplying, capacitorConductance } = this;
    const v = (this.bus_V * capacitorConductance - load.current_A + supplying.short_A) * supplying.perConductance;
    const lead_A = supplying.amps + (supplying.volts - v) * supplying.conductance;
    const terminal_V = v + lead_A * this.lead_ohm;
    const source_A = (this.set_V - terminal_V) * this.sourceConductance;
    if (source_A >= 0 && source_A <= this.limit_A && v <= this.clamp_V && v > MIN_BUS_V) {
      this.bus_V = v;
      this.lead_A = lead_A;
      this.terminal_V = terminal_V;
    } else this.solve(load.current_A, capacitorConductance);
    if (this.batteryOn) this.drawn_As += (this.batteryOpen_V - this.terminal_V) * this.batteryTickConductance;
  }

  private solve(load_A: number, capacitor: number): void {
    const bus = this.bus_V;
    let v = this.node(this.supplying, bus, load_A, capacitor);
    let lead = this.supplying.amps + (this.supplying.volts - v) * this.supplying.conductance;
    let terminal = v + lead * this.lead_ohm;
    const source_A = (this.set_V - terminal) * this.sourceConductance;
    if (source_A < 0 || source_A > this.limit_A) {
      const behind = source_A < 0 ? this.idle : this.limiting;
      v = this.node(behind, bus, load_A, capacitor);
      lead = behind.amps + (behind.volts - v) * behind.conductance;
      terminal = v + lead * this.lead_ohm;
    }
    this.bus_V = v > MIN_BUS_V ? v : MIN_BUS_V;
    this.lead_A = lead;
    this.terminal_V = terminal;
  }

  private node(behind: Behind, bus: number, load_A: number, capacitor: number): number {
    const flow = bus * capacitor - load_A + behind.amps + behind.volts * behind.conductance;
    const conductance = capacitor + behind.conductance;
    const v = flow / conductance;
    return v > this.clamp_V ? (flow + this.clamp_V * this.clampConductance) / (conductance + this.clampConductance) : v;
  }

  /** Books the charge drawn since the last booking once it is worth one (10 ppm of the battery). */
  settleCharge(): void {
    if (this.drawn_As > this.bookable_As || this.drawn_As < -this.bookable_As) this.bookCharge();
  }

  private bookCharge(): void {
    const battery = this.parameters.battery;
    if (battery === null) return;
    this.charge -= this.drawn_As / (3600 * battery.capacity_Ah);
    this.drawn_As = 0;
    this.refresh();
  }

  /** One long step at rest: the bus is quasi-static, only the battery's charge moves. */
  rest(load_A: number, duration_s: number): void {
    this.solve(load_A, this.capacitorConductance * (this.tick_s / duration_s));
    if (!this.batteryOn) return;
    this.drawn_As += ((this.batteryOpen_V - this.terminal_V) * this.batteryTickConductance * duration_s) / this.tick_s;
    this.settleCharge();
  }
}
