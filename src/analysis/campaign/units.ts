/**
 * What the answer is averaged over. Repeats inside one mounting of one specimen share what that mounting and that specimen do;
 * an answer about mountings, or about a type of motor, has as many independent values as there are mountings or specimens.
 */
import type { Group } from './absolute';
import type { Repeat } from './collect';
import type { CampaignInput, RunInput, SettingInput } from './input';

/** A factor of a part has other specimens at each of its levels; a setting is tried on every specimen. */
const PARTS = ['motor', 'propeller', 'esc', 'part', 'article', 'type'];
const isPart = (factor: string): boolean => PARTS.some((p) => factor === p || factor.startsWith(`${p}_`) || factor.endsWith(`_${p}`));

/** A campaign whose specimens have become units of its settings. */
export type Unified = CampaignInput & { readonly specimens: boolean };

/**
 * Takes factors that stand for specimens out of the settings, when there is something else to compare: the runs of all specimens
 * then belong to one setting, and `mounting` numbers their units. Specimens are nested in the levels of a part (motor A1 and motor B1 are
 * two motors) and crossed with plain settings (motor A1 is tried at each of them).
 */
export function overSpecimens(input: CampaignInput): Unified {
  const kept = input.factors.filter((f) => !f.specimen);
  if (kept.length === 0 || kept.length === input.factors.length) return { ...input, specimens: false };
  const parts = kept.filter((f) => isPart(f.name));
  const levelsOf = (id: string): Readonly<Record<string, string>> => input.settings.find((s) => s.id === id)?.levels ?? {};
  const merged = new Map<string, SettingInput>();
  const idOf = new Map<string, string>();
  for (const s of input.settings) {
    const levels = Object.fromEntries(kept.map((f) => [f.name, s.levels[f.name] ?? '']));
    const text = Object.values(levels).join(', ');
    const id = kept.map((f) => `${f.name}-${(levels[f.name] ?? '').replaceAll(' ', '')}`).join('_');
    idOf.set(s.id, id);
    if (!merged.has(id)) merged.set(id, { id, text, levels });
  }
  const units: string[] = [];
  const unitOf = (run: RunInput): number => {
    const levels = levelsOf(run.setting);
    const key = [...parts.map((f) => levels[f.name]), ...input.factors.filter((f) => f.specimen).map((f) => levels[f.name]), run.mounting].join('/');
    if (!units.includes(key)) units.push(key);
    return units.indexOf(key) + 1;
  };
  return {
    ...input, specimens: true, factors: kept, settings: [...merged.values()], baseline: input.baseline === null ? null : idOf.get(input.baseline) ?? null,
    runs: input.runs.map((r) => ({ ...r, setting: idOf.get(r.setting) ?? r.setting, mounting: unitOf(r) })),
  };
}

/** Groups ready for comparison, and the degrees of freedom that taking units out has cost their common spread. */
export type Levelled = { readonly groups: Group[]; readonly lost: number };

/**
 * Groups without what a unit does to all settings alike, so that contrasts live inside units. Where the answer is about units at large, each
 * unit counts once; where it is about these units, each repeat does.
 */
export function levelled(groups: readonly Group[], over: boolean, word: string, notes: string[]): Levelled {
  const all = groups.flatMap((g) => g.repeats.map((r, i) => ({ unit: r.mounting, setting: g.setting, value: g.used[i] })));
  const units = [...new Set(all.map((v) => v.unit))];
  if (units.length < 2) return { groups: [...groups], lost: 0 };
  const complete = groups.filter((g) => units.every((u) => g.repeats.some((r) => r.mounting === u))).map((g) => g.setting);
  if (complete.length === 0) {
    notes.push(`no setting has runs in every ${word}: settings are compared by the means of their own, one value a ${word}`);
    return { groups: groups.map(byUnit), lost: 0 };
  }
  // Equal weight for every setting, so that a unit's effect does not depend on which settings it holds more of.
  const effect = new Map(units.map((u) => [u, mean(complete.map((s) => mean(all.filter((v) => v.unit === u && v.setting === s).map((v) => v.value))))]));
  const centre = mean([...effect.values()]);
  notes.push(`contrasts are taken inside ${word}s: ${units.length} ${word}s, their common effect removed${over ? `; each ${word} counts once, so the answer is about ${word}s at large` : ''}`);
  const inside = groups.map((g) => ({ ...g, used: g.used.map((v, i) => v - (effect.get(g.repeats[i].mounting) ?? centre) + centre) }));
  return { groups: over ? inside.map(byUnit) : inside, lost: complete.length < 2 ? 0 : units.length - 1 };
}

/** A group with one value a unit: the mean of its repeats there, with the mean effects of the instruments. */
function byUnit(group: Group): Group {
  const places = new Map<number, number[]>();
  group.repeats.forEach((r, i) => places.set(r.mounting, [...(places.get(r.mounting) ?? []), i]));
  const repeats: Repeat[] = [];
  const used: number[] = [];
  for (const at of places.values()) {
    const own = at.map((i) => group.repeats[i]);
    const effects: Record<string, number> = {};
    for (const r of own) for (const [name, e] of Object.entries(r.effects)) effects[name] = (effects[name] ?? 0) + e / own.length;
    repeats.push({ ...own[0], index: mean(own.map((r) => r.index)), value: mean(own.map((r) => r.value)), effects });
    used.push(mean(at.map((i) => group.used[i])));
  }
  return { ...group, repeats, used };
}

const mean = (values: readonly number[]): number => values.reduce((a, b) => a + b, 0) / values.length;
