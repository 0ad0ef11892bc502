/**
 * Layer 2: averages of layer 1, stored on a grid of duty × speed × winding resistance and filled only where a run goes.
 * A map belongs to one motor, one set of ESC settings and one nominal voltage; currents scale with voltage (speed over
 * voltage is the coordinate), which holds to about ±15 %. `BridgeLadder` switches smoothly between maps beyond that.
 */
import { FULL_DUTY, solveCell } from './waveform-cell';
import type { BridgeParameters } from './waveform-cell';

const DUTY_NODES = 40;
const FULL_ROW = DUTY_NODES;
const SPEED_NODES = 40;
const TOP_SWITCHED_DUTY = 0.9979;
/** Nodes of winding resistance relative to 20 °C; between and slightly beyond them linear. */
const RESISTANCE_LOW = 0.9;
const RESISTANCE_HIGH = 1.5;
const RESISTANCE_STEPS = 1000;
const CELLS = (DUTY_NODES + 1) * SPEED_NODES;

/** Places in the array that `at` returns. */
export const BUS_CURRENT = 0;
export const TORQUE = 1;
export const SUM_SQUARES = 2;
export const RIPPLE_LOSS = 3;
export const FREEWHEEL = 4;
export const RIPPLE_AMPLITUDE = 5;
const QUANTITIES = 6;

/**
 * Where to look. An object that the caller keeps and refills: numbers passed to a function that the engine does not inline
 * are boxed, which doubled the cost of a tick.
 */
export interface BridgePoint {
  volts: number;
  /** 1/volts, which the caller needs as well. */
  perVolt: number;
  /** 0..1 */
  duty: number;
  /** Mechanical speed, rad/s. */
  speed_radps: number;
  /** Winding resistance relative to 20 °C. */
  resistance: number;
}

/** Lazily filled table for one bridge at one nominal voltage. */
export class BridgeMap {
  /** Speed at the last node, rad/s, at the nominal voltage. */
  readonly topSpeed_radps: number;
  /** Cells solved so far (two winding resistances count as two). */
  solved = 0;
  private readonly cold = new Float64Array(CELLS * QUANTITIES);
  private readonly hot = new Float64Array(CELLS * QUANTITIES);
  private readonly known = new Uint8Array(CELLS);
  private readonly result = new Float64Array(QUANTITIES);
  /** Four corners of the cell in use, blended over resistance: quantity-major. */
  private readonly corners = new Float64Array(4 * QUANTITIES);
  private cornerDuty = -1;
  private cornerSpeed = -1;
  private cornerResistance = -1;

  private readonly perNominal: number;
  /** Nodes per speed over voltage. */
  private readonly nodesPerSpeed: number;

  constructor(readonly bridge: BridgeParameters, readonly nominal_V: number) {
    this.topSpeed_radps = (1.25 * nominal_V) / bridge.emf_Vs;
    this.perNominal = 1 / nominal_V;
    this.nodesPerSpeed = ((SPEED_NODES - 1) / this.topSpeed_radps) * nominal_V;
  }

  /** Averages at `point`. The returned array is reused by the next call. */
  at(point: BridgePoint): Float64Array {
    const duty = point.duty;
    const k = point.volts * this.perNominal;
    let x = point.speed_radps * this.nodesPerSpeed * point.perVolt;
    if (x < 0) x = 0;
    else if (x > SPEED_NODES - 1.001) x = SPEED_NODES - 1.001;
    const speedNode = x | 0;
    const fx = x - speedNode;
    let dutyNode = FULL_ROW;
    let fy = 0;
    if (duty < FULL_DUTY) {
      const y = duty > 0 ? (duty / TOP_SWITCHED_DUTY) * (DUTY_NODES - 1) : 0;
      dutyNode = y | 0;
      if (dutyNode > DUTY_NODES - 2) dutyNode = DUTY_NODES - 2;
      fy = y - dutyNode;
    }
    // Resistance in steps of 0.1 %: a result must never depend on what another run looked up before.
    const step = (point.resistance * RESISTANCE_STEPS + 0.5) | 0;
    if (dutyNode !== this.cornerDuty || speedNode !== this.cornerSpeed || step !== this.cornerResistance) {
      this.load(dutyNode, speedNode, step);
    }
    const w11 = fx * fy;
    const w01 = fx - w11;
    const w10 = fy - w11;
    const w00 = 1 - fx - w10;
    const k2 = k * k;
    const c = this.corners;
    const out = this.result;
    out[BUS_CURRENT] = k * (w00 * c[0] + w01 * c[1] + w10 * c[2] + w11 * c[3]);
    out[TORQUE] = k * (w00 * c[4] + w01 * c[5] + w10 * c[6] + w11 * c[7]);
    out[SUM_SQUARES] = k2 * (w00 * c[8] + w01 * c[9] + w10 * c[10] + w11 * c[11]);
    out[RIPPLE_LOSS] = k2 * (w00 * c[12] + w01 * c[13] + w10 * c[14] + w11 * c[15]);
    out[FREEWHEEL] = w00 * c[16] + w01 * c[17] + w10 * c[18] + w11 * c[19];
    out[RIPPLE_AMPLITUDE] = k * (w00 * c[20] + w01 * c[21] + w10 * c[22] + w11 * c[23]);
    return out;
  }

