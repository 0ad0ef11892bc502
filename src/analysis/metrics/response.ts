/**
 * response: times of hard steps up and down. Speed is the primary signal: the load cell rings and is filtered, current leads the
 * rotor. A step in or just after a desync is counted and left out.
 */
import { measureStep, stepTimes, type StepFigures, type StepTimes } from '../physics/step';
import { between, channelOf, type PlayedSegment, type RunChannel, type RunData } from '../run-data';
import type { MetricName } from './catalogue';
import { sampleAge } from './common';
import { peakCurrent } from './peak-current';
import { centre, derived, exact, metric, minus, noMetric, type Effects, type Reading, type RunMetric } from './reading';
import { effectOfCrossing, effectsOfLevels } from './step-effects';
import { levelsOf, samplesOf, TAIL } from './train-levels';

/** Seconds before the command that are looked at, for the foot of the step. */
const FOOT_S = 0.04;
/** Half-width of the window around each instant, as a share of the 20 to 80 % transition: a quarter of the time constant of a first-order lag. */
const WINDOW = 0.2;
/** A step that begins this soon after a desync starts from an unsettled level. */
const AFTERMATH_S = 0.2;

type Direction = 'rise' | 'fall';
type Step = { readonly segment: PlayedSegment; readonly direction: Direction };

/** The mean of all good steps, on a common clock, as a fraction of the step: 0 before, 1 after. */
export type MeanStep = { readonly direction: Direction; readonly t_s: readonly number[]; readonly fraction: readonly number[]; readonly steps: number; readonly initial_rpm: number; readonly final_rpm: number };

/** Metrics of a response run, and the mean steps for charts. */
export type ResponseResult = { readonly metrics: RunMetric[]; readonly steps: MeanStep[]; readonly leftOut: number };

/** An instant of a step, after the command, and how a figure goes with it. */
type Instant = readonly [at_s: number | null, per_s: number];
/** A figure of a step: its names, where it is found, what it is, whether it begins at the command, and the crossings that it rests on. */
type Figure<Of> = {
  readonly names: Readonly<Record<Direction, MetricName>>; readonly pick: (f: Of) => number | null; readonly what: string; readonly fromCommand: boolean;
  readonly crossings: (f: StepFigures) => readonly Instant[];
};

const plus = (a: number | null, b: number | null): number | null => (a === null || b === null ? null : a + b);
const t20 = (f: StepFigures): number | null => plus(f.t80_s, f.t20to80_s === null ? null : -f.t20to80_s);

const TIMES: readonly Figure<StepTimes>[] = [
  {
    names: { rise: 'rise_time_10_90_s', fall: 'fall_time_90_10_s' }, pick: (f) => f.t10to90_s, what: '10 to 90 %', fromCommand: false,
    crossings: (f) => [[f.deadTime_s, -1], [plus(f.deadTime_s, f.t10to90_s), 1]],
  },
  { names: { rise: 'rise_time_20_80_s', fall: 'fall_time_80_20_s' }, pick: (f) => f.t20to80_s, what: '20 to 80 %', fromCommand: false, crossings: (f) => [[t20(f), -1], [f.t80_s, 1]] },
  { names: { rise: 'rise_t50_s', fall: 'fall_t50_s' }, pick: (f) => f.t50_s, what: 'command to 50 %', fromCommand: true, crossings: (f) => [[f.t50_s, 1]] },
  { names: { rise: 'rise_t80_s', fall: 'fall_t80_s' }, pick: (f) => f.t80_s, what: 'command to 80 %', fromCommand: true, crossings: (f) => [[f.t80_s, 1]] },
  { names: { rise: 'rise_dead_time_s', fall: 'fall_dead_time_s' }, pick: (f) => f.deadTime_s, what: 'command to 10 %', fromCommand: true, crossings: (f) => [[f.deadTime_s, 1]] },
  {
    names: { rise: 'rise_rate_per_s', fall: 'fall_rate_per_s' }, pick: (f) => f.rate_per_s, what: '0.6 over 20 to 80 %', fromCommand: false,
    crossings: (f) => { const per_s = (f.rate_per_s ?? 0) ** 2 / 0.6; return [[t20(f), per_s], [f.t80_s, -per_s]]; },
  },
];
const OF_MEAN: readonly Figure<StepFigures>[] = [
  { names: { rise: 'rise_settling_s', fall: 'fall_settling_s' }, pick: (f) => f.settling_s, what: 'into ±5 % for good', fromCommand: true, crossings: (f) => [[f.settling_s, 1]] },
  { names: { rise: 'rise_overshoot', fall: 'fall_overshoot' }, pick: (f) => f.overshoot, what: 'excursion past the final level', fromCommand: false, crossings: () => [] },
];

