/** Least-squares straight lines and polynomials with covariance, confidence and prediction intervals. */
import { Matrix, QrDecomposition, inverse } from 'ml-matrix';
import { dependentColumns } from './linalg';
import { noResult, requireFinite, requireSameLength, type NoResult, type Numbers } from './check';
import { around, noInterval, type Interval } from './interval';
import { coverageFactor, fUpperP } from './quantiles';
import { mean } from './summary';

/** What to fit and how to weigh it. At most one of `sigma` and `weights`. */
export type FitOptions = {
  /** Polynomial degree; 1 (a straight line) unless given. */
  readonly degree?: number;
  /** Leaves the constant term out. R² and F then refer to the uncorrected sum of squares. */
  readonly throughOrigin?: boolean;
  /** Known standard uncertainty of every y: the covariance is absolute and degrees of freedom unlimited. */
  readonly sigma?: Numbers;
  /** Relative weights (e.g. counts): the covariance is scaled by the residuals. */
  readonly weights?: Numbers;
};

/** A fitted polynomial y = Σ coefficients[k]·x^(k + first). */
export type PolynomialFit = {
  readonly ok: true;
  readonly n: number;
  /** Power of the first coefficient: 0, or 1 when fitted through the origin. */
  readonly firstPower: number;
  readonly coefficients: readonly number[];
  /** Covariance of the coefficients; null when no residual degree of freedom is left. */
  readonly covariance: readonly (readonly number[])[] | null;
  /** Standard uncertainties of the coefficients. */
  readonly standardErrors: readonly number[] | null;
  readonly residualSumOfSquares: number;
  /** Residual standard deviation (weighted), or null without residual degrees of freedom. */
  readonly residualSd: number | null;
  readonly residualDof: number;
  /** Degrees of freedom of the covariance: residualDof, or null (unlimited) with known `sigma`. */
  readonly dof: number | null;
  readonly rSquared: number | null;
  /** Overall F and its p value; null where they do not exist. */
  readonly f: number | null;
  readonly p: number | null;
  /** Why covariance is missing, if it is. */
  readonly reason: string | null;
};

/**
 * Fits a polynomial by QR decomposition of centred and scaled powers.
 * @returns the fit, or the reason why there is none (too few points, all at one x)
 * @throws RangeError on values that are not finite, lengths that differ, or weights that are not positive
 */
export function fitPolynomial(x: Numbers, y: Numbers, options: FitOptions = {}): PolynomialFit | NoResult {
  requireSameLength(x, y, 'x and y');
  requireFinite(x, 'x');
  requireFinite(y, 'y');
  const n = x.length;
  const degree = options.degree ?? 1;
  const firstPower = options.throughOrigin === true ? 1 : 0;
  const terms = degree + 1 - firstPower;
  if (terms < 1) throw new RangeError(`degree ${degree} through the origin has no terms`);
  const root = rootWeights(n, options);
  const distinct = new Set(Array.from(x)).size;
  if (n < terms || distinct < terms) return noResult(`${n} points at ${distinct} different x cannot determine ${terms} coefficients`);

  // Powers of z = (x − shift)/scale keep the columns apart; the result is turned back into powers of x.
  const shift = firstPower === 1 ? 0 : mean(x);
  let scale = 0;
  for (let i = 0; i < n; i++) scale = Math.max(scale, Math.abs(x[i] - shift));
  if (scale === 0) scale = 1; // a single point with a constant model
  const design = new Matrix(n, terms);
  const target = new Matrix(n, 1);
  for (let i = 0; i < n; i++) {
    const z = (x[i] - shift) / scale;
    for (let k = 0; k < terms; k++) design.set(i, k, root[i] * z ** (k + firstPower));
    target.set(i, 0, root[i] * y[i]);
  }
  const qr = new QrDecomposition(design);
  if (dependentColumns(qr)) return noResult('the x values do not determine the coefficients (the columns depend on each other)');
  const inZ = qr.solve(target);
  const fitted = design.mmul(inZ);
  let rss = 0;
  for (let i = 0; i < n; i++) rss += (target.get(i, 0) - fitted.get(i, 0)) ** 2;
  const back = backToX(terms, firstPower, shift, scale);
  const coefficients = back.mmul(inZ).getColumn(0);
  if (!coefficients.every(Number.isFinite)) return noResult('the coefficients did not come out as finite numbers');

  const residualDof = n - terms;
  const known = options.sigma !== undefined;
  const unit = known ? 1 : residualDof > 0 ? rss / residualDof : null;
  const rInverse = inverse(qr.upperTriangularMatrix);
  const inX = back.mmul(rInverse);
  const covariance = unit === null ? null : inX.mmul(inX.transpose()).mul(unit).to2DArray();
  const tss = totalSumOfSquares(y, root, firstPower === 1);
  const regressionDof = degree;
  const f = residualDof > 0 && rss > 0 && regressionDof > 0 ? Math.max(0, tss - rss) / regressionDof / (rss / residualDof) : null;
  return {
    ok: true, n, firstPower, coefficients, covariance,
    standardErrors: covariance?.map((row, k) => Math.sqrt(Math.max(0, row[k]))) ?? null,
    residualSumOfSquares: rss, residualSd: residualDof > 0 ? Math.sqrt(rss / residualDof) : null, residualDof,
    dof: known ? null : residualDof, rSquared: tss > 0 ? 1 - rss / tss : null,
    f, p: f === null ? null : fUpperP(f, regressionDof, residualDof),
    reason: covariance === null ? `${n} points for ${terms} coefficients leave nothing to judge the scatter by` : null,
  };
}

