// The dry-run check: which segments ask for more than the limits allow, before anything turns.
import type { RigLimits } from '../model/files/rig';
import type { ChannelKind } from '../model/channel';
import type { Segment } from '../model/segment';
import { show, showTime, WORD_OF } from './row';

/** Longest single segment that the board accepts, s. */
export const SEGMENT_LONGEST_S = 600;
/** Segments in one run at most: ordinals are 16 bits. */
export const SEGMENTS_MOST = 65_535;

export interface EnvelopeProblem {
  /** Position of the segment, counted from 1; 0 for the whole protocol. */
  readonly segment: number;
  readonly label: string;
  /** What is wrong, with the numbers, and what is accepted. */
  readonly message: string;
}

export interface Envelope {
  readonly limits: RigLimits;
  /** Kinds of channels that the rig has. */
  readonly channels: ReadonlySet<ChannelKind>;
}

const percent = (fraction: number) => `${show(100 * fraction)} %`;

/** Every problem of a list of segments, in order; empty when all of it lies within the limits. */
export function checkEnvelope(segments: readonly Segment[], envelope: Envelope): EnvelopeProblem[] {
  const problems: EnvelopeProblem[] = [];
  segments.forEach((segment, i) => {
    for (const message of problemsOf(segment, envelope)) problems.push({ segment: i + 1, label: segment.label, message });
  });
  const total_s = segments.reduce((sum, s) => sum + s.duration_s, 0);
  const longest_s = envelope.limits.longest_run_s;
  if (total_s > longest_s)
    problems.push({ segment: 0, label: '', message: `all segments together take ${showTime(total_s * 1e6)}; the rig allows runs of ${showTime(longest_s * 1e6)} (\`longest_run\`)` });
  if (segments.length > SEGMENTS_MOST)
    problems.push({ segment: 0, label: '', message: `${segments.length} segments; a run has at most ${SEGMENTS_MOST}` });
  return problems;
}

function problemsOf(segment: Segment, { limits, channels }: Envelope): string[] {
  const problems: string[] = [];
  const bounded = (what: string, value: number, most: number, key: string, unit: string) => {
    if (!(value <= most)) problems.push(`${what} ${show(value)} ${unit}; at most ${show(most)} ${unit} (\`${key}\`)`);
  };
  const throttle = (value: number) => {
    if (!(value >= 0 && value <= limits.throttle_cap)) problems.push(`throttle ${percent(value)}; accepted: 0 % to ${percent(limits.throttle_cap)} (\`throttle_cap\`)`);
  };
  const measured = (kind: ChannelKind) => {
    if (!channels.has(kind)) problems.push(`needs the ${WORD_OF[kind]} channel, which this rig does not have`);
  };
  const hold = (target: number, kinds: readonly ChannelKind[]) => {
    if (!(target > 0)) problems.push(`a hold needs a target above zero, not ${target}`);
    kinds.forEach(measured);
  };
  if (!(segment.duration_s > 0 && segment.duration_s <= SEGMENT_LONGEST_S))
    problems.push(`duration ${show(segment.duration_s)} s; accepted: above 0 s, at most ${SEGMENT_LONGEST_S} s`);
  if (segment.cap !== undefined && !(segment.cap >= 0 && segment.cap <= 1)) problems.push(`cap ${percent(segment.cap)}; accepted: 0 % to 100 %`);
  const mean_A = limits.current_mean.above_A;
  switch (segment.kind) {
    case 'rest':
      break;
    case 'level':
      throttle(segment.throttle);
      break;
    case 'ramp':
      throttle(segment.to);
      break;
    case 'hold-current':
      hold(segment.target_A, ['current']);
      bounded('current', segment.target_A, Math.min(mean_A, limits.current_peak.above_A), 'current_mean', 'A');
      break;
    case 'hold-power':
      hold(segment.target_W, ['current', 'voltage']);
      // More power than the mean current at the highest voltage can never be within the limits.
      bounded('power', segment.target_W, mean_A * limits.voltage_high.above_V, 'current_mean × voltage_high', 'W');
      break;
    case 'hold-speed':
      hold(segment.target_rpm, ['speed']);
      if (limits.speed !== null) bounded('speed', segment.target_rpm, limits.speed.above_rpm, 'speed', 'rpm');
      break;
    case 'wait-until':
      throttle(segment.throttle);
      measured(segment.until.channel);
      if (segment.until.is === 'above') waitWithin(segment.until.channel, segment.until.value);
      break;
  }
  return problems;

  /** Waiting for a value beyond its limit is waiting for a trip. */
  function waitWithin(kind: ChannelKind, value: number): void {
    const most: Partial<Record<ChannelKind, number | undefined>> = {
      current: mean_A,
      voltage: limits.voltage_high.above_V,
      speed: limits.speed?.above_rpm,
      thrust: limits.thrust?.above_N,
      motor_temperature: limits.motor_temperature?.above_degC,
      esc_temperature: limits.esc_temperature?.above_degC,
    };
    const bound = most[kind];
    if (bound !== undefined && value > bound) problems.push(`waits for a ${WORD_OF[kind]} above ${show(value)}, beyond its limit of ${show(bound)}: that would only trip`);
  }
}
