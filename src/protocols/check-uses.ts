// Before anything is played: every `use` names a protocol that exists, with parameters that fit, and none leads back to itself.
import type { ProtocolEntry, ProtocolFile } from '../model/files/protocol';
import { completeParameters, readParameters } from '../model/parameters';
import type { ProtocolNeeds } from '../model/segment';
import type { Protocol } from './protocol';
import type { Lookup } from './yaml-protocol';

/** What is wrong in a protocol file. `path` leads from the top of the file to the key. */
export interface ProtocolFileProblem {
  readonly protocol: string;
  readonly path: readonly (string | number)[];
  readonly message: string;
  readonly accepted: string;
}

interface Use {
  readonly path: readonly (string | number)[];
  readonly protocol: string;
  readonly parameters: Readonly<Record<string, unknown>>;
}

/** Problems of all files together. */
export function checkUses(files: readonly ProtocolFile[], lookup: Lookup, names: readonly string[]): ProtocolFileProblem[] {
  const usesOf = new Map(files.map((file) => [file.name, usesIn(file.segments, ['segments'])]));
  return files.flatMap((file) => {
    const uses = usesOf.get(file.name) ?? [];
    const each = uses.flatMap((u) => [...fits(file.name, u, lookup, names), ...cycle(file.name, u, usesOf)]);
    // Clashes are only worth naming once everything that is used can be used.
    return each.length > 0 ? each : clashes(file, uses, lookup);
  });
}

function usesIn(entries: readonly ProtocolEntry[], at: readonly (string | number)[]): Use[] {
  return entries.flatMap((e, i): Use[] => {
    if (e.kind === 'repeat') return usesIn(e.segments, [...at, i, 'repeat', 'segments']);
    return e.kind === 'use' ? [{ path: [...at, i, 'use'], protocol: e.protocol, parameters: e.parameters }] : [];
  });
}

function fits(file: string, u: Use, lookup: Lookup, names: readonly string[]): ProtocolFileProblem[] {
  const protocol = lookup(u.protocol);
  if (protocol === undefined) return [{ protocol: file, path: u.path, message: `there is no protocol "${u.protocol}"`, accepted: names.join(', ') }];
  return useProblems(protocol, u.parameters).map((p) => ({ protocol: file, path: [...u.path, u.protocol, ...p.path], message: p.message, accepted: p.accepted }));
}

/** What is wrong with the parameters that a file or a campaign gives a protocol, as far as can be told without the article. */
export function useProblems(protocol: Protocol, written: Readonly<Record<string, unknown>>) {
  const read = readParameters(protocol.parameters, written);
  if (!read.ok) return read.problems;
  const complete = completeParameters(protocol.parameters, read.value);
  return complete.ok ? protocol.check(complete.value) : complete.problems;
}

/** The way from a use back to the file it stands in, if there is one. */
function cycle(file: string, u: Use, usesOf: ReadonlyMap<string, readonly Use[]>): ProtocolFileProblem[] {
  const way = wayTo(file, u.protocol, usesOf, new Set());
  if (way === null) return [];
  return [{ protocol: file, path: u.path, message: `this protocol uses itself: ${[file, ...way].join(' → ')}`, accepted: 'a protocol that does not lead back here' }];
}

function wayTo(goal: string, from: string, usesOf: ReadonlyMap<string, readonly Use[]>, seen: Set<string>): string[] | null {
  if (from === goal) return [goal];
  if (seen.has(from)) return null;
  seen.add(from);
  for (const next of usesOf.get(from) ?? []) {
    const rest = wayTo(goal, next.protocol, usesOf, seen);
    if (rest !== null) return [from, ...rest];
  }
  return null;
}

/** Parts that cannot run in one go: the propeller on and off, or two supply voltages. */
function clashes(file: ProtocolFile, uses: readonly Use[], lookup: Lookup): ProtocolFileProblem[] {
  const found: ProtocolFileProblem[] = [];
  let propeller = file.needs.propeller === 'any' ? null : file.needs.propeller;
  let supply_V = file.needs.supply_V;
  const clash = (use: Use, message: string): void => {
    found.push({ protocol: file.name, path: use.path, message, accepted: 'two protocols, run one after the other' });
  };
  for (const use of uses) {
    const needs = needsOfUse(use, lookup);
    if (needs === null) continue;
    const own = needs.propeller === 'any' ? null : needs.propeller;
    if (own !== null && propeller !== null && own !== propeller) clash(use, `${use.protocol} needs the propeller ${own}, something before it needs it ${propeller}`);
    if (needs.supply_V !== null && supply_V !== null && needs.supply_V !== supply_V) clash(use, `${use.protocol} needs a supply of ${needs.supply_V} V, something before it needs ${supply_V} V`);
    propeller ??= own;
    supply_V ??= needs.supply_V;
  }
  return found;
}

function needsOfUse(use: Use, lookup: Lookup): ProtocolNeeds | null {
  const protocol = lookup(use.protocol);
  if (protocol === undefined) return null;
  const read = readParameters(protocol.parameters, use.parameters);
  const complete = completeParameters(protocol.parameters, read.ok ? read.value : {});
  return complete.ok ? protocol.needs(complete.value) : null;
}
