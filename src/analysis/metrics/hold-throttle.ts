/** Throttle of a hold at exactly its target, and how throttle goes with what is held. */
import { between, channelOf, withRole, type PlayedSegment, type RunData } from '../run-data';
import { electrical, meanOf, powerSeries, type Electrical, type Span } from './common';
import { derived, exact, metric, noMetric, type Reading, type RunMetric } from './reading';

/** Electrical power of a propeller in still air goes with the cube of its speed, were losses a fixed share of it. */
export const CUBE = 3;

/** What the loop held. */
export type Target = { readonly kind: 'current' | 'power' | 'speed'; readonly value: number };
/** A hold, and the part of it that is used. */
export type Hold = { readonly data: RunData; readonly hold: PlayedSegment; readonly span: Span; readonly target: Target };
/** speed ∝ held^value, with its standard uncertainty. */
export type SpeedExponent = { readonly value: number; readonly u: number };

/** Throttle at exactly the target. @param held what was held, of the target's kind @param at current and power there @param ofSpeed how speed goes with what is held */
export function holdThrottle(of: Hold, held: Reading, at: Electrical, ofSpeed: SpeedExponent): RunMetric {
  const { data, span, target } = of;
  const part = between(data.throttle, span.from_s, span.to_s);
  if (part.value.length < 4) return noMetric('hold_throttle', 'too few rows in the window');
  const { mean, se } = meanOf(part.value);
  const exponent = throttleExponent(of, mean, at, ofSpeed);
  const factor = (target.value / held.value) ** exponent.value;
  const value = mean * factor;
  const reading = derived(value, [[{ value: mean, within: se, effects: {} }, factor], [held, (-exponent.value * value) / held.value], [exponent, value * Math.log(target.value / held.value)]]);
  return metric('hold_throttle', reading, 'mean of the throttle commanded, corrected to exactly the target');
}

/** The way up to the hold is looked at in cells as long as this, s, from this share of what is held on, for so long at most, s; and the steady hold for so long. */
const CELL_S = 0.01;
const FROM_SHARE = 0.6;
const WAY_S = 3;
const STEADY_S = 0.5;
/** Root of the sum of squares by which either moves while the other does not, at least, as a share of its mean: ten cells 3 % away. */
const LEAST_APART = 0.1;

/**
 * How throttle goes with what is held: throttle ∝ held^e. On the way up to the hold the rotor lags behind the current, so speed and what
 * is held move apart, and how throttle goes with either alone is seen. The torque that speeds up the rotor is torque like any other and does
 * not matter. In steady running speed goes with what is held as `ofSpeed` says. Where the way shows too little, e is midway between a
 * third (throttle ∝ speed, power ∝ speed³) and the secant to the start level.
 */
function throttleExponent(of: Hold, mean: number, at: Electrical, ofSpeed: SpeedExponent): Reading {
  const { data, hold, target } = of;
  const told = (value: number, u: number): Reading => ({ value, within: 0, effects: { hold_throttle_exponent: u } });
  if (target.kind === 'speed') return exact(1);
  const own = alongTheWay(of);
  if (own !== null) return told(Math.min(1, Math.max(1 / CUBE, own.alone + own.perSpeed * ofSpeed.value)), Math.abs(own.perSpeed) * ofSpeed.u);
  const start = withRole(data, 'start').filter((s) => s.start_s < hold.start_s).at(-1);
  let secant = 1 / CUBE;
  if (start?.segment.kind === 'level' && start.segment.throttle > 0 && start.segment.throttle < mean) {
    const below = electrical(data, { from_s: (start.start_s + start.end_s) / 2, to_s: start.end_s });
    const ratio = below.ok ? at[target.kind].value / below.value[target.kind].value : 0;
    if (ratio > 1.5) secant = Math.log(mean / start.segment.throttle) / Math.log(ratio);
  }
  const sane = Math.min(1, Math.max(0.25, secant));
  return told((1 / CUBE + sane) / 2, Math.abs(sane - 1 / CUBE) / 2 / Math.sqrt(3));
}

/**
 * Exponents of throttle with what is held at the same speed, and with speed at the same of what is held; null where the way up shows too
 * little. A motor takes u = c + a·speed + b·(held/u): back-EMF, and the drop of the current in its winding, which is that of the supply
 * over the duty u (equivalent circuit of a motor behind a bridge; c for what the ESC draws or leaves dead). Fitted by least squares.
 */
function alongTheWay({ data, hold, span, target }: Hold): { readonly alone: number; readonly perSpeed: number } | null {
  const drawn = target.kind === 'power' ? powerSeries(data, { from_s: hold.start_s, to_s: hold.end_s }) : channelOf(data, 'current');
  const speed = channelOf(data, 'speed');
  if (drawn === null || speed === null) return null;
  const cellsIn = (from_s: number, to_s: number): Cell[] => Array.from({ length: Math.max(0, Math.floor((to_s - from_s) / CELL_S)) }, (_, k) => from_s + k * CELL_S).flatMap((at_s) => {
    const [held, rpm, throttle] = [drawn, speed, data.throttle].map((series) => between(series, at_s, at_s + CELL_S).value).map((v) => (v.length === 0 ? 0 : meanOf(v).mean));
    return held > FROM_SHARE * target.value && rpm > 0 && throttle > 0 ? [[rpm, held / throttle, throttle] as const] : [];
  });
  const steady = cellsIn(span.from_s, Math.min(hold.end_s, span.from_s + STEADY_S));
  const cells = [...cellsIn(hold.start_s, Math.min(span.from_s, hold.start_s + WAY_S)), ...steady];
  const n = cells.length;
  if (steady.length < 2) return null;
  const means = [0, 1, 2].map((k) => cells.reduce((sum, cell) => sum + cell[k], 0) / n);
  const [s, i, u] = means;
  const [all, noise] = [productsOf(cells), productsOf(steady)];
  // Sums of products as shares of the means of speed and current, less those of the noise that the steady hold shows: it would flatten the slopes.
  const sum = (j: number, k: number): number => (all[j][k] - (n * noise[j][k]) / (steady.length - 1)) / (j < 2 ? means[j] : 1) / (k < 2 ? means[k] : 1);
  const [ss, ii, si, su, iu] = [sum(0, 0), sum(1, 1), sum(0, 1), sum(0, 2), sum(1, 2)];
  const apart = ss * ii - si * si;
  if (!(ss > 0 && ii > 0 && apart / Math.max(ss, ii) > LEAST_APART ** 2)) return null;
  const [a, b] = [(ii * su - si * iu) / apart, (ss * iu - si * su) / apart];
  // At the hold: (2u − c − a·speed)·du = u·a·dspeed + b·dheld.
  const at = (k: number): number => steady.reduce((total, cell) => total + cell[k], 0) / steady.length;
  const [emf, drop] = [(a * at(0)) / s, (b * at(1)) / i];
  const both = emf + 2 * drop + (u - a - b);
  return both > 0 ? { alone: drop / both, perSpeed: emf / both } : null;
}

/** Speed, what is held over the throttle, and throttle. */
type Cell = readonly [speed: number, inside: number, throttle: number];

/** Sums of products about the means. */
function productsOf(cells: readonly Cell[]): number[][] {
  const mean = [0, 1, 2].map((k) => cells.reduce((sum, cell) => sum + cell[k], 0) / cells.length);
  return [0, 1, 2].map((j) => [0, 1, 2].map((k) => cells.reduce((sum, cell) => sum + (cell[j] - mean[j]) * (cell[k] - mean[k]), 0)));
}
