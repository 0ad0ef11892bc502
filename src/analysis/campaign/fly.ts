/** What a setting means in the air: hover throttle, hover power, endurance and thrust margin, with intervals, in sentences. */
import type { Craft } from '../../model/files/craft';
import type { ResultFlight } from '../../model/results';
import { formatNumber } from '../../units/format';
import { componentsOf, leastDofs, type InputDofs } from '../metrics/calibration-facts';
import { hoverMetrics } from '../metrics/run-curve';
import { estimate, expandedInterval, missing, type Estimate } from '../stats/estimate';
import { propagate, typeA, withComponents } from '../stats/uncertainty';
import { resultEstimate } from './absolute';
import type { CampaignInput } from './input';

/** Standard gravity, m/s² (ISO 80000-3:2019). */
const G = 9.80665;
/** How the sentence of assumptions begins: it is the same for every setting of a craft. */
export const ASSUMED = 'Assumed:';
/** Relative step of thrust for the slope of power over it. */
const STEP = 0.02;

/** Thrust that one drivetrain must give on the stand when the craft hovers, N. */
export const hoverThrustOf = (craft: Craft, loss = craft.installed_loss): number => (craft.mass_kg * G) / craft.rotors / (1 - loss);

type Figures = { readonly throttle: Estimate; readonly power: Estimate; readonly top: Estimate };

/** The flight of one setting. */
export function flightOf(input: CampaignInput, craft: Craft, setting: string): ResultFlight {
  const { confidence } = input;
  const name = input.settings.find((s) => s.id === setting)?.text ?? setting;
  const per = figures(input, craft, setting);
  const total = scaled(per.power, craft);
  const minutes = enduranceOf(total, craft);
  const margin = marginOf(per.top, craft);
  const missed = new Set<string>();
  const show = (e: Estimate, unit: string, times = 1): string => {
    if (e.value === null) return `unknown (${e.reason ?? 'no value'})`;
    const i = expandedInterval(e, confidence);
    if (i.reason !== null) {
      missed.add(i.reason.replace(/, so there is no interval$/, ''));
      return `${formatNumber(e.value * times, 3)}${unit} (no interval)`;
    }
    // All three with as many decimals as show the half-width with two digits.
    const half = (times * (i.upper - i.lower)) / 2;
    const places = half > 0 ? Math.min(6, Math.max(0, 1 - Math.floor(Math.log10(half)))) : 2;
    const one = (v: number): string => (v * times).toFixed(places);
    return `${one(e.value)}${unit} (${one(i.lower)} to ${one(i.upper)}${unit})`;
  };
  const told = [
    `With ${name}, ${craft.name} hovers at ${show(per.throttle, ' %', 100)} throttle and draws ${show(total, ' W')} in all.`,
    `It stays up for ${show(minutes, ' min')} on ${formatNumber(100 * craft.battery.usable, 3)} % of its ${formatNumber(craft.battery.energy_Wh, 3)} Wh.`,
    `At full throttle it lifts ${show(margin, ' times its weight')}.`,
  ];
  return {
    craft: craft.name, setting, hover_throttle: resultEstimate(per.throttle, confidence), hover_power_W: resultEstimate(total, confidence),
    endurance_min: resultEstimate(minutes, confidence), thrust_margin: resultEstimate(margin, confidence),
    sentences: [
      ...told,
      ...[...missed].map((reason) => `There are no intervals: ${reason}.`),
      `${ASSUMED} static thrust as on the stand less ${formatNumber(100 * craft.installed_loss, 3)} % installed loss, level hover in still air, no forward flight, bench voltage; the pack sags by ${formatNumber(100 * craft.battery.sag, 3)} %.`,
    ],
  };
}

