// Goal: the built command is started exactly as long as it is what the sources say.
// Method: a made-up package in a temporary folder, its times of change set on either side of the build's.
import fs from 'node:fs';
import os from 'node:os';
import path from 'node:path';
import { pathToFileURL } from 'node:url';
import { afterEach, beforeEach, describe, expect, test } from 'vitest';

const { builtCommand } = (await import(pathToFileURL(path.resolve('bin/built.mjs')).href)) as { builtCommand: (root: string) => string | null };

const BUILT_s = 1_000_000;
const FILES = ['dist/main.mjs', 'src/cli/main.ts', 'src/app/run.ts', 'package.json', 'package-lock.json', 'tsdown.config.ts', 'tsconfig.json'];
let root = '';

/** Sets when a file or folder changed, in seconds after the build began. */
const changed = (name: string, after_s: number): void => { fs.utimesSync(path.join(root, name), BUILT_s + after_s, BUILT_s + after_s); };

beforeEach(() => {
  root = fs.mkdtempSync(path.join(os.tmpdir(), 'spoolbench-built-'));
  for (const file of FILES) {
    fs.mkdirSync(path.dirname(path.join(root, file)), { recursive: true });
    fs.writeFileSync(path.join(root, file), '');
  }
  for (const name of [...FILES, 'src', 'src/cli', 'src/app']) changed(name, -1);
  changed('dist/main.mjs', 0);
});
afterEach(() => { fs.rmSync(root, { recursive: true }); });

describe('the built command', () => {
  test('is started when everything that it is made of is older', () => {
    expect(builtCommand(root)).toBe(path.join(root, 'dist/main.mjs'));
  });

  test.each(['src/cli/main.ts', 'src/app/run.ts', 'package.json', 'package-lock.json', 'tsdown.config.ts', 'tsconfig.json'])('is not when %s changed after the build began, or in that very moment', (name) => {
    changed(name, 0.001);
    expect(builtCommand(root)).toBeNull();
    changed(name, 0);
    expect(builtCommand(root)).toBeNull();
    changed(name, -0.001);
    expect(builtCommand(root)).not.toBeNull();
  });

  test('is not when a source has gone or come', () => {
    fs.rmSync(path.join(root, 'src/app/run.ts'));
    expect(builtCommand(root)).toBeNull();
    changed('src/app', -1);
    expect(builtCommand(root)).not.toBeNull();
    fs.writeFileSync(path.join(root, 'src/app/other.ts'), '');
    expect(builtCommand(root)).toBeNull();
  });

  test('a link to nowhere among the sources counts by its own time, a missing file not at all', () => {
    fs.symlinkSync('nowhere', path.join(root, 'src/app/.#run.ts'));
    fs.lutimesSync(path.join(root, 'src/app/.#run.ts'), BUILT_s + 1, BUILT_s + 1);
    changed('src/app', -1);
    expect(builtCommand(root)).toBeNull();
    fs.lutimesSync(path.join(root, 'src/app/.#run.ts'), BUILT_s - 1, BUILT_s - 1);
    fs.rmSync(path.join(root, 'tsdown.config.ts'));
    expect(builtCommand(root)).not.toBeNull();
  });

  test('is not when there is none', () => {
    fs.rmSync(path.join(root, 'dist'), { recursive: true });
    expect(builtCommand(root)).toBeNull();
  });

  test('is always the one where there are no sources', () => {
    fs.rmSync(path.join(root, 'src'), { recursive: true });
    changed('package-lock.json', 5);
    expect(builtCommand(root)).toBe(path.join(root, 'dist/main.mjs'));
  });
});