  private load(dutyNode: number, speedNode: number, resistanceStep: number): void {
    const blend = (resistanceStep / RESISTANCE_STEPS - RESISTANCE_LOW) / (RESISTANCE_HIGH - RESISTANCE_LOW);
    for (let corner = 0; corner < 4; corner++) {
      const row = dutyNode === FULL_ROW ? FULL_ROW : dutyNode + (corner >> 1);
      const cell = row * SPEED_NODES + speedNode + (corner & 1);
      if (this.known[cell] === 0) this.fill(row, speedNode + (corner & 1));
      for (let quantity = 0; quantity < QUANTITIES; quantity++) {
        const low = this.cold[cell * QUANTITIES + quantity];
        const high = this.hot[cell * QUANTITIES + quantity];
        this.corners[quantity * 4 + corner] = low + (high - low) * blend;
      }
    }
    this.cornerDuty = dutyNode;
    this.cornerSpeed = speedNode;
    this.cornerResistance = resistanceStep;
  }

  private fill(row: number, speedNode: number): void {
    const duty = row === FULL_ROW ? 1 : (row / (DUTY_NODES - 1)) * TOP_SWITCHED_DUTY;
    const speed = (speedNode / (SPEED_NODES - 1)) * this.topSpeed_radps;
    const cell = row * SPEED_NODES + speedNode;
    this.store(this.cold, cell, duty, speed, RESISTANCE_LOW);
    this.store(this.hot, cell, duty, speed, RESISTANCE_HIGH);
    this.known[cell] = 1;
  }

  private store(table: Float64Array, cell: number, duty: number, speed: number, resistance: number): void {
    const averages = solveCell(this.bridge, this.nominal_V, duty, speed, resistance);
    const base = cell * QUANTITIES;
    table[base + BUS_CURRENT] = averages.busCurrent_A;
    table[base + TORQUE] = averages.torque_Nm;
    table[base + SUM_SQUARES] = averages.sumSquares_A2;
    table[base + RIPPLE_LOSS] = averages.rippleLoss_W;
    table[base + FREEWHEEL] = averages.freewheel_deg;
    table[base + RIPPLE_AMPLITUDE] = averages.rippleAmplitude_A;
    this.solved++;
  }
}

/** Maps of many bridges and voltages; give one cache to all runs of a campaign so that no cell is solved twice. */
export class MapCache {
  private readonly maps = new Map<string, BridgeMap>();

  /** The map of `bridge` at `nominal_V` (rounded to 10 mV), made on first use. */
  get(bridge: BridgeParameters, nominal_V: number): BridgeMap {
    const volts = Math.round(nominal_V * 100) / 100;
    const key = JSON.stringify([volts, bridge]);
    let map = this.maps.get(key);
    if (map === undefined) {
      map = new BridgeMap(bridge, volts);
      this.maps.set(key, map);
    }
    return map;
  }

  /** Number of maps and of solved cells, for benchmarks. */
  get size(): { maps: number; solved: number } {
    let solved = 0;
    for (const map of this.maps.values()) solved += map.solved;
    return { maps: this.maps.size, solved };
  }
}

const RUNG = Math.log(1.3);
const PURE = 0.4; // of a rung either side of a node: that node's map alone (±11 % of voltage)
const LOWEST_RUNG = -8;
const HIGHEST_RUNG = 8;

/** Maps at nominal voltages spaced by 1.3 around an anchor, blended half-way between neighbours. */
export class BridgeLadder {
  private active: BridgeMap;
  private activeLow_V: number;
  private activeHigh_V: number;
  private readonly blended = new Float64Array(QUANTITIES);

  /** @param anchor_V voltage that has a map of its own, normally the supply's set voltage. */
  constructor(private readonly cache: MapCache, private readonly bridge: BridgeParameters, readonly anchor_V: number) {
    this.active = cache.get(bridge, anchor_V);
    this.activeLow_V = anchor_V * Math.exp(-PURE * RUNG);
    this.activeHigh_V = anchor_V * Math.exp(PURE * RUNG);
  }

  /** As `BridgeMap.at`, for any voltage. */
  at(point: BridgePoint): Float64Array {
    if (point.volts > this.activeLow_V && point.volts < this.activeHigh_V) return this.active.at(point);
    return this.atOther(point);
  }

  private atOther(point: BridgePoint): Float64Array {
    const position = Math.min(HIGHEST_RUNG, Math.max(LOWEST_RUNG, Math.log(point.volts / this.anchor_V) / RUNG));
    const nearest = Math.round(position);
    const offset = position - nearest;
    if (Math.abs(offset) <= PURE) {
      this.active = this.map(nearest);
      this.activeLow_V = this.anchor_V * Math.exp((nearest - PURE) * RUNG);
      this.activeHigh_V = this.anchor_V * Math.exp((nearest + PURE) * RUNG);
      return this.active.at(point);
    }
    const lower = Math.floor(position);
    const share = (position - lower - PURE) / (1 - 2 * PURE);
    const low = this.map(lower).at(point);
    const high = this.map(lower + 1).at(point);
    for (let quantity = 0; quantity < QUANTITIES; quantity++) {
      this.blended[quantity] = low[quantity] + (high[quantity] - low[quantity]) * share;
    }
    return this.blended;
  }

  private map(rung: number): BridgeMap {
    return this.cache.get(this.bridge, this.anchor_V * Math.exp(rung * RUNG));
  }
}
