// From the points of a calibration to its law and its uncertainty, or the reason why they are none.
import { budgetOf, meanOfRatios, type CalibrationBudget } from '../../analysis/calibration/budget';
import { curvature, fitLaw, hysteresisOf, predictChange, slopeProblem, type CalibrationPoint, type LawFit } from '../../analysis/calibration/fit';
import type { RigChannel } from '../../model/files/rig-channels';
import type { Target } from './plan';

export interface TakenPoint {
  readonly id: string;
  readonly applied: number;
  readonly direction: 'up' | 'down';
  /** Mean counts; lead resistance: the drop, V. */
  readonly counts: number;
  /** Scatter of one reading, counts; null where it is typed in. */
  readonly sd: number | null;
}

export interface EvaluateInput {
  readonly channel: Target;
  readonly points: readonly TakenPoint[];
  /** Counts at the beginning and the end of the creep watch; null when there was none. */
  readonly creep: { readonly first: number; readonly last: number } | null;
  readonly u_reference: number;
  readonly law: 'auto' | 'linear' | 'quadratic';
  /** As the rig file declares the channel; null for the leads. */
  readonly declared: RigChannel | null;
}

export interface Evaluated {
  readonly law: { readonly kind: 'linear' | 'quadratic'; readonly zero: number; readonly offset: number; readonly slope: number; readonly curve: number }
    | { readonly kind: 'factor'; readonly factor: number } | { readonly kind: 'constant'; readonly value: number };
  /** Applied less what the law gives, by point; for leads in ohm. */
  readonly residuals: readonly number[];
  /** What each point stands for in the file: SI; for leads its resistance. */
  readonly applied: readonly number[];
  readonly u_gain: number;
  readonly u_offset: number;
  /** Effective, of `u_gain`; null when nothing in it is a guess. */
  readonly dof: number | null;
  readonly hysteresis: number | null;
  readonly creep: number | null;
  readonly span: { readonly from: number; readonly to: number };
  readonly parts: CalibrationBudget['parts'] | null;
  /** Worth a word, no reason to refuse. */
  readonly notes: readonly string[];
}

/** A parabola is taken when its curvature is this many times its standard uncertainty. Rule of ours. */
const CURVED = 4;
/** Two applied values are the same load when they differ by less than this share of the span. */
const SAME = 0.01;
/** A slope this far from the declared gain is told; beyond the second it cannot be the same sensor. Rules of ours. */
const SLOPE_TOLD = 0.25;
const SLOPE_REFUSED = 5;

/** @returns the evaluation, or a sentence that says why there is none */
export function evaluate(input: EvaluateInput): Evaluated | string {
  const { channel } = input;
  if (channel === 'lead_resistance') return leads(input);
  if (channel === 'speed') return speed(input);
  return lawOf(input);
}

function lawOf(input: EvaluateInput): Evaluated | string {
  const { points, declared, u_reference } = input;
  if (declared === null) return 'the rig has no such channel';
  const stuck = stuckProblem(points);
  if (stuck !== null) return stuck;
  const zero = zeroOf(input);
  const list: CalibrationPoint[] = points.map(({ applied, counts, direction }) => ({ applied, counts, direction }));
  const degree = input.law === 'auto' ? (isCurved(list, zero) ? 2 : 1) : input.law === 'quadratic' ? 2 : 1;
  const law = fitLaw(list, degree, zero);
  if (!law.ok) return law.reason;
  const problem = slopeProblem(law) ?? gainProblem(law, declared);
  if (problem !== null) return problem;
  const span = spanOf(points.map((p) => p.applied));
  const hysteresis = hysteresisOf(law, list, SAME * (span.to - span.from));
  const creep = input.creep === null ? null : Math.abs(predictChange(law, input.creep.last).value - predictChange(law, input.creep.first).value);
  const budget = budgetOf(law, { u_reference, hysteresis, creep, span });
  return {
    law: { kind: degree === 2 ? 'quadratic' : 'linear', zero, offset: law.c0, slope: law.c1, curve: law.c2 },
    residuals: law.residuals, applied: points.map((p) => p.applied), u_gain: budget.u_gain, u_offset: budget.u_offset, dof: budget.dof, hysteresis, creep, span, parts: budget.parts,
    notes: gainNotes(law, declared),
  };
}

