/** How one setting changes the flight against another, with intervals: what both share of calibration and installed loss cancels. */
import type { Craft } from '../../model/files/craft';
import { instrumentPart, leastDofs } from '../metrics/calibration-facts';
import { hoverMetrics } from '../metrics/run-curve';
import type { Effects, RunMetric } from '../metrics/reading';
import { around, noInterval, type Interval } from '../stats/interval';
import { coverageFactor } from '../stats/quantiles';
import { sd as spread } from '../stats/summary';
import { combine } from '../stats/uncertainty';
import { dofNumber } from '../stats/estimate';
import { meanEffects } from './absolute';
import { hoverThrustOf } from './fly';
import type { CampaignInput } from './input';
import { enumerate, showShare } from './words';

/** A change of one figure of the flight. */
export type FlightChange = {
  readonly name: (typeof FIGURES)[number]['name'];
  readonly unit: string;
  readonly from: number | null;
  readonly to: number | null;
  readonly difference: number | null;
  readonly u: number | null;
  readonly interval: Interval;
};

/** Relative step of thrust for slopes over it. */
const STEP = 0.02;

/** A figure of the flight: from which metric of a run, and how. `slope` is dfigure/dmetric at the value. */
const FIGURES = [
  { name: 'hover_power_W', unit: 'W', metric: 'power_at_hover_W', of: (p: number, c: Craft) => c.rotors * p + c.avionics_W },
  { name: 'endurance_s', unit: 's', metric: 'power_at_hover_W', of: (p: number, c: Craft) => (3600 * c.battery.energy_Wh * c.battery.usable * (1 - c.battery.sag)) / (c.rotors * p + c.avionics_W) },
  { name: 'hover_throttle', unit: '1', metric: 'throttle_at_hover', of: (t: number) => t },
  { name: 'thrust_margin', unit: '1', metric: 'full_throttle_thrust_N', of: (top: number, c: Craft) => top / hoverThrustOf(c) },
] as const;

/** Every change from setting a to setting b. Null values where a setting has no curve that reaches hover. */
export function flightChanges(input: CampaignInput, craft: Craft, a: string, b: string): FlightChange[] {
  const both = [a, b].map((setting) => lookedUp(input, hoverThrustOf(craft), setting));
  return FIGURES.map((figure): FlightChange => {
    const [x, y] = both.map((found) => reading(found, craft, figure));
    const about = { name: figure.name, unit: figure.unit, from: x.value, to: y.value };
    if (x.value === null || y.value === null) return { ...about, difference: null, u: null, interval: noInterval(input.confidence, x.reason ?? y.reason ?? 'no value') };
    const difference = y.value - x.value;
    if (x.part === null || y.part === null) return { ...about, difference, u: null, interval: noInterval(input.confidence, 'one run of a setting: its spread is unknown') };
    const apart = Object.fromEntries([...new Set([...Object.keys(x.effects), ...Object.keys(y.effects)])].map((k) => [k, (y.effects[k] ?? 0) - (x.effects[k] ?? 0)]));
    const shared = instrumentPart(apart, leastDofs(input.runs.map((r) => r.metrics?.dofs)));
    const sum = combine([{ name: 'one', ...x.part }, { name: 'other', ...y.part }, { name: 'calibration', ...shared }]);
    return { ...about, difference, u: sum.u, interval: around(difference, coverageFactor(input.confidence, dofNumber(sum.dof)) * sum.u, input.confidence) };
  });
}

type Reading = { readonly value: number | null; readonly reason: string | null; readonly part: { readonly u: number; readonly dof: number } | null; readonly effects: Effects };

/** Metrics of every run of a setting: those at the thrust needed and at a little more, and those that have no such thrust with both. */
type LookedUp = { readonly needed: readonly RunMetric[]; readonly more: readonly RunMetric[] };

function lookedUp(input: CampaignInput, thrust_N: number, setting: string): LookedUp {
  const runs = input.runs.flatMap((r) => (r.setting === setting && r.metrics !== null ? [r.metrics] : []));
  const at = (thrust: number): RunMetric[] => runs.flatMap(({ metrics, curve }) => [...metrics.filter((m) => m.name === 'full_throttle_thrust_N'), ...(curve === null ? [] : hoverMetrics(curve, thrust))]);
  return { needed: at(thrust_N), more: at(thrust_N * (1 + STEP)) };
}

