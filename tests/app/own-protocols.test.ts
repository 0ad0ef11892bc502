// Goal: protocols in TypeScript are found, listed and refused as those in YAML are.
// Method: real files in a temporary bench folder, loaded as `plan` and `run` load them.
import fs from 'node:fs';
import os from 'node:os';
import path from 'node:path';
import { afterAll, beforeAll, expect, test } from 'vitest';
import { BadInput } from '../../src/app/errors';
import { newBench } from '../../src/app/new-bench';
import { loadOwnProtocols } from '../../src/app/own-protocols';
import { planFile } from '../../src/app/plan-file';

let bench = '';
beforeAll(() => {
  bench = path.join(fs.mkdtempSync(path.join(os.tmpdir(), 'spoolbench-own-')), 'bench');
  newBench(bench);
});
afterAll(() => {
  fs.rmSync(path.dirname(bench), { recursive: true });
});

async function refusal(action: Promise<unknown>): Promise<readonly string[]> {
  const error: unknown = await action.then(() => null, (e: unknown) => e);
  if (!(error instanceof BadInput)) throw new Error('was not refused', { cause: error });
  return error.lines;
}

test('a starter bench has one, and it is planned by its name with its parameters', async () => {
  const plan = await planFile('creep-up', { bench, set: ['current=2 A', 'top=50 %'] });
  expect(plan.protocols.map((p) => p.label)).toEqual(['creep-up']);
  expect(plan.protocols[0].parameters).toMatchObject({ current: 2, top: 0.5 });
});

test('a parameter out of its bounds is refused with what is accepted', async () => {
  const lines = await refusal(planFile('creep-up', { bench, set: ['current=50 A'] }));
  expect(lines).toHaveLength(1);
  expect(lines[0]).toMatch(/current: .*accepted: 100 mA to 5 A/);
});

test('an unknown name lists it among the accepted ones', async () => {
  expect((await refusal(planFile('creep-upp', { bench })))[0]).toContain('creep-up');
});

test('modules that cannot be used are named, each with its reason, all at once', async () => {
  const folder = path.join(bench, '..', 'bad');
  fs.mkdirSync(path.join(folder, 'protocols'), { recursive: true });
  fs.writeFileSync(path.join(folder, 'protocols', 'a.ts'), 'export const x = 1;\n');
  fs.writeFileSync(path.join(folder, 'protocols', 'b.ts'), 'export default () => ({ name: 1 });\n');
  fs.writeFileSync(path.join(folder, 'protocols', 'c.ts'), "throw new Error('on purpose');\n");
  const lines = await refusal(loadOwnProtocols(folder));
  expect(lines).toHaveLength(3);
  expect(lines[0]).toMatch(/a\.ts: there is no default export that is a function; accepted: export default/);
  expect(lines[1]).toMatch(/b\.ts: what it returns was not made by defineProtocol/);
  expect(lines[2]).toMatch(/c\.ts: on purpose/);
});
