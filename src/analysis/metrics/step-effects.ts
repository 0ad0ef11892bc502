/** What the steps of a coarse speed do to the figures of a train of hard steps: through its two levels, and where it crosses a level. */
import { localFit, localWeights, type LocalFit } from '../physics/local-fit';
import { measureStep, windowAt, type StepContext, type StepFigures } from '../physics/step';
import type { RunChannel } from '../run-data';
import type { Numbers } from '../stats/check';
import { stepNear } from './coarse';
import { leftOfSteps, leftWithoutNoise } from './noise-over-steps';
import type { Effects } from './reading';
import { resolutionInputs, resolutionInSteps, sumOf } from './resolution';
import type { Levels, Sides } from './train-levels';

/** The mean step on a clock that starts at the command, as a fraction: 0 at the initial level, 1 at the final one. */
type Course = { readonly t_s: Numbers; readonly fraction: Numbers };

/** Effects through the two levels, read off the mean step. `samples`: all that the levels rest on. */
export function effectsOfLevels(speed: RunChannel, levels: Levels, samples: Sides<Float64Array>, mean: Course, onMean: StepContext): (pick: (f: StepFigures) => number | null) => Effects {
  const size = Math.abs(levels.final - levels.initial);
  const sides = (['initial', 'final'] as const).flatMap((side) => {
    const u = stepNear(speed, levels[side]) * resolutionInSteps(speed, samples[side], levels[side], levels.over[side]);
    if (u === 0) return [];
    const moved = (by: number): StepFigures => measureStep(mean.t_s, mean.fraction, { ...onMean, levels: { initial: 0, final: 1, [side]: (side === 'final' ? 1 : 0) + (by * u) / size } });
    return [{ level: levels[side], up: moved(1), down: moved(-1) }];
  });
  return (pick) => sumOf(sides.map(({ level, up, down }) => {
    const [a, b] = [pick(up), pick(down)];
    return a === null || b === null ? {} : resolutionInputs(speed, level, (a - b) / 2);
  }));
}

/**
 * Effect on the instant, s, at which the mean step is found to cross a level. Telemetry answers commands, so the samples near a crossing
 * lie at the same places within a step in every step of the train and in every repeat, but for what warming moves the levels; their
 * errors go into the fit with its weights, and over its slope into the instant. Where too little moves near the crossing to show what noise
 * leaves of the steps, it counts as at the level next to it, unless steps are smaller there and noise is the larger share of one.
 * @param instant_s of the crossing, after the command; null where there is none
 */
export function effectOfCrossing(speed: RunChannel, levels: Levels, mean: Course, half_s: number, instant_s: number | null): Effects {
  if (instant_s === null || !(instant_s > 0)) return {};
  const size = levels.final - levels.initial;
  const rpm = Float64Array.from(mean.fraction, (f) => levels.initial + f * size);
  const half = windowAt(half_s, instant_s);
  const fit = localFit(mean.t_s, rpm, instant_s, half, 0);
  const window = localWeights(mean.t_s, instant_s, half, 0);
  if (fit === null || window === null || fit.slope === 0) return {};
  const step = stepNear(speed, fit.value);
  if (step === 0) return {};
  const way = (fit.value - levels.initial) / size;
  const { shown, weights } = shownNear(mean.t_s, window, fit, instant_s, shiftsOf(levels, way));
  const over = { shown };
  const beside = way < 0.5 ? levels.initial : levels.final;
  const left = leftOfSteps(speed, fit.value, over, weights)
    ?? (stepNear(speed, beside) < ALIKE * step ? null : leftOfSteps(speed, beside, over, weights))
    ?? leftWithoutNoise(speed, over, weights);
  return resolutionInputs(speed, fit.value, (-step * left) / fit.slope);
}

/** What the samples of a window show, by the fit, in each dwell that its levels have `shifts` in, and what each weighs. */
function shownNear(t_s: Numbers, window: { readonly first: number; readonly weights: Float64Array }, { value, slope, bend }: LocalFit, at_s: number, shifts: readonly number[]): { readonly shown: Float64Array; readonly weights: Float64Array } {
  const n = window.weights.length;
  const shown = new Float64Array(shifts.length * n);
  const weights = new Float64Array(shifts.length * n);
  for (let i = 0; i < n; i++) {
    const t = t_s[window.first + i] - at_s;
    const level = value + t * (slope + t * bend);
    for (let d = 0; d < shifts.length; d++) {
      shown[d * n + i] = level + shifts[d];
      weights[d * n + i] = window.weights[i] / shifts.length;
    }
  }
  return { shown, weights };
}

/** Steps of this share and above are no smaller than others. */
const ALIKE = 0.85;

/** How far warming moves a level part of the way between the two, dwell by dwell as these show it. */
function shiftsOf({ initial, final, dwells }: Levels, way: number): number[] {
  const length = Math.min(dwells.initial.length, dwells.final.length);
  return Array.from({ length }, (_, d) => (1 - way) * (dwells.initial[d] - initial) + way * (dwells.final[d] - final));
}
