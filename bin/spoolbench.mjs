#!/usr/bin/env node
// Starts the built command line; in a checkout without a build, or where the sources have changed since, the sources (through tsx).
// SPOOLBENCH_SOURCES=1 asks for the sources in any case.
import { fileURLToPath, pathToFileURL } from 'node:url';
import { builtCommand } from './built.mjs';

const built = process.env.SPOOLBENCH_SOURCES === '1' ? null : builtCommand(fileURLToPath(new URL('..', import.meta.url)));
if (built !== null) {
  await import(pathToFileURL(built).href);
} else {
  const { register } = await import('tsx/esm/api');
  // Our own compiler settings, wherever the command is typed: fields that are defined before they are set cost speed.
  register({ tsconfig: fileURLToPath(new URL('../tsconfig.json', import.meta.url)) });
  await import(new URL('../src/cli/main.ts', import.meta.url).href);
}
