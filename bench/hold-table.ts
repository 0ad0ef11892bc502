// Prints the table of docs/holds.md: how fast and how well each hold settles, worst over the variants of both articles.
// Run: npx tsx bench/hold-table.ts [seeds, default 1..10]
import '../src/controller/subset-js';
import { MapCache, scaleArticle, scout, tinyClass } from '../src/twin/physics';
import type { HoldKind, HoldResult } from '../tests/controller/hold-rig';

const FRACTIONS = [0.15, 0.25, 0.4, 0.6, 0.8];
const KINDS: HoldKind[] = ['current', 'power', 'speed'];

async function main(): Promise<void> {
  // after the stand-in for the subset's names has been loaded
  const { playHold, targetOf, topOf, VARIANTS, withoutBias } = await import('../tests/controller/hold-rig');
  const { wasmCore } = await import('../tests/controller/kit');
  const core = wasmCore();
  const maps = new MapCache();
  const seeds = Array.from({ length: Number(process.argv[2] ?? 10) }, (_, k) => k + 1);
  const cell = (results: readonly HoldResult[], limit_ms: number): string => {
    const inTime = results.filter((r) => r.settled_ms <= limit_ms).length;
    const times = results.map((r) => r.settled_ms).sort((x, y) => x - y);
    const median = times[times.length >> 1] ?? NaN;
    const worst = times.at(-1) ?? NaN;
    const over = 100 * Math.max(...results.map((r) => r.overshoot));
    return `${String(inTime)} of ${String(results.length)} | ${median.toFixed(0)} | ${worst.toFixed(0)} | ${over.toFixed(1)} %`;
  };
  for (const tick_us of [1000, 125]) {
    console.log(`\nTicks of ${String(tick_us)} µs, seeds 1 to ${String(seeds.length)}:\n`);
    console.log('| hold | target | in time | median ms | worst ms | overshoot |\n|---|---|---|---|---|---|');
    for (const kind of KINDS) {
      for (const fraction of FRACTIONS) {
        const results: HoldResult[] = [];
        for (const article of [tinyClass, scout]) {
          for (const by of VARIANTS) {
            const rig = withoutBias(scaleArticle(article, by));
            const target = targetOf(rig, kind, fraction * topOf(rig, maps)[kind]);
            for (const seed of seeds) results.push(playHold(core, rig, maps, kind, target, { tick_us, seed }));
          }
        }
        const limit_ms = fraction < 0.4 ? 1000 : 500;
        console.log(`| ${kind} | ${String(100 * fraction)} % (≤ ${String(limit_ms)} ms) | ${cell(results, limit_ms)} |`);
      }
    }
  }
}

await main();
