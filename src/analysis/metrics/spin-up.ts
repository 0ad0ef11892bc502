/** spin-up: how many starts succeed, and how long they take. */
import { between, channelOf, withRole, type PlayedSegment, type RunChannel, type RunData } from '../run-data';
import { wilson } from '../stats/wilson';
import { channelEffects, sampleAge } from './common';
import { derived, exact, metric, minus, noMetric, type Reading, type RunMetric } from './reading';

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
  const speed = channelOf(data, 'speed');
  const reached = good.map((s) => timeTo(speed, s));
  const times = reached.map((r) => r.time_s);
  // A channel that reads too much sees the speed reached too soon.
  const perRpm_s = reached.reduce((sum, r) => sum + r.perRpm_s, 0) / reached.length;
  const wanted = good[0]?.segment.tags?.speed_rpm;
  const misread: Reading = { value: 0, within: 0, effects: speed === null || wanted === undefined ? {} : channelEffects(speed, wanted) };
  const { effects } = derived(0, [[misread, -perRpm_s]]);
  const age = speed === null ? exact(0) : sampleAge(speed);
  const mean = times.reduce((a, b) => a + b, 0) / times.length;
  const sd = Math.sqrt(times.reduce((sum, t) => sum + (t - mean) ** 2, 0) / Math.max(1, times.length - 1));
  const text = interval.lower === null ? interval.reason : `${good.length} of ${tried.length} starts; Wilson interval ${interval.lower.toFixed(3)} to ${interval.upper.toFixed(3)}`;
  return {
    starts,
    metrics: [
      metric('start_success', exact(good.length / tried.length), text),
      times.length === 0 ? noMetric('time_to_speed_s', 'no start succeeded')
        : metric('time_to_speed_s', minus({ value: mean, within: times.length < 2 ? 0 : sd / Math.sqrt(times.length), effects }, age), `mean of ${times.length} starts that succeeded, from the speed in the record; half a sample period taken off`),
    ],
  };
}

/**
 * From the command to the stated speed, s, and how much later a speed higher by 1 rpm is reached, s: where the line between the samples
 * around it crosses. The end of the wait would come later, by the time for which the speed had to stay above and by the way to the
 * station and back.
 */
function timeTo(speed: RunChannel | null, { start_s, end_s, segment }: PlayedSegment): { readonly time_s: number; readonly perRpm_s: number } {
  const wanted = segment.tags?.speed_rpm;
  const waited = end_s - start_s - (segment.tags?.steady_s ?? 0);
  if (speed === null || wanted === undefined) return { time_s: waited, perRpm_s: 0 };
  const { t_s, value } = between(speed, start_s, end_s + speed.period_s);
  const at = value.findIndex((v) => v >= wanted);
  if (at < 0) return { time_s: waited, perRpm_s: 0 };
  // A rotor that has only just begun to turn has no sample before: it was at rest when it was told to start.
  const [t0, v0] = at > 0 ? [t_s[at - 1], value[at - 1]] : [start_s, 0];
  const perRpm_s = (t_s[at] - t0) / (value[at] - v0);
  return { time_s: t0 + (wanted - v0) * perRpm_s - start_s, perRpm_s };
}
