/**
 * Measurement uncertainty after the GUM (JCGM 100:2008): components of Type A and Type B, their combination through
 * sensitivity coefficients, and effective degrees of freedom by Welch and Satterthwaite.
 */
import { requireDof, requireFinite, type Numbers } from './check';
import { dofField, dofNumber, estimate, missing, type Description, type Estimate } from './estimate';
import { coverageFactor } from './quantiles';
import { summarize } from './summary';

/** One standard uncertainty with its degrees of freedom (Infinity where it counts as known). */
export type Component = { readonly u: number; readonly dof: number };

/** A component in a budget: its name and the sensitivity coefficient ∂f/∂x (1 unless given). */
export type BudgetInput = Component & { readonly name: string; readonly sensitivity?: number };

/** A correlation coefficient between two named inputs. */
export type Correlation = { readonly a: string; readonly b: string; readonly r: number };

/** A combined standard uncertainty and what each input adds (|c|·u). `dof` null means unlimited. */
export type Combined = {
  readonly u: number;
  readonly dof: number | null;
  readonly budget: readonly { readonly name: string; readonly contribution: number; readonly dof: number | null }[];
};

/** Type B, values equally likely within ± halfWidth: u = a/√3 (GUM 4.3.7). */
export const rectangular = (halfWidth: number, dof = Infinity): Component => component(Math.abs(halfWidth) / Math.sqrt(3), dof);

/** Type B, triangular within ± halfWidth: u = a/√6 (GUM 4.3.9). */
export const triangular = (halfWidth: number, dof = Infinity): Component => component(Math.abs(halfWidth) / Math.sqrt(6), dof);

/** Type B, a sinusoidal swing of ± amplitude seen at a random moment (arcsine distribution): u = a/√2 (GUM H.1.3.4). */
export const arcsine = (amplitude: number, dof = Infinity): Component => component(Math.abs(amplitude) / Math.SQRT2, dof);

/** Type B from a certificate: an expanded uncertainty U with its coverage factor k, u = U/k (GUM 4.3.3). */
export const certificate = (expanded: number, k = 2, dof = Infinity): Component => component(Math.abs(expanded) / k, dof);

/** Type B from an interval of stated confidence and degrees of freedom: u = halfWidth/t_p(ν) (GUM 4.3.4). */
export const fromInterval = (halfWidth: number, confidence: number, dof = Infinity): Component =>
  component(Math.abs(halfWidth) / coverageFactor(confidence, dof), dof);

/**
 * A scaled Student t with ν degrees of freedom as state of knowledge: its standard deviation scale·√(ν/(ν−2)) exists
 * only above 2 (JCGM 101:2008, 6.4.9). The variance already carries the thickness of the tails, so the component counts as known.
 */
export function scaledT(scale: number, dof: number): Component {
  if (!(dof > 2)) throw new RangeError(`a scaled t with ${dof} degrees of freedom has no standard deviation; more than 2 are needed`);
  return component(Math.abs(scale) * (dof === Infinity ? 1 : Math.sqrt(dof / (dof - 2))), Infinity);
}

/** Degrees of freedom of a Type B figure that is itself uncertain by the fraction Δu/u: ½(Δu/u)^−2 (GUM G.4.2, G.3). */
export const dofOfDoubt = (relativeDoubt: number): number => 0.5 / relativeDoubt ** 2;

function component(u: number, dof: number): Component {
  if (!Number.isFinite(u)) throw new RangeError(`a standard uncertainty of ${u} is not a number to work with`);
  requireDof(dof);
  return { u, dof };
}

/**
 * Type A: the mean of independent repeats with u = s/√n and n − 1 degrees of freedom (GUM 4.2).
 * One repeat gives the value without uncertainty; none gives no value. Neither throws.
 */
export function typeA(repeats: Numbers, about: Description): Estimate {
  const s = summarize(repeats);
  if (s.mean === null) return missing(about, 'no usable repeats');
  if (s.standardError === null) return estimate(s.mean, null, null, about, 'one repeat: its spread is unknown, so there is no interval');
  return estimate(s.mean, s.standardError, s.n - 1, about);
}

/**
 * Type A with a spread pooled over several settings: u = s_p/√n with the pooled degrees of freedom (GUM 4.2.4).
 */
