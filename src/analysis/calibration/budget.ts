/** What is known of a calibrated channel: relative uncertainty of its gain, uncertainty of its offset (JCGM 100:2008, chapter 5). */
import { predictChange, type LawFit } from './fit';

export type BudgetInput = {
  /** Standard uncertainty of the reference, relative; common to all points, so that no fit can average it away. */
  readonly u_reference: number;
  /** Largest difference between rising and falling, and drift under constant load, SI; null where not looked at. */
  readonly hysteresis: number | null;
  readonly creep: number | null;
  /** Applied values, SI, between which the calibration holds. */
  readonly span: { readonly from: number; readonly to: number };
};

export type CalibrationBudget = {
  /** Relative standard uncertainty of a change from zero, at the worst place above a quarter of the span. */
  readonly u_gain: number;
  /** Standard uncertainty of a single place on the law: constant term and what the law leaves over, SI. */
  readonly u_offset: number;
  /** Effective, of `u_gain` (JCGM 100:2008, eq. G.2b): only the fit's part is a guess; null when the fit adds nothing. */
  readonly dof: number | null;
  /** What makes up `u_gain`, relative. */
  readonly parts: { readonly fit: number; readonly reference: number; readonly hysteresis: number; readonly creep: number };
};

/** Below this share of the span a relative uncertainty says nothing: there the offset counts. */
const FROM_SHARE = 0.25;
const PLACES = 16;

/**
 * The budget of a law. Hysteresis and creep are taken as equally likely anywhere within their width (GUM 4.3.7) and referred
 * to half of the span.
 */
export function budgetOf(law: LawFit, input: BudgetInput): CalibrationBudget {
  const size = Math.max(Math.abs(input.span.from), Math.abs(input.span.to));
  const fit = worstRelative(law, input.span);
  const relative = (width: number | null): number => (width === null || size === 0 ? 0 : width / Math.sqrt(12) / (size / 2));
  const parts = { fit, reference: input.u_reference, hysteresis: relative(input.hysteresis), creep: relative(input.creep) };
  const u_gain = Math.hypot(parts.fit, parts.reference, parts.hysteresis, parts.creep);
  const u0 = law.fit.standardErrors?.[0] ?? 0;
  return {
    u_gain,
    u_offset: Math.hypot(u0, law.residualSd),
    dof: effective(u_gain, parts.fit, law.dof), parts,
  };
}

/** ν_eff of a figure of which one part has ν degrees of freedom and the rest counts as known. */
function effective(u: number, part: number, dof: number): number | null {
  return part === 0 ? null : dof * (u / part) ** 4;
}

function worstRelative(law: LawFit, span: BudgetInput['span']): number {
  const end = Math.abs(span.to) >= Math.abs(span.from) ? span.to : span.from;
  // Counts at the far end of the span, near enough for the shape of the uncertainty.
  const x = (end - law.c0) / law.c1;
  let worst = 0;
  for (let k = 0; k <= PLACES; k++) {
    const { value, u } = predictChange(law, law.zero + x * (FROM_SHARE + ((1 - FROM_SHARE) * k) / PLACES));
    if (value !== 0) worst = Math.max(worst, u / Math.abs(value));
  }
  return worst;
}

/** A constant or a factor out of repeats: mean, relative standard uncertainty with that of the reference, degrees of freedom. */
export function meanOfRatios(ratios: readonly number[], u_reference: number): { readonly value: number; readonly u: number; readonly dof: number | null; readonly residuals: readonly number[] } {
  const n = ratios.length;
  if (n < 2) throw new RangeError(`${n} points: two at least show how they scatter`);
  const value = ratios.reduce((a, b) => a + b, 0) / n;
  const residuals = ratios.map((r) => r - value);
  const s = Math.sqrt(residuals.reduce((sum, r) => sum + r * r, 0) / (n - 1));
  const own = s / Math.sqrt(n) / Math.abs(value);
  const u = Math.hypot(own, u_reference);
  return { value, u, dof: effective(u, own, n - 1), residuals };
}
