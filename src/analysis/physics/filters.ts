/** Taking out the lag that a sensor, its filter or the drivetrain puts between two signals. */
import { requireFinite, requireSameLength, type Numbers } from '../stats/check';

/**
 * A signal as it would read without a pure delay: the value `delay_s` later, by linear interpolation.
 * @returns an array of the same length; the samples whose later value the record does not hold are left out at the end,
 * so `length` may be smaller
 */
export function undelay(t: Numbers, y: Numbers, delay_s: number): Float64Array {
  requireSameLength(t, y, 't and y');
  requireFinite(y, 'y');
  if (!(delay_s >= 0)) throw new RangeError(`the delay is ${delay_s} s; it must be 0 or more`);
  const out = new Float64Array(t.length);
  let j = 0;
  let n = 0;
  for (; n < t.length; n++) {
    const wanted = t[n] + delay_s;
    while (j < t.length - 1 && t[j + 1] < wanted) j++;
    if (wanted > t[t.length - 1]) break;
    const next = Math.min(j + 1, t.length - 1);
    const width = t[next] - t[j];
    out[n] = width > 0 ? y[j] + ((wanted - t[j]) / width) * (y[next] - y[j]) : y[j];
  }
  return out.slice(0, n);
}

/**
 * A signal with a first-order lag of time constant τ taken out: x = y + τ·dy/dt, the slope taken by a least-squares line
 * over ± `halfWindow` samples, because differentiating raw samples would multiply their noise.
 */
export function unlag(t: Numbers, y: Numbers, tau_s: number, halfWindow = 5): Float64Array {
  requireSameLength(t, y, 't and y');
  requireFinite(t, 't');
  requireFinite(y, 'y');
  if (!(tau_s >= 0)) throw new RangeError(`the time constant is ${tau_s} s; it must be 0 or more`);
  if (!(Number.isInteger(halfWindow) && halfWindow >= 1)) throw new RangeError(`the half window is ${halfWindow}; it must be a whole number of 1 or more`);
  return Float64Array.from({ length: y.length }, (_, i) => {
    const { value, slope } = localLine(t, y, Math.max(0, i - halfWindow), Math.min(y.length - 1, i + halfWindow), t[i]);
    return value + tau_s * slope;
  });
}

/** A first-order low-pass of time constant τ, exact for a signal that is straight between samples; starts settled. */
export function lowPass(t: Numbers, x: Numbers, tau_s: number): Float64Array {
  requireSameLength(t, x, 't and x');
  const y = new Float64Array(x.length);
  if (x.length === 0) return y;
  y[0] = x[0];
  for (let i = 1; i < x.length; i++) {
    const dt = t[i] - t[i - 1];
    if (tau_s <= 0 || dt <= 0) {
      y[i] = tau_s <= 0 ? x[i] : y[i - 1];
      continue;
    }
    const slope = (x[i] - x[i - 1]) / dt;
    const decay = Math.exp(-dt / tau_s);
    y[i] = x[i] - slope * tau_s + (y[i - 1] - x[i - 1] + slope * tau_s) * decay;
  }
  return y;
}

function localLine(t: Numbers, y: Numbers, from: number, to: number, at: number): { value: number; slope: number } {
  let st = 0;
  let sy = 0;
  const n = to - from + 1;
  for (let i = from; i <= to; i++) { st += t[i] - at; sy += y[i]; }
  const mt = st / n;
  const my = sy / n;
  let stt = 0;
  let sty = 0;
  for (let i = from; i <= to; i++) {
    const d = t[i] - at - mt;
    stt += d * d;
    sty += d * (y[i] - my);
  }
  const slope = stt > 0 ? sty / stt : 0;
  return { value: my - slope * mt, slope };
}
