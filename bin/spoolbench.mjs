#!/usr/bin/env node
// Starts the built command line; in a checkout without a build, the sources (through tsx).
import { existsSync } from 'node:fs';
import { fileURLToPath } from 'node:url';

const built = new URL('../dist/main.mjs', import.meta.url);
if (existsSync(fileURLToPath(built))) {
  await import(built.href);
} else {
  const { register } = await import('tsx/esm/api');
  // Our own compiler settings, wherever the command is typed: fields that are defined before they are set cost speed.
  register({ tsconfig: fileURLToPath(new URL('../tsconfig.json', import.meta.url)) });
  await import(new URL('../src/cli/main.ts', import.meta.url).href);
}
