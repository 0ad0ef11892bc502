/**
 * response: times of hard steps up and down. Speed is the primary signal: the load cell rings and is filtered, current leads the
 * rotor. A step in or just after a desync is counted and left out.
 */
import { measureStep, stepTimes, type StepContext, type StepFigures, type StepTimes } from '../physics/step';
import { between, channelOf, type PlayedSegment, type RunChannel, type RunData, type Series } from '../run-data';
import { fitPolynomial } from '../stats/linefit';
import type { MetricName } from './catalogue';
import { stepNear } from './coarse';
import { sampleAge } from './common';
import { peakCurrent } from './peak-current';
import { centre, exact, metric, minus, noMetric, type Effects, type Reading, type RunMetric } from './reading';
import { resolutionInputs, resolutionInSteps, sumOf } from './resolution';

/** Seconds before the command that are looked at, for the foot of the step. */
const FOOT_S = 0.04;
/** Part of each dwell that shows its level. */
const TAIL = 0.25;
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

/** A figure of a step: its names, where it is found, what it is, and whether it begins at the command. */
type Figure<Of> = { readonly names: Readonly<Record<Direction, MetricName>>; readonly pick: (f: Of) => number | null; readonly what: string; readonly fromCommand: boolean };

const TIMES: readonly Figure<StepTimes>[] = [
  { names: { rise: 'rise_time_10_90_s', fall: 'fall_time_90_10_s' }, pick: (f) => f.t10to90_s, what: '10 to 90 %', fromCommand: false },
  { names: { rise: 'rise_time_20_80_s', fall: 'fall_time_80_20_s' }, pick: (f) => f.t20to80_s, what: '20 to 80 %', fromCommand: false },
  { names: { rise: 'rise_t50_s', fall: 'fall_t50_s' }, pick: (f) => f.t50_s, what: 'command to 50 %', fromCommand: true },
  { names: { rise: 'rise_t80_s', fall: 'fall_t80_s' }, pick: (f) => f.t80_s, what: 'command to 80 %', fromCommand: true },
  { names: { rise: 'rise_dead_time_s', fall: 'fall_dead_time_s' }, pick: (f) => f.deadTime_s, what: 'command to 10 %', fromCommand: true },
  { names: { rise: 'rise_rate_per_s', fall: 'fall_rate_per_s' }, pick: (f) => f.rate_per_s, what: '0.6 over 20 to 80 %', fromCommand: false },
];
const OF_MEAN: readonly Figure<StepFigures>[] = [
  { names: { rise: 'rise_settling_s', fall: 'fall_settling_s' }, pick: (f) => f.settling_s, what: 'into ±5 % for good', fromCommand: true },
  { names: { rise: 'rise_overshoot', fall: 'fall_overshoot' }, pick: (f) => f.overshoot, what: 'excursion past the final level', fromCommand: false },
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
  const levels = levelsOf(speed, steps);
  if (levels === null) return none('the speed was not measured at both levels');
  if ((levels.final - levels.initial) * (name === 'rise' ? 1 : -1) <= 0) return none(`the speed went from ${levels.initial.toFixed(0)} to ${levels.final.toFixed(0)} rpm: not the step that was commanded`);
  const figures = steps.map(({ segment }) => {
    const part = between(speed, segment.start_s - FOOT_S, segment.end_s);
    return part.value.length < 8 ? null : stepTimes(part.t_s, part.value, { command_s: segment.start_s, levels, window: WINDOW });
  });
  const mean = meanStep(name, speed, steps, levels);
  const onMean = { command_s: 0, window: WINDOW, levelFrom_s: (1 - TAIL) * shortestOf(steps) };
  const shape = measureStep(mean.t_s, mean.fraction, { ...onMean, levels: { initial: 0, final: 1 } });
  const levelEffects = effectsOfLevels(speed, steps, levels, mean, onMean);
  const age = sampleAge(speed);
  /** A figure with what the instruments do to it; where it begins at the command, the age of a sample is taken off. */
  const told = ({ names, pick, what, fromCommand }: Figure<StepFigures>, own: Pick<Reading, 'value' | 'within'>, of: string, more: readonly string[] = flags): RunMetric => {
    const reading: Reading = { ...own, effects: levelEffects(pick) };
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

/** What a coarse speed does to a figure through the two levels of the train, read off the mean step. */
function effectsOfLevels(speed: RunChannel, steps: readonly Step[], levels: Levels, mean: MeanStep, onMean: StepContext): (pick: Figure<StepFigures>['pick']) => Effects {
  const size = Math.abs(levels.final - levels.initial);
  const sides = (['initial', 'final'] as const).flatMap((side) => {
    const u = stepNear(speed, levels[side]) * resolutionInSteps(speed, samplesOf(speed, steps, side), levels[side], levels.over[side]);
    if (u === 0) return [];
    const moved = (by: number): StepFigures => measureStep(mean.t_s, mean.fraction, { ...onMean, levels: { initial: 0, final: 1, [side]: (side === 'final' ? 1 : 0) + (by * u) / size } });
    return [{ level: levels[side], up: moved(1), down: moved(-1) }];
  });
  return (pick) => sumOf(sides.map(({ level, up, down }) => {
    const [a, b] = [pick(up), pick(down)];
    return a === null || b === null ? {} : resolutionInputs(speed, level, (a - b) / 2);
  }));
}

type Sides<Of> = { readonly initial: Of; readonly final: Of };
/** State levels, and how each went over the dwells: by every dwell, and by a course through them. */
type Levels = Sides<number> & { readonly over: Sides<readonly (readonly number[])[]> };

/** The part of a step that shows a level: before the command, or before the end. */
function tailOf(side: keyof Sides<number>, { start_s, end_s }: PlayedSegment): readonly [from: number, to: number] {
  const length = TAIL * (end_s - start_s);
  return side === 'initial' ? [start_s - length, start_s] : [end_s - length, end_s];
}

/**
 * State levels of the train: means over the dwells of the mean of each before its end, so quantised speed averages out, within a dwell by
 * noise and over the dwells by warming. A sample is as old as `sampleAge` says, so where the level still creeps, the mean is carried to
 * the middle of the window along the creep that all dwells show.
 */
function levelsOf(speed: RunChannel, steps: readonly Step[]): Levels | null {
  const level = (side: keyof Sides<number>): { readonly value: number; readonly over: readonly (readonly number[])[] } | null => {
    const parts = steps.flatMap(({ segment }) => {
      const [from, to] = tailOf(side, segment);
      const part = between(speed, from, to);
      return part.value.length === 0 ? [] : [{ ...lineOf(part), middle_s: (from + to) / 2, length_s: to - from }];
    });
    if (parts.length === 0) return null;
    const creep = parts.reduce((sum, p) => sum + p.slope, 0) / parts.length;
    const dwells = parts.map((p) => p.mean + creep * (p.middle_s - (p.time - speed.period_s / 2)));
    return { value: centre(dwells).value, over: overDwells(parts.map((p) => p.middle_s), dwells, creep * parts[0].length_s) };
  };
  const initial = level('initial');
  const final = level('final');
  return initial === null || final === null ? null : { initial: initial.value, final: final.value, over: { initial: initial.over, final: final.over } };
}

/** Dwells that show a course over the train. */
const LEAST_DWELLS = 8;

/** Places within a dwell at which a level that creeps is looked at, in its length from the middle. */
const WITHIN_DWELL = [-0.4, -0.2, 0, 0.2, 0.4];

/**
 * How a level went over the dwells of a train: as each shows it, and as a parabola through them, as without noise a single dwell shows the
 * nearest step and nothing else; both with the way that it creeps within a dwell. Told for `leftOfSteps`.
 */
export function overDwells(t_s: readonly number[], dwells: readonly number[], creep: number): readonly (readonly number[])[] {
  const within = (level: number): number[] => WITHIN_DWELL.map((share) => level + share * creep);
  const middle = centre(t_s).value;
  const x = t_s.map((t) => t - middle);
  const fit = dwells.length < LEAST_DWELLS ? null : fitPolynomial(x, dwells, { degree: 2 });
  if (fit?.ok !== true) return [dwells.flatMap(within)];
  const [a, b, c] = fit.coefficients;
  return [dwells.flatMap(within), x.map((v) => a + v * (b + v * c)).flatMap(within)];
}

/** Mean time, mean value and least-squares slope of samples; slope 0 for one sample. */
function lineOf({ t_s, value }: Series): { time: number; mean: number; slope: number } {
  const n = value.length;
  let [time, mean] = [0, 0];
  for (let i = 0; i < n; i++) {
    time += t_s[i];
    mean += value[i];
  }
  time /= n;
  mean /= n;
  let [square, product] = [0, 0];
  for (let i = 0; i < n; i++) {
    const t = t_s[i] - time;
    square += t * t;
    product += t * (value[i] - mean);
  }
  return { time, mean, slope: square > 0 ? product / square : 0 };
}

/** Every sample that a level rests on. */
function samplesOf(speed: RunChannel, steps: readonly Step[], side: keyof Sides<number>): Float64Array {
  const parts = steps.map(({ segment }) => between(speed, ...tailOf(side, segment)).value);
  const all = new Float64Array(parts.reduce((n, p) => n + p.length, 0));
  let at = 0;
  for (const p of parts) {
    all.set(p, at);
    at += p.length;
  }
  return all;
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
