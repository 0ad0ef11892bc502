// Goal: every hold settles from rest on both simulated articles and on each with halved and doubled winding resistance,
// inductance and inertia, with the same default gains, at 1 ms and at 125 µs ticks.
// Method: real frames, the simulated rig with its noise, quantisation and dropouts; graded on the rig's true values. Targets are
// fractions of that variant's own value at 99 % duty. The bounds are the project's own promise (docs/holds.md).
import { describe, expect, test } from 'vitest';
import { MapCache, scaleArticle, scout, tinyClass } from '../../src/twin/physics';
import type { HoldKind } from './hold-rig';
import { playHold, targetOf, topOf, VARIANTS, withoutBias } from './hold-rig';
import { wasmCore } from './kit';

const FRACTIONS = [0.15, 0.25, 0.4, 0.6, 0.8];
const KINDS: HoldKind[] = ['current', 'power', 'speed'];
const core = wasmCore();
const maps = new MapCache();
const cases = [tinyClass, scout].flatMap((article) => VARIANTS.map((by) => withoutBias(scaleArticle(article, by)))).map((rig) => [rig.name, rig] as const);

describe.each([1000, 125])('at ticks of %i µs', (tick_us) => {
  test.each(cases)('%s', (_name, rig) => {
    const top = topOf(rig, maps);
    for (const kind of KINDS) {
      for (const fraction of FRACTIONS) {
        const result = playHold(core, rig, maps, kind, targetOf(rig, kind, fraction * top[kind]), { tick_us });
        const what = `${kind} at ${String(100 * fraction)} %: ${JSON.stringify(result)}`;
        expect(result.settled_ms, what).toBeLessThanOrEqual(fraction < 0.4 ? 1000 : 500);
        expect(result.overshoot, what).toBeLessThan(0.1);
        expect(result.desyncs, what).toBe(0);
      }
    }
  });
});

test('a target that the article cannot reach ends at the cap, not beyond, and without winding up', () => {
  const rig = withoutBias(scout);
  const top = topOf(rig, maps);
  const throttles: number[] = [];
  const result = playHold(core, rig, maps, 'current', targetOf(rig, 'current', 1.5 * top.current), { cap: 9000, watch: (_t, _v, u) => throttles.push(u) });
  expect(result.settled_ms).toBe(Infinity);
  expect(Math.max(...throttles)).toBe(9000);
  expect(throttles.at(-1)).toBe(9000);
});
