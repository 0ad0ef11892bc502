// Goal: every built-in protocol and the demo's own one runs to its end on both simulated drives, at 1 kHz and at 8 kHz rows.
// Method: whole runs in virtual time from the demo's files or from those of a one-cell class; the record must hold every planned segment.
import { afterAll, describe, expect, test } from 'vitest';
import { cleanUp, eventsOf, play, type PlayOptions } from './kit';

afterAll(cleanUp);

/** SIMULATED one-cell bench around the twin's tiny class. */
const TINY: Readonly<Record<string, string>> = {
  'rig.yaml': `spoolbench: 1
rig: tiny-stand
link: { kind: twin, twin: tiny, seed: 3 }
tick: 1 ms
row_rate: 1 kHz
voltage_at: esc
lead_resistance: 4 mohm
sink: { kind: battery, holds: 4.6 V }
supply: { kind: twin, voltage: 4 V, current_limit: 10 A, range: 1 V .. 6 V }
channels:
  current: { period: 1 ms, gain: 0.625 mA, zero: 32768, filter: 1.6 kHz, averages: 8, u_gain: 0.3 %, u_offset: 4 mA, placement: ESC supply lead }
  voltage: { period: 1 ms, gain: 0.15625 mV, filter: 1.6 kHz, averages: 8, u_gain: 0.1 %, u_offset: 2 mV }
  speed: { period: 1 ms, source: esc-telemetry, gain: 1 us, pole_pairs: 6, u_gain: 0.02 % }
  thrust: { period: 12.5 ms, gain: 0.0001 N, zero: 100000, u_gain: 0.3 %, u_offset: 0.001 N, natural_frequency: 140 Hz }
  motor_temperature: { period: 100 ms, gain: 0.0625 K, u_offset: 1 K, placement: motor case }
  esc_temperature: { period: 100 ms, gain: 0.0625 K, u_offset: 1 K }
limits:
  current_peak: { above: 16 A, for: 5 ms }
  current_mean: { above: 5 A, over: 500 ms }
  voltage_high: { above: 5 V, for: 3 ms }
  motor_temperature: { above: 90 °C, for: 500 ms }
  esc_temperature: { above: 95 °C, for: 500 ms }
  speed: { above: 85000 rpm, for: 20 ms }
  thrust: { above: 60 gf, for: 100 ms }
  stall: { current: 2 A, for: 300 ms }
  desync: { sustained: 200 ms, count: 40 }
  supply_sag: { below: 75 %, for: 50 ms }
  sensor_frozen: 250 ms
  longest_run: 10 min
  mismatch: { thrust: 50 %, for: 500 ms }
  stop: { current: 300 mA, speed: 3000 rpm, within: 4 s }
`,
  'article.yaml': `spoolbench: 1
article: tiny
motor: { name: tiny, specimen: A, kv: 21000 rpm/V, pole_pairs: 6, resistance: 300 mohm, max_current: 5 A }
propeller: { name: small, specimen: A, diameter: 37 mm, pitch: 20 mm, blades: 3, mounted: on }
esc: { name: tiny-esc, specimen: A, settings: { switching_frequency: 48 kHz, timing_advance: 15 deg } }
mounting: { name: first, note: simulated }
nominal_voltage: 4 V
hover_thrust: 9 gf
`,
};

/**
 * The demo's rig with a tick of 125 µs and a row each tick; current and voltage convert once a tick. A frozen current cannot
 * be told then: the board looks at 256 samples at most, 32 ms, in which a load cell may honestly stand still.
 */
const FAST: PlayOptions['rig'] = [
  ['tick: 1 ms', 'tick: 125 us'], ['row_rate: 1 kHz', 'row_rate: 8 kHz'], ['  sensor_frozen: 250 ms\n', ''],
  ['current: { period: 1 ms, gain: 1.25 mA, zero: 32768, filter: 1.6 kHz, averages: 8', 'current: { period: 125 us, gain: 10 mA, zero: 4096, filter: 1.6 kHz, averages: 1'],
  ['voltage: { period: 1 ms, gain: 0.15625 mV, filter: 1.6 kHz, averages: 8', 'voltage: { period: 125 us, gain: 1.25 mV, filter: 1.6 kHz, averages: 1'],
];

