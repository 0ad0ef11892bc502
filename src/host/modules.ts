// Loads a person's own TypeScript or JavaScript modules.
import { pathToFileURL } from 'node:url';
import { tsImport } from 'tsx/esm/api';

/** What a module exports, by name. TypeScript is stripped, not checked. Throws whatever the module throws. */
export async function loadModule(path: string): Promise<Readonly<Record<string, unknown>>> {
  const url = pathToFileURL(path).href;
  return (await tsImport(url, import.meta.url)) as Readonly<Record<string, unknown>>;
}
