/** Monotone regression by pooling adjacent violators. */
import { requireFinite, requireSameLength, type Numbers } from '../stats/check';

/**
 * The non-decreasing sequence nearest to y in (weighted) least squares (Barlow, Bartholomew, Bremner & Brunk,
 * Statistical Inference under Order Restrictions, 1972).
 * @param weights positive, one a value; equal unless given
 * @returns fitted values, in the order of y
 */
export function isotonic(y: Numbers, weights?: Numbers): Float64Array {
  requireFinite(y, 'y');
  if (weights !== undefined) {
    requireSameLength(y, weights, 'values and weights');
    requireFinite(weights, 'weights');
    for (let i = 0; i < weights.length; i++) if (!(weights[i] > 0)) throw new RangeError(`weights[${i}] is ${weights[i]}; it must be above 0`);
  }
  const level = new Float64Array(y.length);
  const weight = new Float64Array(y.length);
  const size = new Int32Array(y.length);
  let blocks = 0;
  for (let i = 0; i < y.length; i++) {
    level[blocks] = y[i];
    weight[blocks] = weights?.[i] ?? 1;
    size[blocks] = 1;
    blocks++;
    while (blocks > 1 && level[blocks - 2] >= level[blocks - 1]) {
      const a = blocks - 2;
      const total = weight[a] + weight[a + 1];
      level[a] += (weight[a + 1] / total) * (level[a + 1] - level[a]);
      weight[a] = total;
      size[a] += size[a + 1];
      blocks--;
    }
  }
  const out = new Float64Array(y.length);
  for (let b = 0, i = 0; b < blocks; b++) for (let k = 0; k < size[b]; k++) out[i++] = level[b];
  return out;
}

/** The same for a sequence that must not increase. */
export const antitonic = (y: Numbers, weights?: Numbers): Float64Array => isotonic(Float64Array.from(y, (v) => -v), weights).map((v) => -v);
