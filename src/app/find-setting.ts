// A setting that a person named.
import { BadInput } from './errors';

/** What can be named. */
export interface NameableSetting {
  readonly id: string;
  readonly text: string;
  readonly levels: Readonly<Record<string, string>>;
}

/**
 * The setting meant: by its words, its id, or its levels in any order; spaces and capitals do not count.
 * @param where what to put in front of an error
 * @throws BadInput with every setting that there is
 */
export function findSetting<S extends NameableSetting>(where: string, settings: readonly S[], named: string): S {
  const bare = (text: string): string => text.toLowerCase().replace(/\s+/g, '');
  const parts = (text: string): string => text.split(',').map(bare).sort().join(',');
  const found = settings.find((s) => bare(s.id) === bare(named) || parts(s.text) === parts(named) || parts(Object.values(s.levels).join(',')) === parts(named));
  if (found === undefined) throw new BadInput([`${where}: there is no setting "${named}"; accepted: ${settings.map((s) => s.text).join(' | ')}`]);
  return found;
}
