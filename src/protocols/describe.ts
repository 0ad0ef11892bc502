// The parameters of a protocol as a table for people; docs/protocols.md is generated from it.
import { type ParameterDeclaration, acceptedFor, showParameter } from '../model/parameters';
import type { Protocol } from './protocol';

export interface ParameterRow {
  readonly name: string;
  readonly default: string;
  readonly accepted: string;
  readonly about: string;
}

/** One row a parameter, in the order of the declaration. */
export function parameterRows(protocol: Protocol): ParameterRow[] {
  return Object.entries(protocol.parameters).map(([name, declared]) => ({ name, default: defaultOf(declared), accepted: acceptedFor(declared), about: declared.about }));
}

/** The same as a table in Markdown. */
export function parameterTable(protocol: Protocol): string {
  const rows = parameterRows(protocol).map((r) => `| \`${r.name}\` | ${r.default} | ${r.accepted} | ${r.about} |`);
  return ['| parameter | default | accepted | what it is |', '|---|---|---|---|', ...rows].join('\n');
}

function defaultOf(declared: ParameterDeclaration): string {
  return declared.default === null ? (declared.when_absent ?? 'none') : showParameter(declared, declared.default);
}

/** A page with the table of every protocol put between `<!-- parameters: NAME -->` and `<!-- end -->`. */
export function withTables(page: string, protocols: readonly Protocol[]): string {
  return protocols.reduce(
    (text, p) => text.replace(new RegExp(`(<!-- parameters: ${p.name} -->\\n)[\\s\\S]*?(<!-- end -->)`), (_all, start: string, end: string) => `${start}${parameterTable(p)}\n${end}`),
    page,
  );
}
