/**
 * Speed of the simulated rig's physics: simulated time over CPU time. Run with `npx tsx bench/twin.ts`.
 * Best of five, because other work on the machine only ever slows it down. Prints ratios; gates nothing.
 */
import { MapCache, scout, SimulatedRig, tinyClass } from '../src/twin/physics';
import type { RigParameters } from '../src/twin/physics';

/** CPU seconds of this process. */
function cpu_s(): number {
  return process.cpuUsage().user / 1e6;
}

function ratio(rig: SimulatedRig, seconds: number, dt_us: number, throttle: (t_s: number) => number): number {
  const steps = Math.round((seconds * 1e6) / dt_us);
  const before = cpu_s();
  for (let k = 0; k < steps; k++) rig.step(throttle(k * dt_us * 1e-6), dt_us);
  return seconds / (cpu_s() - before);
}

function best(run: () => number, times = 5): number {
  let top = 0;
  for (let k = 0; k < times; k++) top = Math.max(top, run());
  return top;
}

const articles: [string, RigParameters][] = [['tiny', tinyClass], ['scout', scout]];
for (const [name, article] of articles) {
  const maps = new MapCache();
  // A triangle of 4 s between 5 and 95 %: cheap to compute, so that the physics is what gets timed.
  const wave = (t: number): number => 0.05 + 0.45 * Math.abs((t % 4) - 2);
  const first = ratio(new SimulatedRig(article, { seed: 1, maps }), 10, 125, wave);
  console.log(`${name}: first 10 s with cold maps ${first.toFixed(0)}x (${maps.size.solved} operating points solved)`);
  for (const dt_us of [125, 1000]) {
    for (const noise of [true, false]) {
      const x = best(() => ratio(new SimulatedRig(article, { seed: 2, maps, noise }), 30, dt_us, wave));
      console.log(`${name}: tick ${dt_us} us, ${noise ? 'all noise' : 'no noise '} ${x.toFixed(0)}x real time`);
    }
  }
  const resting = new SimulatedRig(article, { seed: 3, maps });
  const minutes = best(() => ratio(resting, 600, 20_000, () => 0));
  console.log(`${name}: rest in 20 ms ticks ${minutes.toFixed(0)}x, so 60 s of cool-down cost ${(60e3 / minutes).toFixed(2)} ms`);
}
