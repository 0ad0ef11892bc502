/** What two campaigns rest on: which differences forbid a comparison, and which are named beside it. */
import type { Comparison } from '../../model/comparison';
import type { CampaignInput } from './input';

/** Air at the bench. */
export type Air = { readonly temperature_degC: number; readonly pressure_Pa: number; readonly humidity: number };

/** What a campaign's figures rest on, as far as a comparison needs it. */
export type CompareBench = {
  readonly simulated: boolean;
  /** Day of the first run, `2026-03-01`; null when nothing tells. */
  readonly day: string | null;
  readonly rig: string | null;
  /** Conditions by name, as text. They must agree: figures taken under others are not the same quantity. */
  readonly conditions: Readonly<Record<string, string>>;
  /** What may be another one, by name, as text; null where it is not stated. */
  readonly parts: Readonly<Record<string, string | null>>;
  /** Name of the mounting; a new one each time the article is bolted on. */
  readonly mounting: string | null;
  /** Anything that is equal exactly when the calibration is the same. */
  readonly calibration: string;
  /** Label → parameters as text, and what stands for the segments that were played. */
  readonly protocols: Readonly<Record<string, { readonly text: string; readonly plays: string }>>;
  readonly hover_thrust_N: number | null;
  readonly air: Air | null;
};

/** A campaign with what its figures rest on. */
export type CompareSide = { readonly input: CampaignInput; readonly bench: CompareBench };

/** Why nothing may be compared, one line a reason; empty when it may. */
export function refusals(a: CompareBench, b: CompareBench): string[] {
  const reasons: string[] = [];
  if (a.simulated !== b.simulated) reasons.push(`the ${a.simulated ? 'first' : 'second'} campaign is simulated and the other was measured: nothing is learnt from their difference`);
  if (a.rig !== b.rig) reasons.push(`they were made on different rigs, ${a.rig ?? 'an unnamed one'} and ${b.rig ?? 'an unnamed one'}: two stands differ by more than their calibration tells; measure both articles on one`);
  for (const name of names(a.conditions, b.conditions)) {
    const [x, y] = [a.conditions[name] ?? 'not stated', b.conditions[name] ?? 'not stated'];
    if (x !== y) reasons.push(`${name} differs: ${x} against ${y}; repeat one of them under the conditions of the other`);
  }
  return reasons;
}

/** Everything that is known to differ, or that nobody can tell. */
export function differences(a: CompareBench, b: CompareBench): Comparison['differs'] {
  const list: Comparison['differs'] = [];
  const add = (what: string, x: string | null, y: string | null): void => { if (x !== y) list.push({ what, a: x, b: y }); };
  for (const name of names(a.parts, b.parts)) add(name, a.parts[name] ?? null, b.parts[name] ?? null);
  add('mounting', a.mounting, b.mounting);
  add('day', a.day, b.day);
  if (a.calibration !== b.calibration) list.push({ what: 'calibration', a: 'one', b: 'another' });
  add('air', airText(a.air), airText(b.air));
  return list;
}

const airText = (air: Air | null): string | null => (air === null ? null : `${air.temperature_degC} °C, ${(air.pressure_Pa / 100).toFixed(1)} hPa, ${(100 * air.humidity).toFixed(0)} % humidity`);
const names = (...of: readonly Readonly<Record<string, unknown>>[]): string[] => [...new Set(of.flatMap((o) => Object.keys(o)))];
