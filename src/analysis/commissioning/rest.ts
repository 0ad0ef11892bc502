/** A rig at rest: noise floor, drift, sample rate and jitter of each channel, before anything has turned. */
import type { ChannelKind } from '../../model/channel';
import { between, type RunData } from '../run-data';
import { fitLine, slopeOfFit } from '../stats/linefit';
import { mean } from '../stats/summary';

/** One channel over a rest, in the SI unit of its column. Null where there are too few samples to say. */
export interface RestReading {
  readonly kind: ChannelKind;
  readonly column: string;
  readonly samples: number;
  readonly mean: number | null;
  /** Standard deviation about the fitted straight line. */
  readonly noise: number | null;
  /** Slope of that line, per minute. */
  readonly drift_per_min: number | null;
  /** Standard uncertainty of the slope, taking samples as independent. */
  readonly u_drift_per_min: number | null;
  /** New samples a second, and what the declared period promises. */
  readonly rate_Hz: number | null;
  readonly declared_Hz: number;
  /** Standard deviation of the time between samples, and the longest, s. */
  readonly jitter_s: number | null;
  readonly longest_gap_s: number | null;
  /** New samples that were impossible. */
  readonly impossible: number;
}

/** Fewer samples tell no rate and no noise. */
const LEAST_SAMPLES = 5;

/** Every channel between two times of a run, s. */
export function restReadings(data: RunData, from_s: number, to_s: number): RestReading[] {
  return data.channels.map((channel): RestReading => {
    const { t_s, value } = between(channel, from_s, to_s);
    const { kind, column, impossible } = channel;
    const told = { kind, column, samples: value.length, declared_Hz: 1 / channel.period_s, impossible };
    if (value.length < LEAST_SAMPLES) {
      return { ...told, mean: null, noise: null, drift_per_min: null, u_drift_per_min: null, rate_Hz: null, jitter_s: null, longest_gap_s: null };
    }
    const line = fitLine(t_s, value);
    const middle_s = (t_s[0] + t_s[t_s.length - 1]) / 2;
    return {
      ...told, mean: mean(value),
      noise: line.ok ? line.residualSd : null,
      drift_per_min: line.ok ? 60 * slopeOfFit(line, middle_s) : null,
      u_drift_per_min: line.ok && line.standardErrors !== null ? 60 * line.standardErrors[1] : null,
      ...pace(t_s),
    };
  });
}

function pace(t_s: Float64Array): Pick<RestReading, 'rate_Hz' | 'jitter_s' | 'longest_gap_s'> {
  const gaps = t_s.length - 1;
  const usual = (t_s[gaps] - t_s[0]) / gaps;
  let squares = 0;
  let longest = 0;
  for (let i = 1; i <= gaps; i++) {
    const gap = t_s[i] - t_s[i - 1];
    squares += (gap - usual) ** 2;
    if (gap > longest) longest = gap;
  }
  return { rate_Hz: 1 / usual, jitter_s: Math.sqrt(squares / gaps), longest_gap_s: longest };
}