function reading({ needed, more }: LookedUp, craft: Craft, { metric, of }: (typeof FIGURES)[number]): Reading {
  const all = needed.filter((m) => m.name === metric);
  const good = all.flatMap((m) => (m.value === null ? [] : [{ value: m.value, effects: m.effects }]));
  if (good.length === 0) return { value: null, reason: all[0]?.reason ?? 'no run of this setting has a thrust curve', part: null, effects: {} };
  const mean = (list: readonly number[]): number => list.reduce((s, v) => s + v, 0) / list.length;
  const middle = mean(good.map((g) => g.value));
  const value = of(middle, craft);
  const slope = (of(middle * 1.0001, craft) - of(middle * 0.9999, craft)) / (middle * 2e-4);
  const scatter = spread(good.map((g) => g.value));
  const effects: Record<string, number> = Object.fromEntries(Object.entries(meanEffects(good as never)).map(([k, e]) => [k, e * slope]));
  // The installed loss is the craft's, one for both settings: it moves the thrust that is needed, or the thrust that is left.
  const share = craft.installed_loss_u / (1 - craft.installed_loss);
  const moved = more.flatMap((m) => (m.name === metric ? m.value ?? [] : []));
  effects.installed_loss = metric === 'full_throttle_thrust_N' ? -value * share : moved.length === 0 ? 0 : ((mean(moved) - middle) / STEP) * share * slope;
  return { value, reason: null, part: scatter === null ? null : { u: (Math.abs(slope) * scatter) / Math.sqrt(good.length), dof: good.length - 1 }, effects };
}

/** The changes as sentences. `textOf` names a setting. */
export function changeSentences(changes: readonly FlightChange[], one: string, other: string): string[] {
  // Names that hold commas stand in brackets.
  const [a, b] = [one, other].map((n) => (n.includes(',') ? `(${n})` : n));
  const [power, time, throttle, margin] = changes;
  if (power.difference === null || time.difference === null) return [`Whether ${b} flies longer than ${a} is unknown: ${power.interval.reason ?? 'no value'}.`];
  const share = time.from === null || time.from === 0 ? '' : ` or ${showShare(time.difference / time.from)}`;
  const figures: Told[] = [
    { change: power, say: 'hover power', unit: ' W', times: 1, share: '' }, { change: time, say: 'the time in the air', unit: ' s', times: 1, share },
    { change: throttle, say: 'hover throttle', unit: ' points', times: 100, share: '' }, { change: margin, say: 'lift at full throttle', unit: ' times the weight', times: 1, share: '' },
  ];
  const sure = figures.filter((f) => f.change.difference !== null && (f.change.interval.reason !== null || !holdsZero(f.change)));
  const open = figures.filter((f) => f.change.difference !== null && holdsZero(f.change));
  const unknown = figures.filter((f) => f.change.difference === null);
  return [
    ...(sure.length === 0 ? [] : [`Against ${a}, ${b} changes ${enumerate(sure.map((f) => `${f.say} by ${told(f)}`))}.`]),
    ...(open.length === 0 ? [] : [`Not settled${sure.length === 0 ? ` against ${a}` : ''}, because the interval of the change holds zero: ${enumerate(open.map((f) => `${f.say} (${bounds(f)})`))}.`]),
    ...unknown.map((f) => `How ${f.say} changes is unknown: ${f.change.interval.reason ?? 'no value'}.`),
  ];
}

/** A change with how it is said. */
type Told = { readonly change: FlightChange; readonly say: string; readonly unit: string; readonly times: number; readonly share: string };

const holdsZero = ({ interval }: FlightChange): boolean => interval.reason === null && interval.lower <= 0 && interval.upper >= 0;

/** Decimals that show the half-width of the interval with two digits; three digits of the value without an interval. */
function placesOf({ change, times }: Told): number {
  const { interval, difference } = change;
  const half = interval.reason === null ? Math.abs(times * (interval.upper - interval.lower)) / 2 : 0;
  const size = half > 0 ? half : Math.abs(times * (difference ?? 0)) / 10;
  return size > 0 ? Math.min(6, Math.max(0, 1 - Math.floor(Math.log10(size)))) : 0;
}

const signed = (f: Told, v: number): string => `${v > 0 ? '+' : v < 0 ? '−' : '±'}${Math.abs(v * f.times).toFixed(placesOf(f))}`;
const bounds = (f: Told): string => (f.change.interval.reason === null ? `${signed(f, f.change.interval.lower)} to ${signed(f, f.change.interval.upper)}${f.unit}` : `no interval: ${f.change.interval.reason}`);
const told = (f: Told): string => `${signed(f, f.change.difference ?? 0)}${f.unit}${f.share} (${bounds(f)})`;
