// Whether the built command still is what the sources say.
import { existsSync, lstatSync, readdirSync } from 'node:fs';
import { join } from 'node:path';

/** Beside src/: what decides what a build makes of it. */
const SETTINGS = ['package.json', 'package-lock.json', 'tsdown.config.ts', 'tsconfig.json'];

/**
 * The built command below `root`, or null where it is missing or anything that it is made of has changed since its build began, which is
 * its time of change. An installed package has no sources, so there it is always the one.
 */
export function builtCommand(root) {
  const main = join(root, 'dist/main.mjs');
  if (!existsSync(main)) return null;
  const sources = join(root, 'src');
  if (!existsSync(sources)) return main;
  const began = changedAt(main);
  // A folder changes when a file in it comes or goes.
  const parts = [sources, ...readdirSync(sources, { recursive: true }).map((name) => join(sources, name)), ...SETTINGS.map((name) => join(root, name))];
  return parts.every((part) => changedAt(part) < began) ? main : null;
}

/** When a file, folder or link changed, ms; what has gone meanwhile is not part of any build. */
const changedAt = (path) => lstatSync(path, { throwIfNoEntry: false })?.mtimeMs ?? -Infinity;
