// Whole path on one core: simulated rig, controller wasm, wire bytes, station, sequencer, record on disk.
// Prints how many times faster than real time it runs, by processor time, after a warm-up run; 1 kHz and 8 kHz rows.
import fs from 'node:fs';
import os from 'node:os';
import path from 'node:path';
import { EMPTY } from 'rxjs';
import { prepareCampaign, type ReadyCampaign } from '../src/app/prepare';
import { runHeader } from '../src/app/record-header';
import type { Reporter } from '../src/app/reporter';
import { runOnce } from '../src/app/run-once';
import { TwinWorld } from '../src/app/twin-world';
import { channelFacts } from '../src/model/channel-facts';
import { steady_ms } from '../src/host/wall-clock';
import { breathe } from '../src/host/event-loop';

const folder = fs.mkdtempSync(path.join(os.tmpdir(), 'spoolbench-bench-'));
const silent: Reporter = { note: nothing, alarm: nothing, preparing: nothing, progress: nothing, soFar: nothing, runStarted: nothing, segment: nothing, live: nothing, event: nothing, runEnded: nothing };
function nothing(): void {
  // A benchmark listens to nobody.
}

/** The demo's rig with another tick and row rate; current and voltage then convert once a tick. */
function atRate(ready: ReadyCampaign, tick_us: number): ReadyCampaign {
  const averages = (1000 / 125) / (1000 / tick_us);
  const channels = ready.rig.channels.map((c) =>
    c.kind === 'current' || c.kind === 'voltage' ? { ...c, period_us: tick_us, averages, gain: (c.gain * 8) / averages, zero: (c.zero * averages) / 8 } : c);
  const rig = { ...ready.rig, tick_us, row_rate_Hz: 1e6 / tick_us, channels, limits: { ...ready.rig.limits, current_peak: { above_A: 40, for_s: 0.005 }, sensor_frozen_s: null } };
  return { ...ready, rig, channels: channelFacts(rig) };
}

async function measure(label: string, ready: ReadyCampaign, passes: number): Promise<void> {
  const protocol = [...ready.protocols.values()][0];
  const run = ready.plan.runs[0];
  const world = new TwinWorld({ rig: ready.rig, article: ready.article, channels: ready.channels, breathe, now_ms: steady_ms });
  await world.connect();
  let best = 0;
  let bytes = 0;
  let rows = 0;
  for (let pass = 0; pass < passes; pass++) {
    const header = runHeader({ ready, protocol, run, supply_V: ready.article.nominal_voltage_V, propeller: true, seed: 1 });
    const began = process.cpuUsage();
    const result = await runOnce({
      world, protocol, header, attachments: [], path: path.join(folder, `${label}-${pass}.mcap`), zero_s: 1, requests: EMPTY, reporter: silent,
    });
    const { user, system } = process.cpuUsage(began);
    if (result.outcome.outcome !== 'done') throw new Error(`${label}: ${result.outcome.detail}`);
    const speed = result.duration_s / ((user + system) / 1e6);
    bytes = result.record.bytes;
    rows = result.duration_s * ready.rig.row_rate_Hz;
    if (pass > 0) best = Math.max(best, speed);
    console.log(`${label} pass ${pass + 1}${pass === 0 ? ' (warm-up)' : ''}: ${result.duration_s.toFixed(1)} s of bench time, ${speed.toFixed(0)} x real time`);
    await world.playUntil(() => (world.readings().motor_degC ?? 0) < 40, 600);
  }
  console.log(`${label}: best after warm-up ${best.toFixed(0)} x real time; record ${(bytes / rows).toFixed(1)} B a row`);
}

const ready = prepareCampaign('response', { bench: 'demo/bench', set: ['steps=60'] });
await measure('1 kHz', ready, 24);
await measure('8 kHz', atRate(ready, 125), 16);
fs.rmSync(folder, { recursive: true });