/** At one end of its range a converter stands still while it scatters everywhere else. */
function stuckProblem(points: readonly TakenPoint[]): string | null {
  const sorted = [...points].sort((a, b) => a.counts - b.counts);
  const ends = [sorted.at(0), sorted.at(-1)];
  const still = ends.find((end) => end?.sd === 0 && points.every((p) => p.counts === end.counts || (p.sd ?? 0) > 0));
  return still === undefined ? null : `${still.id}: the reading stands still at ${still.counts} counts while it scatters elsewhere: the sensor is at the end of its range. Apply less, or look at gain and amplifier`;
}

/** The law is centred on the unloaded sensor where a zero was taken, else where the rig file says. */
function zeroOf({ points, declared }: EvaluateInput): number {
  const first = points.find((p) => p.applied === 0);
  return Number((first?.counts ?? declared?.zero ?? 0).toFixed(2));
}

function isCurved(points: readonly CalibrationPoint[], zero: number): boolean {
  const found = curvature(points, zero);
  return 'ratio' in found && found.ratio > CURVED;
}

function gainProblem(law: LawFit, { gain, kind }: RigChannel): string | null {
  const ratio = law.c1 / gain;
  if (ratio > 1 / SLOPE_REFUSED && ratio < SLOPE_REFUSED) return null;
  if (ratio < 0 && kind !== 'current' && kind !== 'voltage') return null;
  return `one count is worth ${law.c1.toPrecision(4)}, the rig file declares ${gain.toPrecision(4)}: these cannot be the same sensor. Compare shunt, amplifier and gain of channels.${kind}, and the wiring`;
}

function gainNotes(law: LawFit, { gain, kind }: RigChannel): string[] {
  const off = law.c1 / gain - 1;
  return Math.abs(off) <= SLOPE_TOLD ? [] : [`One count is worth ${(100 * off).toFixed(0)} % more than channels.${kind}.gain says: compare shunt, amplifier and gain.`];
}

function speed({ points, u_reference, declared }: EvaluateInput): Evaluated | string {
  if (declared?.pole_pairs === undefined || declared.pole_pairs === null) return 'the rig has no speed channel';
  if (points.length < 2) return `${points.length} points; two at least show how they scatter`;
  const { gain, pole_pairs } = declared;
  const dead = points.find((p) => !(p.counts > 0));
  if (dead !== undefined) return `${dead.id}: the speed channel showed nothing`;
  const indicated = points.map((p) => 60 / (p.counts * gain * pole_pairs));
  const ratios = points.map((p, i) => p.applied / indicated[i]);
  const { value, u, dof, residuals } = meanOfRatios(ratios, u_reference);
  if (!(value > 0.5 && value < 2)) return `the reference says ${value.toPrecision(3)} times what the channel shows: compare channels.speed.pole_pairs (${pole_pairs}) and the marks under the tachometer`;
  const notes = Math.abs(value - 1) > 0.02 ? [`The reference says ${(100 * (value - 1)).toFixed(1)} % more than the channel shows: compare pole pairs and the tachometer's marks.`] : [];
  return {
    law: { kind: 'factor', factor: value }, residuals: residuals.map((r, i) => r * indicated[i]), applied: points.map((p) => p.applied), u_gain: u, u_offset: 0, dof,
    hysteresis: null, creep: null, span: spanOf(points.map((p) => p.applied)), parts: null, notes,
  };
}

function leads({ points, u_reference }: EvaluateInput): Evaluated | string {
  if (points.length < 2) return `${points.length} points; two at least show how they scatter`;
  const dead = points.find((p) => !(p.applied > 0) || !(p.counts > 0));
  if (dead !== undefined) return `${dead.id}: a drop of ${dead.counts} V at ${dead.applied} A gives no resistance; draw some current`;
  const ohms = points.map((p) => p.counts / p.applied);
  const { value, u, dof, residuals } = meanOfRatios(ohms, u_reference);
  return {
    law: { kind: 'constant', value }, residuals, applied: ohms, u_gain: u, u_offset: 0, dof, hysteresis: null, creep: null,
    span: { from: 0, to: 2 * Math.max(...ohms) }, parts: null, notes: [],
  };
}

function spanOf(values: readonly number[]): { from: number; to: number } {
  return { from: Math.min(...values), to: Math.max(...values) };
}
