// Every protocol by its name: the built-in ones, and those of the bench folder.
import type { ProtocolFile } from '../model/files/protocol';
import { type ProtocolFileProblem, checkUses } from './check-uses';
import { efficiencyHold } from './efficiency-hold';
import { kv } from './kv';
import type { Protocol } from './protocol';
import { response } from './response';
import { soak } from './soak';
import { spinUp } from './spin-up';
import { staircase } from './staircase';
import { thrustCurve } from './thrust-curve';
import { fromFile } from './yaml-protocol';

/** In the order in which a bench day would use them. */
export const BUILT_IN: readonly Protocol[] = Object.freeze([kv, thrustCurve, staircase, response, efficiencyHold, spinUp, soak]);

export interface Catalogue {
  readonly names: readonly string[];
  find(name: string): Protocol | undefined;
  /** Everything wrong with the files; play nothing while there is any. */
  readonly problems: readonly ProtocolFileProblem[];
}

/**
 * Built-in protocols and a bench's own together.
 * @param own protocols in TypeScript
 * @param files protocols in YAML; they may use each other and any other protocol
 */
export function catalogue(own: readonly Protocol[] = [], files: readonly ProtocolFile[] = []): Catalogue {
  const byName = new Map<string, Protocol>();
  const find = (name: string): Protocol | undefined => byName.get(name);
  const all = [...BUILT_IN, ...own, ...files.map((file) => fromFile(file, find))];
  const taken = all.filter((p) => {
    const first = !byName.has(p.name);
    if (first) byName.set(p.name, p);
    return !first;
  });
  const names = [...byName.keys()];
  return {
    names, find,
    problems: [
      ...taken.map((p) => ({ protocol: p.name, path: ['protocol'], message: `the name "${p.name}" is taken`, accepted: `a name other than ${names.join(', ')}` })),
      ...checkUses(files, find, names),
    ],
  };
}
