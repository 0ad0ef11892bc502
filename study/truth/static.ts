/** Steady points of a rig without noise, at stated temperatures, found by letting it settle. */
import { SimulatedRig, type MapCache, type RigParameters } from '../../src/twin/physics';

export type Point = { readonly throttle: number; readonly speed_rpm: number; readonly thrust_N: number; readonly current_A: number; readonly voltage_V: number; readonly power_W: number };

export type Conditions = {
  readonly parameters: RigParameters;
  readonly maps: MapCache;
  readonly levels: { readonly switching_frequency: number; readonly timing_advance: number; readonly spool_up_headroom: number };
  readonly thrustFactor: number;
  readonly torqueFactor: number;
  readonly winding_degC: number;
  readonly case_degC: number;
  /** Of the battery beside the supply, 1 when full. */
  readonly charge: number;
};

/** What a run itself decides. */
export type State = Pick<Conditions, 'winding_degC' | 'case_degC' | 'charge'>;

const TICK_US = 1000;
/** Ten time constants of the slower article. */
const SETTLE_TICKS = 500;
const MEAN_TICKS = 20;

/** Where a throttle leads to. Temperatures are put back before every tick, so they are those asked for. */
export function steady(c: Conditions, throttle: number): Point {
  const rig = new SimulatedRig(c.parameters, { seed: 1, maps: c.maps, noise: false });
  for (const name of ['switching_frequency', 'timing_advance', 'spool_up_headroom'] as const) rig.setSetting(name, c.levels[name]);
  rig.drive.thrustFactor = c.thrustFactor;
  rig.drive.torqueFactor = c.torqueFactor;
  rig.setPropeller(true);
  rig.supply.charge = c.charge;
  rig.setSupply(c.parameters.supply.volts, c.parameters.supply.currentLimit_A);
  let current = 0;
  let power = 0;
  let volts = 0;
  for (let k = 0; k < SETTLE_TICKS; k++) {
    rig.heat.winding_degC = c.winding_degC;
    rig.heat.case_degC = c.case_degC;
    rig.step(throttle, TICK_US);
    if (k < SETTLE_TICKS - MEAN_TICKS) continue;
    current += rig.truth.current_A / MEAN_TICKS;
    volts += rig.truth.voltage_V / MEAN_TICKS;
    power += (rig.truth.current_A * rig.truth.voltage_V) / MEAN_TICKS;
  }
  return { throttle, speed_rpm: rig.truth.speed_rpm, thrust_N: rig.truth.thrust_N, current_A: current, voltage_V: volts, power_W: power };
}

type Quantity = keyof Point;
/** The metrics are read in a window of 8 % of throttle. */
const HALF_WIDTH = 0.04;
/** Middles of as many equal parts, so many that the steps of the duty average out. */
const POINTS = 227;

/**
 * The steady curve near the throttle where `quantity` has a value. The duty is a whole number of timer counts, so the curve is a
 * staircase; parabolas through many points over 8 % of throttle, the window of the metrics, are what its steps lie around.
 * @returns each quantity as a function of the throttle, and the throttle
 */
export function steadyNear(c: Conditions, quantity: Quantity, value: number): { readonly at: number; readonly of: (quantity: Quantity, throttle: number) => number } {
  let low = 0.05;
  let high = 1;
  for (let k = 0; k < 9; k++) {
    const middle = (low + high) / 2;
    if (steady(c, middle)[quantity] < value) low = middle; else high = middle;
  }
  const centre = (low + high) / 2;
  const points = Array.from({ length: POINTS }, (_, i) => steady(c, centre + HALF_WIDTH * ((2 * i + 1) / POINTS - 1)));
  const curves = new Map<Quantity, readonly number[]>();
  for (const name of ['speed_rpm', 'thrust_N', 'current_A', 'power_W', 'voltage_V'] as const) curves.set(name, parabola(points.map((p) => p.throttle - centre), points.map((p) => p[name])));
  const of = (name: Quantity, throttle: number): number => {
    if (name === 'throttle') return throttle;
    const [a, b, d] = curves.get(name) ?? [NaN, NaN, NaN];
    const x = throttle - centre;
    return a + x * (b + x * d);
  };
  let from = centre - HALF_WIDTH;
  let to = centre + HALF_WIDTH;
  for (let k = 0; k < 50; k++) {
    const middle = (from + to) / 2;
    if (of(quantity, middle) < value) from = middle; else to = middle;
  }
  return { at: (from + to) / 2, of };
}

/** Least-squares a + b·x + c·x² for x spread evenly around 0. */
function parabola(x: readonly number[], y: readonly number[]): [number, number, number] {
  const n = x.length;
  const sum = (f: (i: number) => number): number => x.reduce((s, _v, i) => s + f(i), 0);
  const x2 = sum((i) => x[i] ** 2);
  const x4 = sum((i) => x[i] ** 4);
  const y0 = sum((i) => y[i]);
  const y2 = sum((i) => y[i] * x[i] ** 2);
  const c = (n * y2 - x2 * y0) / (n * x4 - x2 * x2);
  return [(y0 - c * x2) / n, sum((i) => y[i] * x[i]) / x2, c];
}
