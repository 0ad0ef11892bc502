/**
 * Nonlinear least squares that fails loudly. Levenberg–Marquardt (ml-levenberg-marquardt, on scaled parameters and with
 * bounds) finds the neighbourhood; damped Gauss–Newton steps that never go uphill finish; then the answer is checked: a stationary
 * point, better than a constant, parameters off their bounds, and a covariance that exists.
 */
import { levenbergMarquardt } from 'ml-levenberg-marquardt';
import { Matrix, QrDecomposition, inverse } from 'ml-matrix';
import { dependentColumns } from './linalg';
import { noResult, requireFinite, requireSameLength, type NoResult, type Numbers } from './check';
import { mean, sumOfSquares } from './summary';

/** A model: parameters in, function of x out. */
export type Model = (parameters: readonly number[]) => (x: number) => number;

/** Starting values and the range within which each parameter makes physical sense. */
export type NonlinearOptions = {
  readonly start: readonly number[];
  readonly lower: readonly number[];
  readonly upper: readonly number[];
  /** Largest residual standard deviation that still counts as a fit; unlimited unless given. */
  readonly maxResidualSd?: number;
};

/** A converged fit. */
export type NonlinearFit = {
  readonly ok: true;
  readonly parameters: readonly number[];
  readonly standardErrors: readonly number[] | null;
  readonly covariance: readonly (readonly number[])[] | null;
  readonly residualSumOfSquares: number;
  readonly residualSd: number | null;
  readonly dof: number;
  /** Fraction of the variance about the mean that is left. */
  readonly leftOver: number;
  /** Relative-offset convergence figure (Bates & Watts, Technometrics 23 (1981) 179). */
  readonly relativeOffset: number;
};

const CONVERGED = 1e-5;
/** Nearer than this no step is worth its time: it moves a parameter by a hundred-millionth of its standard error. */
const FINISHED = 1e-8;

/**
 * Fits a model.
 * @returns the fit, or the reason why it is not to be trusted
 * @throws RangeError on data that are not finite or a start outside the bounds
 */
export function fitNonlinear(x: Numbers, y: Numbers, model: Model, options: NonlinearOptions): NonlinearFit | NoResult {
  requireSameLength(x, y, 'x and y');
  requireFinite(x, 'x');
  requireFinite(y, 'y');
  const { start, lower, upper } = options;
  const count = start.length;
  start.forEach((s, k) => {
    if (!(lower[k] <= s && s <= upper[k])) throw new RangeError(`start[${k}] = ${s} lies outside its bounds ${lower[k]}..${upper[k]}`);
  });
  const n = x.length;
  if (n < count) return noResult(`${n} points cannot determine ${count} parameters`);
  const scale = start.map((s, k) => Math.abs(s) || Math.max(Math.abs(lower[k]), Math.abs(upper[k])) || 1);
  const height = Math.sqrt(sumOfSquares(y) / n) || Math.abs(mean(y)) || 1;

  const problem: Problem = { x, y, model, lower, upper, scale, height };
  const best = searched(problem, start);
  const residual = rss(problem, best.parameters);
  if (!Number.isFinite(residual)) return noResult('the fit diverged: the model gives no finite value at any parameters tried');
  if (best.jacobian === null) return noResult('the fit stopped where the data no longer determine all parameters (singular Jacobian); start nearer or fix one');
  if (best.offset > CONVERGED) {
    return noResult(`the fit did not converge: relative offset ${best.offset.toExponential(2)} after all steps, residual sum ${residual.toPrecision(6)}; give a nearer start`);
  }
  const total = sumOfSquares(y);
  const leftOver = total > 0 ? residual / total : 0;
  if (total > 0 && leftOver >= 1) return noResult(`the fit is no better than a constant (residual sum ${residual.toPrecision(6)} of ${total.toPrecision(6)})`);
  const atBound = best.parameters.findIndex((p, k) => p <= lower[k] + 1e-9 * scale[k] || p >= upper[k] - 1e-9 * scale[k]);
  if (atBound >= 0) return noResult(`parameter ${atBound} ended at its bound ${best.parameters[atBound]}; the model or the bounds do not suit the data`);
  const dof = n - count;
  const residualSd = dof > 0 ? Math.sqrt(residual / dof) : null;
  if (options.maxResidualSd !== undefined && residualSd !== null && residualSd > options.maxResidualSd) {
    return noResult(`residual standard deviation ${residualSd.toPrecision(4)} exceeds the allowed ${options.maxResidualSd.toPrecision(4)}`);
  }
  const covariance = residualSd === null ? null : covarianceOf(best.jacobian, scale, residualSd);
  return {
    ok: true, parameters: best.parameters, covariance,
    standardErrors: covariance?.map((row, k) => Math.sqrt(row[k])) ?? null,
    residualSumOfSquares: residual, residualSd, dof, leftOver, relativeOffset: best.offset,
  };
}

type Problem = {
  x: Numbers; y: Numbers; model: Model;
  lower: readonly number[]; upper: readonly number[]; scale: readonly number[]; height: number;
};

