// Goal: docs/protocols.md tells the truth: its tables are the declarations, its examples run.
// Method: the page is read; tables are generated again and compared; the YAML is loaded and walked; the TypeScript is the demo bench's.
import { readFileSync } from 'node:fs';
import { describe, expect, test } from 'vitest';
import { loadFile } from '../../src/model/load';
import { BUILT_IN, catalogue } from '../../src/protocols/catalogue';
import { withTables } from '../../src/protocols/describe';
import { walk } from '../../src/protocols/walk';
import { play } from '../sequencer/play';
import { ready } from './bench';
import { PROTOCOL_KIT } from '../../src/protocols/kit';
import makeCreepUp from '../../demo/bench/protocols/creep-up';

const creepUp = makeCreepUp(PROTOCOL_KIT);

const page = readFileSync(new URL('../../docs/protocols.md', import.meta.url), 'utf8');
const block = (language: string): string => new RegExp(`\`\`\`${language}\\n([\\s\\S]*?)\`\`\``).exec(page)?.[1] ?? '';

describe('the page', () => {
  test('has the parameters of every protocol as they are declared (npx tsx scripts/protocol-tables.mjs)', () => {
    expect(withTables(page, BUILT_IN)).toBe(page);
    for (const p of BUILT_IN) expect(page).toContain(`## ${p.name}\n`);
    for (const p of BUILT_IN) for (const key of Object.keys(p.parameters)) expect(page).toContain(`| \`${key}\` |`);
  });

  test('its example in YAML loads and walks without a problem', () => {
    const loaded = loadFile('protocol', 'protocols/warm-then-step.yaml', block('yaml'));
    expect(loaded.problems).toEqual([]);
    const c = catalogue([], loaded.value === null ? [] : [loaded.value]);
    expect(c.problems).toEqual([]);
    const own = c.find('warm-then-step');
    if (own === undefined) throw new Error('not found');
    const p = ready(own);
    const w = walk(p.steps());
    expect(w.problems).toEqual([]);
    expect(w.marks.map((m) => m.label)).toEqual(['warm']);
    expect(p.needs).toMatchObject({ propeller: 'on', sink: true });
    expect(w.segments.at(-1)?.to).toBe(0);
  });

  test('its example in TypeScript is the one that the next tests play', () => {
    const source = readFileSync(new URL('../../demo/bench/protocols/creep-up.ts', import.meta.url), 'utf8');
    const code = (text: string): string => text.slice(text.indexOf('export default'));
    expect(code(source)).toBe(code(block('ts')));
    expect(block('ts')).toContain("import type { ProtocolKit } from 'spoolbench/protocols';");
  });
});

describe('the example in TypeScript', () => {
  const throttleAt = (current_mA: (throttle: number) => number) => {
    let throttle = 0;
    const run = play(ready(creepUp, { current: 1 }).steps(), {
      habits: { sample: () => ({ counts: Math.round(current_mA(throttle)), fresh: true, valid: true }) },
      options: { bound_s: 60 },
      before: (b) => b.events.subscribe((e) => {
        if (e.type === 'segment-started' && e.segment.kind === 'level') throttle = e.segment.throttle;
      }),
    });
    const plateau = run.bench.fed.find((s) => s.segment.role === 'plateau')?.segment;
    return { outcome: run.outcome().outcome, plateau: plateau?.tags?.throttle };
  };

  test('stops at the throttle where the current was reached, and the board never runs dry', () => {
    const found = throttleAt((throttle) => 10_000 * throttle * throttle);
    expect(found.outcome).toBe('done');
    // 10 A · x² = 1 A at x = 0.316; the next step of 5 % above 10 % is 35 %.
    expect(found.plateau).toBeCloseTo(0.35, 9);
  });

  test('gives up at its top when the current never comes, as it does in a dry run', () => {
    const found = throttleAt(() => 0);
    expect(found.outcome).toBe('done');
    expect(found.plateau).toBeCloseTo(0.8, 9);
    const dry = walk(ready(creepUp, { current: 1 }).steps());
    expect(dry.problems).toEqual([]);
    expect(dry.asks).toBe(14);
    expect(dry.peaks.throttle).toBeCloseTo(0.8, 9);
  });
});

test.each(BUILT_IN.map((p) => [p.name, p] as const))('%s plays to its end on a bench, in the time that the plan says', (_name, protocol) => {
  const prepared = ready(protocol);
  const w = walk(prepared.steps());
  const run = play(prepared.steps(), { options: { bound_s: w.duration_s + 1, planned_s: w.segments.map((s) => s.segment.duration_s) }, until_ms: 1e6 });
  expect(run.outcome()).toMatchObject({ outcome: 'done', segments_played: w.segments.length });
  expect(run.ended_ms() / 1000).toBeCloseTo(w.duration_s + 0.04, 2);
  expect(run.bench.fed.map((s) => s.segment)).toEqual(w.segments.map((s) => s.segment));
});