/** Throttle and power at the thrust needed, thrust at full throttle: means over the runs of a setting with calibration. */
function figures(input: CampaignInput, craft: Craft, setting: string): Figures {
  const runs = input.runs.filter((r) => r.setting === setting && (r.metrics?.curve ?? null) !== null);
  const need = hoverThrustOf(craft);
  const at = (thrust: number) => runs.map((r) => hoverMetrics(r.metrics?.curve ?? null, thrust));
  const here = at(need);
  const dofs = leastDofs(runs.map((r) => r.metrics?.dofs));
  const pick = (name: string, unit: string): Estimate => meanOf(here.flatMap((m) => m.filter((x) => x.name === name)), unit, dofs);
  const power = pick('power_at_hover_W', 'W');
  const throttle = pick('throttle_at_hover', '1');
  const tops = input.runs.filter((r) => r.setting === setting).flatMap((r) => r.metrics?.metrics.filter((m) => m.name === 'full_throttle_thrust_N') ?? []);
  // The installed loss is uncertain: it moves the thrust needed, and with it power and throttle.
  const share = craft.installed_loss_u / (1 - craft.installed_loss);
  const up = at(need * (1 + STEP));
  const slope = (name: string, e: Estimate): number => {
    const more = meanOf(up.flatMap((m) => m.filter((x) => x.name === name)), e.unit, dofs).value;
    return more === null || e.value === null ? 0 : (more - e.value) / STEP;
  };
  const loss = (name: string, e: Estimate): Estimate => withComponents(e, [{ name: 'installed loss', u: Math.abs(slope(name, e)) * share, dof: Infinity }]);
  return { power: loss('power_at_hover_W', power), throttle: loss('throttle_at_hover', throttle), top: meanOf(tops, 'N', dofs) };
}

function meanOf(metrics: readonly { readonly value: number | null; readonly reason: string | null; readonly effects: Readonly<Record<string, number>> }[], unit: string, dofs: InputDofs): Estimate {
  const about = { unit, method: `mean of ${metrics.length} runs, fits over throttle`, estimand: 'this mounting' };
  const good = metrics.flatMap((m) => (m.value === null ? [] : [{ value: m.value, effects: m.effects }]));
  if (good.length === 0) return missing(about, metrics[0]?.reason ?? 'no run of this setting has a thrust curve');
  const effects: Record<string, number> = {};
  for (const g of good) for (const [k, e] of Object.entries(g.effects)) effects[k] = (effects[k] ?? 0) + e / good.length;
  return withComponents(typeA(good.map((g) => g.value), about), componentsOf(effects, dofs));
}

function scaled(power: Estimate, craft: Craft): Estimate {
  const about = { unit: 'W', method: `${craft.rotors} rotors and ${craft.avionics_W} W of avionics`, estimand: power.estimand };
  if (power.value === null) return missing(about, power.reason ?? 'no hover power');
  return estimate(power.value * craft.rotors + craft.avionics_W, power.u === null ? null : power.u * craft.rotors, power.dof, about, power.reason);
}

function enduranceOf(total: Estimate, { battery }: Craft): Estimate {
  const about = { unit: 'min', method: 'usable energy less sag over hover power', estimand: total.estimand };
  if (total.value === null || !(total.value > 0)) return missing(about, total.reason ?? 'no hover power');
  const Wh = battery.energy_Wh * battery.usable * (1 - battery.sag);
  if (total.u === null) return estimate((60 * Wh) / total.value, null, null, about, total.reason);
  return propagate((x) => (60 * Wh) / x.power, { power: { value: total.value, u: total.u, ...(total.dof === null ? {} : { dof: total.dof }) } }, about).estimate;
}

function marginOf(top: Estimate, craft: Craft): Estimate {
  const about = { unit: '1', method: 'full-throttle thrust of all rotors less installed loss, over weight', estimand: top.estimand };
  if (top.value === null) return missing(about, top.reason ?? 'no full-throttle thrust');
  const factor = 1 / hoverThrustOf(craft);
  const value = top.value * factor;
  const u = top.u === null ? null : Math.hypot(top.u * factor, value * (craft.installed_loss_u / (1 - craft.installed_loss)));
  return estimate(value, u, top.dof, about, top.reason);
}