interface Case {
  readonly target: string;
  readonly set: readonly string[];
  readonly bare?: true;
}

/** Shortened where the default takes minutes; the efficiency-hold targets are given for the scout and the tiny drive. */
const cases = (hold: { readonly current: string; readonly power: string; readonly speed: string; readonly kv: string }): readonly Case[] => [
  { target: 'kv', set: [`supply=${hold.kv}`], bare: true },
  { target: 'thrust-curve', set: [] },
  { target: 'staircase', set: ['levels=5', 'dwell=800 ms', 'discard=500 ms'] },
  { target: 'response', set: [] },
  { target: 'efficiency-hold', set: [`current=${hold.current}`] },
  { target: 'efficiency-hold', set: [`power=${hold.power}`] },
  { target: 'efficiency-hold', set: [`speed=${hold.speed}`] },
  { target: 'spin-up', set: ['starts=6'] },
  { target: 'soak', set: ['hold=60 s', 'cool=2 s'] },
];

async function expectDone({ target, set, bare }: Case, options: PlayOptions): Promise<void> {
  const article = bare === true ? [['mounted: on', 'mounted: off'] as const] : [];
  const files = Object.fromEntries(Object.entries(options.files ?? {}).map(([name, text]) => [name, bare === true ? text.replace('mounted: on', 'mounted: off') : text]));
  const played = await play(target, { ...options, files, set, ...(options.files === undefined ? { article } : {}), zero_s: 0.3 });
  const { outcome } = played.result;
  expect(outcome.outcome, outcome.detail).toBe('done');
  expect(outcome).toMatchObject({ trip: null, also: [], stop_confirmed: true });
  expect(played.record.end).toMatchObject({ status: 'complete', has_outcome: true });
  const started = eventsOf(played.record, 'segment-started');
  expect(started.map((e) => e.ordinal)).toEqual(started.map((_, i) => i + 1));
  expect(outcome.segments_played).toBe(started.length);
  expect(started[0].segment.role).toBe('zero-before');
  expect(started.at(-1)?.segment.role).toBe('zero-after');
  // Every row from the first to the last, one a tick of the row rate.
  const { tick_us, throttle_frac } = played.line;
  const period_us = 1e6 / played.ready.rig.row_rate_Hz;
  const from = tick_us.findIndex((t) => t >= started[0].tick_us);
  const holes = tick_us.findIndex((t, i) => i > from && t - tick_us[i - 1] !== period_us);
  expect(holes, `a gap after ${tick_us[holes - 1]} µs`).toBe(-1);
  expect(throttle_frac.some((t) => t > 0.05)).toBe(true);
}

describe('on the demo bench, rows at 1 kHz', () => {
  test.each(cases({ current: '1.4 A', power: '8 W', speed: '17000 rpm', kv: '3 V' }))('$target $set', (c) => expectDone(c, {}));

  test('the protocol written in YAML', () => expectDone({ target: 'protocols/stair-and-brake.yaml', set: [] }, {}));
});

describe('on the one-cell bench', () => {
  test.each(cases({ current: '0.9 A', power: '3 W', speed: '38000 rpm', kv: '1.5 V' }))('$target $set', (c) => expectDone(c, { files: TINY }));
});

describe('on the demo bench, ticks and rows at 8 kHz', () => {
  const fast = cases({ current: '1.4 A', power: '8 W', speed: '17000 rpm', kv: '3 V' }).filter((c) => c.target !== 'soak' && c.target !== 'response');
  test.each(fast)('$target $set', (c) => expectDone(c, { rig: FAST }));

  test('response, with half the dwell', () => expectDone({ target: 'response', set: ['dwell=250 ms'] }, { rig: FAST }));
});
