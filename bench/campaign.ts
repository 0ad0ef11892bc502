// A campaign of 10 000 runs on the simulated rig: planning, overhead between runs, memory, and the scan that a resume begins with.
// Overhead is real time outside the bench's own: everything but the simulated rig's ticks. Give another number of runs as an argument.
import fs from 'node:fs';
import os from 'node:os';
import path from 'node:path';
import { Subject } from 'rxjs';
import { readCampaignFolder } from '../src/app/campaign-files';
import { CampaignFolder } from '../src/app/campaign-folder';
import { runCampaign } from '../src/app/campaign-run';
import { FigureTable } from '../src/app/figures';
import { NOBODY } from '../src/app/operator';
import { prepareCampaign } from '../src/app/prepare';
import type { Reporter } from '../src/app/reporter';
import { statusOf } from '../src/app/status';
import { TwinWorld } from '../src/app/twin-world';
import { breathe } from '../src/host/event-loop';
import { steady_ms } from '../src/host/wall-clock';

const RUNS = Number(process.argv[2] ?? 10_000);
const folder = fs.mkdtempSync(path.join(os.tmpdir(), 'spoolbench-campaign-'));
fs.cpSync('demo/bench', folder, { recursive: true });
fs.writeFileSync(path.join(folder, 'protocols/blip.yaml'), 'spoolbench: 1\nprotocol: blip\nsegments:\n  - { level: { throttle: 5 %, for: 20 ms } }\n');
const file = path.join(folder, 'campaigns/many.yaml');
fs.writeFileSync(file, [
  'spoolbench: 1', 'campaign: many', 'rig: ../rig.yaml', 'article: ../article.yaml', 'protocols: [blip]', `repeats: ${Math.round(RUNS / 10)}`,
  'factors: { switching_frequency: { levels: [22 kHz, 44 kHz], apply: rig }, timing_advance: { levels: [0 deg, 6 deg, 12 deg, 18 deg, 24 deg], apply: rig } }', '',
].join('\n'));

/** Times the simulated rig: what is left of the whole is overhead. */
class TimedTwin extends TwinWorld {
  bench_ms = 0;
  override async playUntil(done: () => boolean, within_s?: number): Promise<boolean> {
    const began = performance.now();
    try {
      return await super.playUntil(done, within_s);
    } finally {
      this.bench_ms += performance.now() - began;
    }
  }
}

const timed = <T>(what: string, act: () => T): T => {
  const began = performance.now();
  const result = act();
  console.log(`${what}: ${(performance.now() - began).toFixed(0)} ms`);
  return result;
};

prepareCampaign(file);
const ready = timed(`planning ${RUNS} runs, files read and checked`, () => prepareCampaign(file));
const records = path.join(folder, 'records');
const campaign = timed('freezing and writing the plan', () => CampaignFolder.start(records, ready));
const world = new TimedTwin({ rig: ready.rig, article: ready.article, channels: ready.channels, breathe, now_ms: steady_ms });
await world.connect();
const table = new FigureTable(ready);
const nothing = (): void => undefined;
const overheads: number[] = [];
let ended = 0;
let last = { at: performance.now(), bench: 0 };
const reporter: Reporter = {
  note: (text) => { console.log(text); }, alarm: (text) => { console.log(text); }, preparing: nothing, segment: nothing, live: nothing, event: nothing, runEnded: nothing, progress: nothing, soFar: nothing,
  runStarted: () => {
    const now = { at: performance.now(), bench: world.bench_ms };
    if (ended++ > 0) overheads.push(now.at - last.at - (now.bench - last.bench));
    last = now;
    if (ended % Math.round(RUNS / 10) === 1) {
      globalThis.gc?.();
      const { heapUsed, rss } = process.memoryUsage();
      console.log(`run ${ended}: heap ${(heapUsed / 1e6).toFixed(1)} MB, resident ${(rss / 1e6).toFixed(0)} MB`);
    }
  },
};
const began = performance.now();
const end = await runCampaign({ ready, world, folder: campaign, requests: new Subject(), reporter, operator: NOBODY, figures: (run, record) => table.take(run, record), soFar: () => table.soFar() });
const took = performance.now() - began;
campaign.close();
world.close();
overheads.sort((a, b) => a - b);
const at = (share: number): string => (overheads[Math.floor(share * (overheads.length - 1))] ?? NaN).toFixed(1);
console.log(`${end.good} of ${end.planned} runs good in ${(took / 1000).toFixed(0)} s${end.stopped === null ? '' : `; stopped: ${end.stopped}`}`);
console.log(`overhead a run beyond the bench: median ${at(0.5)} ms, 99 % within ${at(0.99)} ms, longest ${at(1)} ms`);
timed('resume scan of that folder', () => readCampaignFolder(end.folder));
timed('status of that folder', () => statusOf(end.folder));
timed('opening it again', () => CampaignFolder.start(records, ready)).close();
fs.rmSync(folder, { recursive: true });