/** Library fit in parameters of order one and responses of order one, so that damping means the same for all. */
function roughFit(p: Problem, start: readonly number[]): number[] {
  const unscale = (q: readonly number[]): number[] => q.map((v, k) => v * p.scale[k]);
  try {
    const result = levenbergMarquardt(
      { x: Array.from(p.x), y: Array.from(p.y, (v) => v / p.height) },
      (q: number[]) => { const f = p.model(unscale(q)); return (x: number) => f(x) / p.height; },
      {
        initialValues: start.map((s, k) => s / p.scale[k]),
        minValues: p.lower.map((v, k) => v / p.scale[k]),
        maxValues: p.upper.map((v, k) => v / p.scale[k]),
        damping: 1e-2, gradientDifference: 1e-6, centralDifference: true, maxIterations: 200, errorTolerance: 1e-14,
      },
    );
    const found = unscale(result.parameterValues);
    return found.every(Number.isFinite) ? found : [...start];
  } catch {
    return [...start]; // the library throws on a singular step; the check after polishing decides
  }
}

/** From the neighbourhood that the library finds; from the start where that does not converge. */
function searched(p: Problem, start: readonly number[]): Polished {
  const fromRough = polish(p, roughFit(p, start));
  return converged(fromRough) ?? better(p, fromRough, polish(p, start));
}

const converged = (found: Polished): Polished | null => (found.offset <= CONVERGED ? found : null);

/** A converged answer beats one that is not; else the smaller residual sum. */
function better(p: Problem, a: Polished, b: Polished): Polished {
  if (b.offset <= CONVERGED) return b;
  return rss(p, b.parameters) < rss(p, a.parameters) ? b : a;
}

function rss(p: Problem, parameters: readonly number[]): number {
  const f = p.model(parameters);
  let sum = 0;
  for (let i = 0; i < p.x.length; i++) sum += (p.y[i] - f(p.x[i])) ** 2;
  return Number.isFinite(sum) ? sum : Infinity;
}

/** Jacobian in scaled parameters by central differences. */
function jacobian(p: Problem, parameters: readonly number[]): Matrix {
  const j = new Matrix(p.x.length, parameters.length);
  for (let k = 0; k < parameters.length; k++) {
    const step = 1e-5 * (Math.abs(parameters[k]) || p.scale[k]);
    const up = p.model(parameters.map((v, i) => (i === k ? v + step : v)));
    const down = p.model(parameters.map((v, i) => (i === k ? v - step : v)));
    for (let i = 0; i < p.x.length; i++) j.set(i, k, ((up(p.x[i]) - down(p.x[i])) / (2 * step)) * p.scale[k]);
  }
  return j;
}

type Polished = { parameters: number[]; offset: number; jacobian: Matrix | null };

const MOST_ROUNDS = 200;

/** Damped Gauss–Newton steps that only ever lower the residual sum, until the relative offset is negligible. */
function polish(p: Problem, from: readonly number[]): Polished {
  let parameters = [...from];
  let sum = rss(p, parameters);
  let damping = 1e-3;
  for (let round = 0; ; round++) {
    const f = p.model(parameters);
    const j = jacobian(p, parameters);
    const r = Matrix.columnVector(Array.from(p.y, (v, i) => v - f(p.x[i])));
    if (![...j.to1DArray(), ...r.to1DArray()].every(Number.isFinite)) return { parameters, offset: Infinity, jacobian: null };
    const offset = relativeOffset(p, j, r, sum);
    const here = { parameters, offset: offset ?? Infinity, jacobian: offset === null ? null : j };
    if (round >= MOST_ROUNDS || (offset !== null && offset < FINISHED)) return here;
    let taken = false;
    while (!taken && damping <= 1e10) {
      const step = dampedStep(j, r, damping);
      const trial = parameters.map((v, k) => Math.min(p.upper[k], Math.max(p.lower[k], v + step[k] * p.scale[k])));
      const trialSum = rss(p, trial);
      taken = trialSum < sum;
      if (taken) {
        parameters = trial;
        sum = trialSum;
        damping = Math.max(damping / 10, 1e-15);
      } else {
        damping *= 10;
      }
    }
    if (!taken) return here;
  }
}

/** Length of the Gauss–Newton step in the response, against the scatter; null when the Jacobian's columns depend on each other. */
function relativeOffset(p: Problem, j: Matrix, r: Matrix, sum: number): number | null {
  const qr = new QrDecomposition(j);
  if (dependentColumns(qr)) return null;
  const tangent = j.mmul(qr.solve(r));
  const along = tangent.dot(tangent);
  const dof = Math.max(1, p.x.length - j.columns);
  const noise = Math.max(sum - along, 1e-24 * p.height ** 2 * p.x.length);
  return Math.sqrt(along / j.columns / (noise / dof));
}

/** Minimises |J s − r|² + damping·|D s|², D the column lengths (Marquardt's scaling), by QR of the stacked system. */
function dampedStep(j: Matrix, r: Matrix, damping: number): number[] {
  const n = j.rows;
  const stacked = Matrix.zeros(n + j.columns, j.columns);
  const target = Matrix.zeros(n + j.columns, 1);
  stacked.setSubMatrix(j, 0, 0);
  target.setSubMatrix(r, 0, 0);
  for (let k = 0; k < j.columns; k++) stacked.set(n + k, k, Math.sqrt(damping) * (j.getColumnVector(k).norm() || 1));
  const qr = new QrDecomposition(stacked);
  return qr.isFullRank() ? qr.solve(target).getColumn(0) : new Array<number>(j.columns).fill(0);
}

function covarianceOf(j: Matrix, scale: readonly number[], residualSd: number): number[][] {
  const rInverse = inverse(new QrDecomposition(j).upperTriangularMatrix);
  const c = rInverse.mmul(rInverse.transpose()).mul(residualSd ** 2).to2DArray();
  return c.map((row, i) => row.map((v, k) => v * scale[i] * scale[k]));
}
