// Goal: a file of lines survives cuts: what was appended stays, a cut line stays as evidence, the next one stands alone.
// Method: real files, appended to by one process after another and cut in between.
import fs from 'node:fs';
import os from 'node:os';
import path from 'node:path';
import { afterAll, expect, test } from 'vitest';
import { LineFile, readLines } from '../../src/record/file-lines';

const folder = fs.mkdtempSync(path.join(os.tmpdir(), 'spoolbench-lines-'));
afterAll(() => {
  fs.rmSync(folder, { recursive: true });
});

function append(file: string, ...lines: string[]): void {
  const open = new LineFile(file);
  for (const line of lines) open.append(line);
  open.close();
}

test('a missing file is empty; lines are appended, also by the next process', () => {
  const file = path.join(folder, 'a.jsonl');
  expect(readLines(file)).toBe('');
  append(file, 'one\n');
  append(file, 'two\n', 'ünïcode\n');
  expect(fs.readFileSync(file, 'utf8')).toBe('one\ntwo\nünïcode\n');
});

test.each([
  ['one\ntw', 'one\ntw\nthree\nfour\n'],
  ['one\ntwo\n', 'one\ntwo\nthree\nfour\n'],
  ['', 'three\nfour\n'],
])('after %j the next line starts on its own, and what stands there stays', (before, after) => {
  const file = path.join(folder, `b${before.length}.jsonl`);
  fs.writeFileSync(file, before);
  append(file, 'three\n', 'four\n');
  expect(readLines(file)).toBe(after);
});
