// Speed and memory of the analysis: samples a second from MCAP to metrics on one core, memory over the runs, the demo campaign, a long record.
// Usage: npx tsx bench/analyze.ts [FOLDER | hour]. FOLDER: a campaign's records; without one a third of the demo campaign is played first.
// hour: one hour of eight channels at 8 kHz is written (some 700 MB in the temporary folder), analysed, and removed.
import fs from 'node:fs';
import os from 'node:os';
import path from 'node:path';
import { analyzeCampaign } from '../src/analysis/campaign/analyze';
import { runMetrics } from '../src/analysis/metrics/run-metrics';
import { campaignInputOnThreads } from '../src/app/campaign-input';
import { readRun } from '../src/app/record-run';
import { COLUMN_OF, type ChannelFact, type ChannelKind } from '../src/model/channel';
import type { SampleBlock } from '../src/model/sample';
import type { Segment } from '../src/model/segment';
import { openRecord } from '../src/record/file-writer';
import type { RunHeader } from '../src/record/header';
import { playCampaign } from '../tests/analysis/honesty-kit';

const temporary = fs.mkdtempSync(path.join(os.tmpdir(), 'spoolbench-analyze-'));
const cpu_s = (): number => { const { user, system } = process.cpuUsage(); return (user + system) / 1e6; };
const resident_MB = (): string => (process.memoryUsage().rss / 1e6).toFixed(0);

/** New and possible samples that a record gave. */
function metricsOf(file: string): { readonly samples: number; readonly rows: number; readonly found: number } {
  const data = readRun(file).data();
  const { metrics } = runMetrics(data);
  return { samples: data.channels.reduce((n, c) => n + c.value.length * (data.block ?? 1), 0), rows: data.rows, found: metrics.filter((m) => m.value !== null).length };
}

async function campaign(folder: string): Promise<void> {
  const files = fs.readdirSync(path.join(folder, 'runs')).filter((f) => f.endsWith('.mcap')).map((f) => path.join(folder, 'runs', f));
  const once = (): { samples: number; rows: number } => files.reduce((sum, f) => { const { samples, rows } = metricsOf(f); return { samples: sum.samples + samples, rows: sum.rows + rows }; }, { samples: 0, rows: 0 });
  once(); // the compiler has seen everything
  const began = cpu_s();
  const { samples, rows } = once();
  const took = cpu_s() - began;
  console.log(`decode and all metrics: ${(samples / took / 1e6).toFixed(1)} M samples/s a core (${files.length} runs, ${(rows / 1e6).toFixed(2)} M rows, ${(samples / 1e6).toFixed(1)} M samples, ${took.toFixed(2)} s of processor time)`);
  const seen: string[] = [];
  files.forEach((f, i) => {
    metricsOf(f);
    if (i % Math.ceil(files.length / 6) === 0) { globalThis.gc?.(); seen.push(resident_MB()); }
  });
  console.log(`resident memory over ${files.length} runs, one at a time: ${seen.join(', ')} MB`);
  const start = performance.now();
  const used = cpu_s();
  const results = analyzeCampaign(await campaignInputOnThreads(folder));
  console.log(`campaign analysed: ${((performance.now() - start) / 1000).toFixed(2)} s on ${os.availableParallelism()} cores, ${(cpu_s() - used).toFixed(2)} s of processor time (${results.runs.length} runs, ${results.metrics.length} metrics)`);
}

const RATE_HZ = 8000;
const kinds: ChannelKind[] = ['current', 'voltage', 'speed', 'thrust', 'motor_temperature', 'esc_temperature', 'torque', 'torque'];

/** An hour of constant power with every channel at the row rate: the hard case. */
function hourRecord(file: string, seconds: number): void {
  const scale: Partial<Record<ChannelKind, number>> = { current: 0.001, voltage: 0.001, speed: 10, thrust: 0.0005, motor_temperature: 0.01, esc_temperature: 0.01, torque: 1e-6 };
  const header: RunHeader = {
    format: 1, record_id: 'hour', simulated: true, protocol: { name: 'soak', parameters: {} }, settings: {}, supply: null, rig: {}, article: {}, craft: null, calibration: null, campaign: null,
    limits: {}, mounting: null, environment: null, versions: { spoolbench: '0', wire: 1, controller: '' }, seed: 1, epoch_us: 0, row_period_us: 1e6 / RATE_HZ,
    channels: kinds.map((kind, id): ChannelFact => ({
      id, kind, column: id < 7 ? COLUMN_OF[kind] : 'torque_2_Nm', period_us: 1e6 / RATE_HZ, conversion: { law: 'linear', zero: 0, c0: 0, c1: scale[kind] ?? 1, c2: 0 },
      u_gain: 0.001, u_offset: 0, filter_Hz: 1600, averaged: 8, placement: null,
    })),
  };
  const level = [1500, 7600, 2000, 900, 4000, 3000, 9000, 9000];
  const log = openRecord(file, header, [], { sync: 'never' });
  const segment: Segment = { kind: 'hold-power', target_W: 11.4, duration_s: seconds, label: 'soak', role: 'soak' };
  log.event({ type: 'segment-started', tick_us: 0, ordinal: 1, segment, throttle: 0.5 });
  const rows = 400;
  let noise = 1;
  for (let at = 0; at < seconds * RATE_HZ; at += rows) {
    const warm = 1 - Math.exp(-at / RATE_HZ / 600);
    const block: SampleBlock = {
      rows, tick_us: Float64Array.from({ length: rows }, (_, i) => ((at + i) * 1e6) / RATE_HZ), throttle: new Uint16Array(rows).fill(5000), state: new Uint8Array(rows).fill(2), ordinal: new Uint16Array(rows).fill(1),
      fresh: new Uint8Array(rows).fill(0xff), valid: new Uint8Array(rows).fill(0xff),
      counts: level.map((v, k) => Int32Array.from({ length: rows }, () => { noise = (Math.imul(noise, 1664525) + 1013904223) >>> 0; return v + (noise >>> 28) + (k === 4 ? Math.round(4000 * warm) : 0); })),
    };
    log.block(block);
  }
  log.event({ type: 'segment-ended', tick_us: seconds * 1e6, ordinal: 1, why: 'time' });
  log.outcome({ outcome: 'done', stop_confirmed: true, trip: null, also: [], segments_played: 1, desyncs: 0, closest: [], detail: '' });
  log.close();
}

const asked = process.argv[2];
if (asked === 'hour') {
  const file = path.join(temporary, 'hour.mcap');
  hourRecord(file, 3600);
  console.log(`one hour, eight channels at ${RATE_HZ / 1000} kHz: ${(fs.statSync(file).size / 1e6).toFixed(0)} MB written; resident then ${resident_MB()} MB`);
  const began = cpu_s();
  const { samples, found } = metricsOf(file);
  console.log(`analysed in ${(cpu_s() - began).toFixed(1)} s of processor time: ${(samples / 1e6).toFixed(0)} M samples, ${found} metrics; highest resident memory of the process ${(process.resourceUsage().maxRSS / 1024).toFixed(0)} MB`);
} else {
  const levels = { switching_frequency: '22 kHz, 44 kHz', timing_advance: '8 deg, 16 deg' };
  await campaign(asked ?? (await playCampaign(temporary, { protocols: ['kv: { supply: 3 V }', 'thrust-curve', 'response', 'efficiency-hold: { current: 1.4 A }'], repeats: 5, factors: levels })).campaign);
}
fs.rmSync(temporary, { recursive: true });
