// Every protocol by its name: the built-in ones, and those of the bench folder.
import { efficiencyHold } from './efficiency-hold';
import { kv } from './kv';
import type { Protocol } from './protocol';
import { response } from './response';
import { soak } from './soak';
import { spinUp } from './spin-up';
import { staircase } from './staircase';
import { thrustCurve } from './thrust-curve';

/** In the order in which a bench day would use them. */
export const BUILT_IN: readonly Protocol[] = Object.freeze([kv, thrustCurve, staircase, response, efficiencyHold, spinUp, soak]);

export interface Catalogue {
  readonly names: readonly string[];
  find(name: string): Protocol | undefined;
}

export type CatalogueResult = { readonly ok: true; readonly value: Catalogue } | { readonly ok: false; readonly taken: readonly string[] };

/** Built-in and own protocols together. A name may be used once; an own protocol does not hide a built-in one. */
export function catalogue(own: readonly Protocol[] = []): CatalogueResult {
  const all = [...BUILT_IN, ...own];
  const taken = all.map((p) => p.name).filter((name, i, names) => names.indexOf(name) !== i);
  if (taken.length > 0) return { ok: false, taken: [...new Set(taken)] };
  const byName = new Map(all.map((p) => [p.name, p]));
  return { ok: true, value: { names: [...byName.keys()], find: (name) => byName.get(name) } };
}