/** Straight line a + b·x. */
export const fitLine = (x: Numbers, y: Numbers, options: Omit<FitOptions, 'degree' | 'throughOrigin'> = {}): PolynomialFit | NoResult =>
  fitPolynomial(x, y, { ...options, degree: 1 });

/** Straight line b·x through the origin. */
export const fitThroughOrigin = (x: Numbers, y: Numbers, options: Omit<FitOptions, 'degree' | 'throughOrigin'> = {}): PolynomialFit | NoResult =>
  fitPolynomial(x, y, { ...options, degree: 1, throughOrigin: true });

/** The value of a fit at x. */
export function evaluateFit(fit: PolynomialFit, x: number): number {
  let sum = 0;
  for (let k = fit.coefficients.length - 1; k >= 0; k--) sum = sum * x + fit.coefficients[k];
  return sum * x ** fit.firstPower;
}

/** The slope of a fit at x. */
export function slopeOfFit(fit: PolynomialFit, x: number): number {
  let sum = 0;
  fit.coefficients.forEach((c, k) => { const power = k + fit.firstPower; if (power > 0) sum += c * power * x ** (power - 1); });
  return sum;
}

/** A predicted value with uncertainties of the mean response and of one further observation, and both intervals. */
export type Prediction = {
  readonly value: number;
  readonly u: number | null;
  readonly uObservation: number | null;
  readonly confidenceInterval: Interval;
  readonly predictionInterval: Interval;
};

/** Predicts at x. The prediction interval needs a residual spread, so it is missing for fits with known `sigma`. */
export function predict(fit: PolynomialFit, x: number, confidence = 0.95): Prediction {
  const value = evaluateFit(fit, x);
  const powers = fit.coefficients.map((_, k) => x ** (k + fit.firstPower));
  if (fit.covariance === null) {
    const none = noInterval(confidence, fit.reason ?? 'no covariance');
    return { value, u: null, uObservation: null, confidenceInterval: none, predictionInterval: none };
  }
  const u = Math.sqrt(Math.max(0, quadraticForm(fit.covariance, powers)));
  const k = coverageFactor(confidence, fit.dof ?? Infinity);
  const spread = fit.dof === null ? null : fit.residualSd;
  const uObservation = spread === null ? null : Math.hypot(u, spread);
  return {
    value, u, uObservation, confidenceInterval: around(value, k * u, confidence),
    predictionInterval: uObservation === null
      ? noInterval(confidence, 'the scatter of one observation differs from point to point')
      : around(value, k * uObservation, confidence),
  };
}

/** vᵀ C v. */
export function quadraticForm(c: readonly (readonly number[])[], v: readonly number[]): number {
  let sum = 0;
  for (let i = 0; i < v.length; i++) for (let j = 0; j < v.length; j++) sum += v[i] * c[i][j] * v[j];
  return sum;
}

function rootWeights(n: number, options: FitOptions): Float64Array {
  const { sigma, weights } = options;
  if (sigma !== undefined && weights !== undefined) throw new RangeError('give either sigma or weights, not both');
  const given = sigma ?? weights;
  const root = new Float64Array(n).fill(1);
  if (given === undefined) return root;
  if (given.length !== n) throw new RangeError(`${given.length} weights for ${n} points`);
  for (let i = 0; i < n; i++) {
    if (!(given[i] > 0 && Number.isFinite(given[i]))) throw new RangeError(`${sigma === undefined ? 'weights' : 'sigma'}[${i}] is ${given[i]}; it must be positive`);
    root[i] = sigma === undefined ? Math.sqrt(given[i]) : 1 / given[i];
  }
  return root;
}

/** Rows: powers of x; columns: powers of z = (x − shift)/scale. Entry = coefficient of x^row in z^column. */
function backToX(terms: number, firstPower: number, shift: number, scale: number): Matrix {
  const m = Matrix.zeros(terms, terms);
  for (let column = 0; column < terms; column++) {
    const power = column + firstPower;
    let choose = 1;
    for (let k = power; k >= firstPower; k--) { // C(power, k) counted down from k = power
      m.set(k - firstPower, column, (choose * (-shift) ** (power - k)) / scale ** power);
      choose = (choose * k) / (power - k + 1);
    }
  }
  return m;
}

function totalSumOfSquares(y: Numbers, root: Float64Array, uncorrected: boolean): number {
  let weight = 0;
  let weighted = 0;
  for (let i = 0; i < y.length; i++) {
    weight += root[i] ** 2;
    weighted += root[i] ** 2 * y[i];
  }
  const centre = uncorrected ? 0 : weighted / weight;
  let sum = 0;
  for (let i = 0; i < y.length; i++) sum += (root[i] * (y[i] - centre)) ** 2;
  return sum;
}
