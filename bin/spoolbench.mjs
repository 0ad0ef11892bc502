#!/usr/bin/env node
// Starts the built command line; in a checkout without a build, the sources (through tsx).
import { existsSync } from 'node:fs';
import { fileURLToPath } from 'node:url';

const built = new URL('../dist/main.mjs', import.meta.url);
if (existsSync(fileURLToPath(built))) {
  await import(built.href);
} else {
  const { register } = await import('tsx/esm/api');
  register();
  await import(new URL('../src/cli/main.ts', import.meta.url).href);
}