/** Measures every step of a run. */
export function responseMetrics(data: RunData): ResponseResult {
  const speed = channelOf(data, 'speed');
  const all = stepsOf(data);
  const good = all.filter((s) => s.segment.ended === 'time' && !nearDesync(data, s.segment));
  const leftOut = all.length - good.length;
  const flags = leftOut > 0 ? [`${leftOut} of ${all.length} steps are left out (desync, or not played to the end)`] : [];
  const results = (['rise', 'fall'] as const).map((d) => direction(d, speed, good.filter((s) => s.direction === d), flags));
  return {
    metrics: [...results.flatMap((r) => r.metrics), peakCurrent(data, good.filter((g) => g.direction === 'rise').map((g) => g.segment), flags), metric('desyncs', exact(data.desyncs.length), 'desync events counted in the record')],
    steps: results.flatMap((r) => (r.mean === null ? [] : [r.mean])), leftOut,
  };
}

function stepsOf(data: RunData): Step[] {
  return data.segments.flatMap((segment): Step[] => {
    const { role } = segment.segment;
    return role === 'step-up' ? [{ segment, direction: 'rise' }] : role === 'step-down' ? [{ segment, direction: 'fall' }] : [];
  });
}

function nearDesync(data: RunData, { start_s, end_s, ordinal }: PlayedSegment): boolean {
  return data.desyncs.some((d) => d.ordinal === ordinal || (d.t_s + d.duration_s > start_s - AFTERMATH_S && d.t_s - d.duration_s < end_s));
}