export function typeAPooled(repeats: Numbers, pooled: { readonly sd: number; readonly dof: number }, about: Description): Estimate {
  const s = summarize(repeats);
  if (s.mean === null) return missing(about, 'no usable repeats');
  return estimate(s.mean, pooled.sd / Math.sqrt(s.n), pooled.dof, about);
}

/**
 * Combines inputs: u² = Σ(c u)² + 2 Σ c_i c_j u_i u_j r_ij (GUM eq. 13), with effective degrees of freedom
 * ν_eff = u⁴ / Σ (c u)⁴/ν (GUM eq. G.2b; it is stated for uncorrelated inputs, and here a group of correlated inputs
 * enters through its members' own terms). Inputs with infinite degrees of freedom add nothing to the sum.
 */
export function combine(inputs: readonly BudgetInput[], correlations: readonly Correlation[] = []): Combined {
  const signed = new Map<string, number>();
  const budget: Combined['budget'][number][] = [];
  let square = 0;
  let fourths = 0;
  for (const input of inputs) {
    const c = input.sensitivity ?? 1;
    requireFinite([input.u, c], `uncertainty and sensitivity of "${input.name}"`);
    requireDof(input.dof, `degrees of freedom of "${input.name}"`);
    const part = c * input.u;
    if (signed.has(input.name)) throw new RangeError(`two inputs are named "${input.name}"`);
    signed.set(input.name, part);
    budget.push({ name: input.name, contribution: Math.abs(part), dof: dofField(input.dof) });
    square += part * part;
    if (input.dof !== Infinity) fourths += part ** 4 / input.dof;
  }
  for (const { a, b, r } of correlations) {
    const pa = signed.get(a);
    const pb = signed.get(b);
    if (pa === undefined || pb === undefined) throw new RangeError(`a correlation names "${a}" and "${b}", but the inputs are ${[...signed.keys()].join(', ')}`);
    if (!(Math.abs(r) <= 1)) throw new RangeError(`the correlation of "${a}" and "${b}" is ${r}, outside −1..1`);
    square += 2 * pa * pb * r;
  }
  const u = Math.sqrt(Math.max(0, square));
  return { u, dof: fourths > 0 && u > 0 ? dofField(u ** 4 / fourths) : null, budget };
}

/** One input of `propagate`: best value and uncertainty. */
export type PropagatedInput = { readonly value: number; readonly u: number; readonly dof?: number };

/**
 * Propagates uncertainty through any smooth function by central differences of ± one standard uncertainty
 * (GUM 5.1.3 note 2): c_i u_i = ½[f(x_i + u_i) − f(x_i − u_i)].
 * @returns an estimate with effective degrees of freedom, and the budget
 */
export function propagate<K extends string>(
  f: (x: Record<K, number>) => number,
  inputs: Readonly<Record<K, PropagatedInput>>,
  about: Description,
  correlations: readonly Correlation[] = [],
): { readonly estimate: Estimate; readonly budget: Combined['budget'] } {
  const names = Object.keys(inputs) as K[];
  const centre = Object.fromEntries(names.map((k) => [k, inputs[k].value])) as Record<K, number>;
  const value = f(centre);
  if (!Number.isFinite(value)) return { estimate: missing(about, `the model gives ${value} at the best values`), budget: [] };
  const parts: BudgetInput[] = [];
  for (const name of names) {
    const { u, dof = Infinity } = inputs[name];
    const up = f({ ...centre, [name]: centre[name] + u });
    const down = f({ ...centre, [name]: centre[name] - u });
    const part = (up - down) / 2;
    if (!Number.isFinite(part)) return { estimate: estimate(value, null, null, about, `the model has no value within one standard uncertainty of ${name}`), budget: [] };
    parts.push({ name, u: 1, sensitivity: part, dof });
  }
  const sum = combine(parts, correlations);
  return { estimate: estimate(value, sum.u, sum.dof, about), budget: sum.budget };
}

/** Adds independent components (e.g. calibration, re-mounting) to an estimate's uncertainty. */
export function withComponents(of: Estimate, extra: readonly BudgetInput[]): Estimate {
  if (of.value === null || of.u === null) return of;
  const sum = combine([{ name: 'estimate', u: of.u, dof: dofNumber(of.dof) }, ...extra]);
  return { ...of, u: sum.u, dof: sum.dof };
}
