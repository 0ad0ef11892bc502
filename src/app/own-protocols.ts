// Protocols that a person wrote in TypeScript: protocols/*.ts of the bench folder.
import { filesIn, join, relative, workingFolder } from '../host/files';
import { loadModule } from '../host/modules';
import { PROTOCOL_KIT, type ProtocolKit } from '../protocols/kit';
import type { Protocol } from '../protocols/protocol';
import { BadInput } from './errors';

/**
 * Loads every protocols/*.ts of a bench folder. Each exports, as default, a function from the kit to a protocol or a list of them.
 * @throws BadInput naming each module that cannot be used, and why
 */
export async function loadOwnProtocols(folder: string): Promise<Protocol[]> {
  const problems: string[] = [];
  const found: Protocol[] = [];
  for (const path of filesIn(join(folder, 'protocols'), '.ts')) {
    const shown = relative(workingFolder(), path);
    try {
      found.push(...protocolsOf(await loadModule(path)));
    } catch (error) {
      problems.push(`${shown}: ${error instanceof Error ? error.message : String(error)}; accepted: export default ({ defineProtocol, ramp, level }) => defineProtocol({ … })`);
    }
  }
  if (problems.length > 0) throw new BadInput(problems);
  return found;
}

function protocolsOf(module: Readonly<Record<string, unknown>>): Protocol[] {
  const make = unwrapped(module);
  if (typeof make !== 'function') throw new TypeError('there is no default export that is a function');
  const made = (make as (kit: ProtocolKit) => unknown)(PROTOCOL_KIT);
  const list: unknown[] = Array.isArray(made) ? made : [made];
  return list.map((entry, i) => {
    if (!isProtocol(entry)) throw new TypeError(`what it returns${list.length > 1 ? ` at place ${i + 1}` : ''} was not made by defineProtocol`);
    return entry;
  });
}

/** The default export; loaders wrap it once more when the module is taken for CommonJS. */
function unwrapped(module: Readonly<Record<string, unknown>>): unknown {
  const first = module.default;
  return typeof first === 'object' && first !== null && 'default' in first ? first.default : first;
}

function isProtocol(value: unknown): value is Protocol {
  return typeof value === 'object' && value !== null && 'name' in value && 'parameters' in value && 'steps' in value && 'needs' in value;
}
