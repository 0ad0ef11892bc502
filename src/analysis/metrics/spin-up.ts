/** spin-up: how many starts succeed, and how long they take. */
import { withRole, type RunData } from '../run-data';
import { wilson } from '../stats/wilson';
import { exact, metric, noMetric, type RunMetric } from './reading';

/** Counted starts of one run: what a campaign pools. */
export type Starts = { readonly tried: number; readonly succeeded: number };

/** Metrics of a spin-up run, and the counts. */
export function spinUpMetrics(data: RunData): { readonly metrics: RunMetric[]; readonly starts: Starts } {
  // A start that ran into its bound ended by time; one that reached the speed was ended by the station.
  const tried = withRole(data, 'start').filter((s) => s.segment.kind === 'wait-until' && s.segment.tags?.start !== undefined && (s.ended === 'asked' || s.ended === 'time'));
  const good = tried.filter((s) => s.ended === 'asked');
  const starts = { tried: tried.length, succeeded: good.length };
  if (tried.length === 0) {
    return { metrics: [noMetric('start_success', 'no start was tried'), noMetric('time_to_speed_s', 'no start was tried')], starts };
  }
  const { interval } = wilson(good.length, tried.length);
  // The wait also contains the time for which the speed had to stay above: that is not part of getting there.
  const times = good.map((s) => s.end_s - s.start_s - (s.segment.tags?.steady_s ?? 0));
  const mean = times.reduce((a, b) => a + b, 0) / times.length;
  const sd = Math.sqrt(times.reduce((sum, t) => sum + (t - mean) ** 2, 0) / Math.max(1, times.length - 1));
  const text = interval.lower === null ? interval.reason : `${good.length} of ${tried.length} starts; Wilson interval ${interval.lower.toFixed(3)} to ${interval.upper.toFixed(3)}`;
  return {
    starts,
    metrics: [
      metric('start_success', exact(good.length / tried.length), text),
      times.length === 0 ? noMetric('time_to_speed_s', 'no start succeeded')
        : metric('time_to_speed_s', { value: mean, within: times.length < 2 ? 0 : sd / Math.sqrt(times.length), effects: {} }, `mean of ${times.length} starts that succeeded`),
    ],
  };
}
