/** How one setting changes the flight against another, with intervals: what both share of calibration and installed loss cancels. */
import type { Craft } from '../../model/files/craft';
import { formatNumber } from '../../units/format';
import { hoverMetrics } from '../metrics/run-curve';
import type { Effects, RunMetric } from '../metrics/reading';
import { around, noInterval, type Interval } from '../stats/interval';
import { coverageFactor } from '../stats/quantiles';
import { sd as spread } from '../stats/summary';
import { combine } from '../stats/uncertainty';
import { dofNumber } from '../stats/estimate';
import { meanEffects, sizeOf } from './absolute';
import { hoverThrustOf } from './fly';
import type { CampaignInput } from './input';
import { showShare } from './words';

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
  return FIGURES.map((figure): FlightChange => {
    const [x, y] = [a, b].map((setting) => reading(input, craft, setting, figure));
    const about = { name: figure.name, unit: figure.unit, from: x.value, to: y.value };
    if (x.value === null || y.value === null) return { ...about, difference: null, u: null, interval: noInterval(input.confidence, x.reason ?? y.reason ?? 'no value') };
    const difference = y.value - x.value;
    if (x.part === null || y.part === null) return { ...about, difference, u: null, interval: noInterval(input.confidence, 'one run of a setting: its spread is unknown') };
    const shared = sizeOf(Object.fromEntries([...new Set([...Object.keys(x.effects), ...Object.keys(y.effects)])].map((k) => [k, (y.effects[k] ?? 0) - (x.effects[k] ?? 0)])));
    const sum = combine([{ name: 'one', ...x.part }, { name: 'other', ...y.part }, { name: 'calibration', u: shared, dof: Infinity }]);
    return { ...about, difference, u: sum.u, interval: around(difference, coverageFactor(input.confidence, dofNumber(sum.dof)) * sum.u, input.confidence) };
  });
}

type Reading = { readonly value: number | null; readonly reason: string | null; readonly part: { readonly u: number; readonly dof: number } | null; readonly effects: Effects };

function reading(input: CampaignInput, craft: Craft, setting: string, { metric, of }: (typeof FIGURES)[number]): Reading {
  const runs = input.runs.filter((r) => r.setting === setting && r.metrics !== null);
  const at = (thrust: number): readonly RunMetric[] => runs.flatMap((r) => {
    if (metric === 'full_throttle_thrust_N') return r.metrics?.metrics.filter((m) => m.name === metric) ?? [];
    return (r.metrics?.curve ?? null) === null ? [] : hoverMetrics(r.metrics?.curve ?? null, thrust).filter((m) => m.name === metric);
  });
  const need = hoverThrustOf(craft);
  const all = at(need);
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
  const more = at(need * (1 + STEP)).flatMap((m) => m.value ?? []);
  effects.installed_loss = metric === 'full_throttle_thrust_N' ? -value * share : more.length === 0 ? 0 : ((mean(more) - middle) / STEP) * share * slope;
  return { value, reason: null, part: scatter === null ? null : { u: (Math.abs(slope) * scatter) / Math.sqrt(good.length), dof: good.length - 1 }, effects };
}

/** The changes as sentences. `textOf` names a setting. */
export function changeSentences(changes: readonly FlightChange[], a: string, b: string): string[] {
  const [power, time, throttle, margin] = changes;
  if (power.difference === null || time.difference === null) return [`Whether ${b} flies longer than ${a} is unknown: ${power.interval.reason ?? 'no value'}.`];
  const told = (c: FlightChange, unit: string, times = 1): string => {
    if (c.difference === null) return `unknown (${c.interval.reason ?? 'no value'})`;
    const one = (v: number): string => `${v > 0 ? '+' : v < 0 ? '−' : '±'}${formatNumber(Math.abs(v * times), 2)}`;
    return `${one(c.difference)}${unit} (${c.interval.reason === null ? `${one(c.interval.lower)} to ${one(c.interval.upper)}${unit}` : `no interval: ${c.interval.reason}`})`;
  };
  const open = [[power, 'hover power'], [time, 'time in the air'], [throttle, 'hover throttle'], [margin, 'lift at full throttle']] as const;
  const unsettled = open.filter(([c]) => c.interval.reason === null && c.interval.lower <= 0 && c.interval.upper >= 0).map(([, name]) => name);
  return [
    `Against ${a}, ${b} changes hover power by ${told(power, ' W')} and the time in the air by ${told(time, ' s')}${time.from === null || time.from === 0 ? '' : `, ${showShare(time.difference / time.from)}`}.`,
    `It moves hover throttle by ${told(throttle, ' points', 100)} and the lift at full throttle by ${told(margin, ' times the weight')}.`,
    ...(unsettled.length === 0 ? [] : [`Not settled, because no change lies inside the interval: ${unsettled.join(', ')}.`]),
  ];
}
