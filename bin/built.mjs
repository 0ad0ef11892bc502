// Whether the built command still is what the sources say.
import { existsSync, readdirSync, statSync } from 'node:fs';
import { join } from 'node:path';

/**
 * The built command below `root`, or null where it is missing or anything that it is made of has changed since its build began, which is
 * its time of change. An installed package has no sources, so there it is always the one.
 */
export function builtCommand(root) {
  const main = join(root, 'dist/main.mjs');
  if (!existsSync(main)) return null;
  const { mtimeMs: began } = statSync(main);
  const sources = join(root, 'src');
  if (!existsSync(sources)) return main;
  // A folder changes when a file in it comes or goes.
  const parts = [sources, ...readdirSync(sources, { recursive: true }).map((name) => join(sources, name)), ...['package-lock.json', 'tsdown.config.ts', 'tsconfig.json'].map((name) => join(root, name))];
  return parts.every((part) => statSync(part).mtimeMs < began) ? main : null;
}
