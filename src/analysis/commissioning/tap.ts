/** Natural frequency and damping of a stand from a tap: the free decay that follows the largest jump of the load cell. */
import { noResult, type NoResult, type Numbers } from '../stats/check';
import { fitLine } from '../stats/linefit';
import { mean, sd } from '../stats/summary';

export interface TapResult {
  readonly ok: true;
  readonly frequency_Hz: number;
  /** Damping ratio from the logarithmic decrement: ζ = δ/√(4π² + δ²). */
  readonly damping: number;
  /** Full oscillations that were seen above the noise. */
  readonly cycles: number;
}

/** Oscillations above the noise that are needed at least. */
const LEAST_CYCLES = 4;
/** Peaks below this many standard deviations of the quiet signal are noise. */
const ABOVE_NOISE = 4;
/** Samples a period that are needed at least: with fewer a peak can fall between two samples. */
export const SAMPLES_A_PERIOD = 4;

/**
 * Fits the free decay after a tap. Zero crossings tell the frequency, the logarithms of the half-wave peaks its damping
 * (logarithmic decrement; e.g. Harris' Shock and Vibration Handbook, ch. 2, from memory).
 * @param t_s increasing times, s
 * @param force_N the load cell
 * @param quiet_s what comes before this time is rest and gives mean and noise
 */
export function tapResponse(t_s: Numbers, force_N: Numbers, quiet_s: number): TapResult | NoResult {
  const n = t_s.length;
  let quiet = 0;
  while (quiet < n && t_s[quiet] < quiet_s) quiet++;
  if (quiet < 10 || n - quiet < 20) return noResult('too few samples before or after the tap');
  const all = Array.from(force_N);
  const zero = mean(all.slice(0, quiet));
  const noise = sd(all.slice(0, quiet)) ?? 0;
  const y = all.map((v) => v - zero);
  const start = largestAt(y, quiet);
  if (!(Math.abs(y[start]) > ABOVE_NOISE * noise)) return noResult('no tap was seen above the noise');
  const waves = halfWaves(t_s, y, start, ABOVE_NOISE * noise);
  if (waves.crossings_s.length < 2 * LEAST_CYCLES) {
    return noResult(`${Math.floor(waves.crossings_s.length / 2)} oscillations above the noise, ${LEAST_CYCLES} are needed: tap harder, or sample faster`);
  }
  const line = fitLine(waves.crossings_s.map((_, k) => k), waves.crossings_s);
  if (!line.ok) return line;
  const half_s = line.coefficients[1];
  const samples = (2 * half_s * (n - 1)) / (t_s[n - 1] - t_s[0]);
  if (samples < SAMPLES_A_PERIOD) return noResult(`sampled ${samples.toFixed(1)} times a period; ${SAMPLES_A_PERIOD} are needed`);
  const decay = fitLine(waves.peaks.map((_, k) => k), waves.peaks.map((p) => Math.log(p)));
  const decrement = decay.ok ? Math.max(0, -2 * decay.coefficients[1]) : 0;
  const damped_Hz = 1 / (2 * half_s);
  const damping = decrement / Math.sqrt(4 * Math.PI ** 2 + decrement ** 2);
  return { ok: true, frequency_Hz: damped_Hz / Math.sqrt(1 - damping ** 2), damping, cycles: Math.floor(waves.crossings_s.length / 2) };
}

function largestAt(y: readonly number[], from: number): number {
  let at = from;
  for (let i = from; i < y.length; i++) if (Math.abs(y[i]) > Math.abs(y[at])) at = i;
  return at;
}

/** Times of the zero crossings after `from`, and the height of each half wave, until one stays below `floor`. */
function halfWaves(t_s: Numbers, y: readonly number[], from: number, floor: number): { crossings_s: number[]; peaks: number[] } {
  const crossings_s: number[] = [];
  const peaks: number[] = [];
  let peak = Math.abs(y[from]);
  for (let i = from + 1; i < y.length; i++) {
    if ((y[i] < 0) === (y[i - 1] < 0)) {
      peak = Math.max(peak, Math.abs(y[i]));
      continue;
    }
    if (peak < floor) break;
    peaks.push(peak);
    crossings_s.push(t_s[i - 1] + ((t_s[i] - t_s[i - 1]) * y[i - 1]) / (y[i - 1] - y[i]));
    peak = Math.abs(y[i]);
  }
  return { crossings_s, peaks };
}