function direction(name: Direction, speed: RunChannel | null, steps: readonly Step[], flags: readonly string[]): { metrics: RunMetric[]; mean: MeanStep | null } {
  const none = (reason: string) => ({ metrics: [...TIMES, ...OF_MEAN].map(({ names }) => noMetric(names[name], reason, flags)), mean: null });
  if (speed === null) return none('the rig has no speed channel, and step times are taken from speed');
  if (steps.length === 0) return none(`no ${name === 'rise' ? 'step up' : 'step down'} can be used`);
  const segments = steps.map((step) => step.segment);
  const levels = levelsOf(speed, segments);
  if (levels === null) return none('the speed was not measured at both levels');
  if ((levels.final - levels.initial) * (name === 'rise' ? 1 : -1) <= 0) return none(`the speed went from ${levels.initial.toFixed(0)} to ${levels.final.toFixed(0)} rpm: not the step that was commanded`);
  const figures = steps.map(({ segment }) => {
    const part = between(speed, segment.start_s - FOOT_S, segment.end_s);
    return part.value.length < 8 ? null : stepTimes(part.t_s, part.value, { command_s: segment.start_s, levels, window: WINDOW });
  });
  const mean = meanStep(name, speed, steps, levels);
  const onMean = { command_s: 0, window: WINDOW, levelFrom_s: (1 - TAIL) * shortestOf(steps) };
  // In arrays of the kind that every step has, so that code compiled for the one serves the other.
  const course = { t_s: Float64Array.from(mean.t_s), fraction: Float64Array.from(mean.fraction) };
  const shape = measureStep(course.t_s, course.fraction, { ...onMean, levels: { initial: 0, final: 1 } });
  const samples = { initial: samplesOf(speed, segments, 'initial'), final: samplesOf(speed, segments, 'final') };
  const levelEffects = effectsOfLevels(speed, levels, samples, course, onMean);
  const age = sampleAge(speed);
  const crossed = new Map<number | null, Effects>();
  const effectAt = (at_s: number | null): Effects => {
    const effects = crossed.get(at_s) ?? effectOfCrossing(speed, levels, course, shape.half_s, at_s);
    crossed.set(at_s, effects);
    return effects;
  };
  /** A figure with what the instruments do to it; where it begins at the command, the age of a sample is taken off. */
  const told = ({ names, pick, what, fromCommand, crossings }: Figure<StepFigures>, own: Pick<Reading, 'value' | 'within'>, of: string, more: readonly string[] = flags): RunMetric => {
    const moved = (effects: Effects): Reading => ({ value: 0, within: 0, effects });
    const { effects } = derived(0, [[moved(levelEffects(pick)), 1], ...crossings(shape).map(([at_s, per_s]) => [moved(effectAt(at_s)), per_s] as const)]);
    const reading: Reading = { ...own, effects };
    return metric(names[name], fromCommand ? minus(reading, age) : reading, `speed, ${what}, ${of}${fromCommand ? '; half a sample period taken off' : ''}`, more);
  };
  const times = TIMES.map((f) => {
    const values = figures.flatMap((one) => { const v = one === null ? null : f.pick(one); return v === null ? [] : [v]; });
    const lost = steps.length - values.length;
    return values.length === 0 ? noMetric(f.names[name], 'the speed does not cross the reference levels in any step', flags)
      : told(f, centre(values), `mean of ${values.length} steps between the levels of the whole train`, lost > 0 ? [...flags, `${lost} steps did not cross the reference levels`] : flags);
  });
  const rest = OF_MEAN.map((f) => {
    const value = f.pick(shape);
    return value === null ? noMetric(f.names[name], shape.missing.join('; ') || 'not shown by the mean step', flags) : told(f, exact(value), `mean of ${mean.steps} aligned steps`);
  });
  return { metrics: [...times, ...rest], mean };
}

const shortestOf = (steps: readonly Step[]): number => Math.min(...steps.map((s) => s.segment.end_s - s.segment.start_s));

/** All steps on a clock that starts at the command, in cells as wide as the samples come. */
function meanStep(name: Direction, speed: RunChannel, steps: readonly Step[], levels: { initial: number; final: number }): MeanStep {
  const cell_s = Math.max(0.001, speed.period_s);
  const shortest = shortestOf(steps);
  const first = -Math.floor(FOOT_S / cell_s);
  const count = Math.max(1, Math.floor(shortest / cell_s) - first);
  const sum = new Float64Array(count);
  const at = new Float64Array(count);
  const n = new Float64Array(count);
  for (const { segment } of steps) {
    const part = between(speed, segment.start_s + first * cell_s, segment.start_s + shortest);
    for (let i = 0; i < part.value.length; i++) {
      const cell = Math.floor((part.t_s[i] - segment.start_s) / cell_s + 1e-6) - first;
      if (cell < 0 || cell >= count) continue;
      sum[cell] += part.value[i];
      at[cell] += part.t_s[i] - segment.start_s;
      n[cell]++;
    }
  }
  const t_s: number[] = [];
  const fraction: number[] = [];
  for (let c = 0; c < count; c++) {
    if (n[c] === 0) continue;
    t_s.push(at[c] / n[c]);
    fraction.push((sum[c] / n[c] - levels.initial) / (levels.final - levels.initial));
  }
  return { direction: name, t_s, fraction, steps: steps.length, initial_rpm: levels.initial, final_rpm: levels.final };
}
