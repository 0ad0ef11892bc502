// Goal: one seed, one record, to the byte, alone and inside a campaign; and what a campaign changes really changes on the rig.
// Method: SHA-256 of records from separate benches; the simulated rig is asked while each run of a small campaign begins.
import { createHash } from 'node:crypto';
import fs from 'node:fs';
import path from 'node:path';
import { Subject } from 'rxjs';
import { afterAll, beforeAll, describe, expect, test } from 'vitest';
import { CampaignFolder } from '../../src/app/campaign-folder';
import { runCampaign } from '../../src/app/campaign-run';
import { NOBODY } from '../../src/app/operator';
import { prepareCampaign } from '../../src/app/prepare';
import { TwinWorld } from '../../src/app/twin-world';
import { readRecord } from '../../src/record/file-reader';
import { timelineOf } from '../../src/record/timeline';
import type { OperatorRequest } from '../../src/sequencer/options';
import { MapCache } from '../../src/twin/physics';
import { benchFolder, cleanUp, eventsOf, SILENT } from './kit';
import { HOLD, playScene } from './scenes';

afterAll(cleanUp);

const SMALL = `spoolbench: 1
campaign: small
rig: ../rig.yaml
article: ../article.yaml
factors:
  switching_frequency: { levels: [22 kHz, 88 kHz], apply: rig }
  timing_advance: { levels: [0 deg, 24 deg], apply: rig }
protocols:
  - kv: { supply: 3 V }
  - efficiency-hold: { current: 1.4 A, hold: 1 s, use_last: 500 ms }
repeats: 1
between_runs: { cool_until: { motor_temperature: 35 °C, within: 5 min }, rest: 1 s, zero: 500 ms }
on_trip: { default: stop }
`;

interface Seen {
  readonly wanted: Readonly<Record<string, number | null>>;
  readonly protocol: string;
  readonly settings: { readonly switchingFrequency_Hz: number; readonly timingAdvance_deg: number };
  readonly propeller: boolean;
  readonly volts: number;
}

/** `maps`: what other runs left in it must not show in any record. */
async function campaign(seed: number, maps = new MapCache()): Promise<{ sums: string[]; seen: Seen[]; files: string[] }> {
  const folder = benchFolder({ rig: [['seed: 1 }', `seed: ${seed} }`]], files: { 'campaigns/small.yaml': SMALL } });
  const ready = prepareCampaign(path.join(folder, 'campaigns/small.yaml'));
  const records = CampaignFolder.start(path.join(folder, 'records'), ready);
  const world = new TwinWorld({ rig: ready.rig, article: ready.article, channels: ready.channels, maps, breathe: () => Promise.resolve(), now_ms: () => 0 });
  const seen: Seen[] = [];
  const reporter = {
    ...SILENT,
    runStarted: ({ index }: { readonly index: number }) => {
      const run = ready.plan.runs[index - 1];
      const { simulated } = world;
      seen.push({
        wanted: Object.fromEntries(Object.entries(run.setting.levels).map(([name, level]) => [name, level.value])), protocol: run.label,
        settings: { ...simulated.escSettings }, propeller: simulated.hasPropeller, volts: simulated.truth.voltage_V,
      });
    },
  };
  await world.connect();
  const end = await runCampaign({ ready, world, folder: records, requests: new Subject<OperatorRequest>(), reporter, operator: NOBODY, figures: () => ({ text: '', values: {} }) });
  records.close();
  expect(end).toMatchObject({ good: 8, planned: 8, stopped: null });
  const runs = path.join(end.folder, 'runs');
  const files = fs.readdirSync(runs).sort().map((name) => path.join(runs, name));
  return { seen, files, sums: files.map((f) => `${path.basename(f)} ${createHash('sha256').update(fs.readFileSync(f)).digest('hex')}`) };
}

const shared = new MapCache();
let first: ReturnType<typeof campaign>;
beforeAll(async () => {
  first = campaign(1, shared);
  await first;
});

describe('the same seed', () => {
  test('gives the same record to the byte, another seed another one', async () => {
    const [a, b, c] = [await playScene(HOLD, { seed: 5 }), await playScene(HOLD, { seed: 5 }), await playScene(HOLD, { seed: 6 })];
    expect(a.result.record.sha256).toBe(b.result.record.sha256);
    expect(c.result.record.sha256).not.toBe(a.result.record.sha256);
    expect(createHash('sha256').update(fs.readFileSync(a.result.record.path)).digest('hex')).toBe(a.result.record.sha256);
  });

  test('gives the same records in every run of a campaign, another seed other ones', async () => {
    const [a, b, c] = [await first, await campaign(1), await campaign(2, shared)];
    expect(a.sums).toHaveLength(8);
    expect(b.sums).toEqual(a.sums);
    expect(c.sums.filter((sum) => a.sums.includes(sum))).toEqual([]);
  });
});

describe('what a campaign asks of the rig', () => {
  test('is in force on the simulated rig when each run begins: settings, propeller, supply', async () => {
    const { seen } = await first;
    expect(seen).toHaveLength(8);
    for (const s of seen) {
      expect(s.settings.switchingFrequency_Hz).toBe(s.wanted.switching_frequency);
      expect(s.settings.timingAdvance_deg).toBe(s.wanted.timing_advance);
      expect(s.propeller).toBe(s.protocol !== 'kv');
      // A little below what is set: the ESC idles.
      expect(s.volts).toBeGreaterThan(s.protocol === 'kv' ? 2.98 : 7.5);
      expect(s.volts).toBeLessThan(s.protocol === 'kv' ? 3.01 : 7.61);
    }
    expect(new Set(seen.map((s) => `${s.protocol} ${s.settings.switchingFrequency_Hz} ${s.settings.timingAdvance_deg}`)).size).toBe(8);
  });

  test('is seen by the sensors, and the zeros before and after are zeros', async () => {
    const { files } = await first;
    for (const file of files) {
      const record = readRecord(file);
      const line = timelineOf(record)!;
      const starts = eventsOf(record, 'segment-started');
      const ends = eventsOf(record, 'segment-ended');
      expect([starts[0].segment.role, starts.at(-1)!.segment.role]).toEqual(['zero-before', 'zero-after']);
      for (const at of [0, starts.length - 1]) {
        const inside = [...line.tick_us.keys()].filter((i) => line.tick_us[i] > starts[at].tick_us + 50_000 && line.tick_us[i] < ends[at].tick_us);
        expect(inside.length).toBeGreaterThan(400);
        expect(inside.every((i) => line.throttle_frac[i] === 0)).toBe(true);
        const thrust = line.columns.get('thrust_N')!;
        const mean = inside.reduce((sum, i) => sum + thrust.si[i], 0) / inside.length;
        // The declared offset of the load cell and its drift, in a run that reaches a newton.
        expect(Math.abs(mean)).toBeLessThan(0.03);
      }
      const volts = line.columns.get('voltage_V')!.si[10];
      expect(Math.abs(volts - (file.includes('kv') ? 3 : 7.6))).toBeLessThan(0.1);
    }
  });
});
