// Goal: the protocols that a Firmata rig allows play on it and measure what is true.
// Method: short runs on the emulated board with the simulated drive; figures of the record beside the truth of the simulation.
import { afterAll, describe, expect, test, vi } from 'vitest';
import { runDataOf } from '../../src/app/run-data';
import { between, channelOf, withRole, type RunData } from '../../src/analysis/run-data';
import type { ChannelKind } from '../../src/model/channel';
import { summarize } from '../../src/record/summary';
import { boardImage } from './image';
import type { TruePoint } from './drive-end';
import { cleanUp, EVERY_20_MS, playEmulated, type BenchOptions, type EmulatedRun } from './world';

const image = boardImage();
const flash = 'flash' in image ? image.flash : new Uint16Array(0);
const QUICK = ['boot_wait: 3 s', 'boot_wait: 1.2 s'] as const;

// A minute on a quiet machine is several on one that is busy; nothing here is measured in real time.
vi.setConfig({ testTimeout: 600_000 });
afterAll(cleanUp);

async function play(protocol: string, set: readonly string[], options: BenchOptions = {}): Promise<{ run: EmulatedRun; data: RunData }> {
  const run = await playEmulated(flash, protocol, set, { ...options, rig: [QUICK, ...(options.rig ?? [])] });
  expect(run.result.outcome).toMatchObject({ outcome: 'done', stop_confirmed: true, trip: null });
  expect(run.record.header?.simulated).toBe(true);
  return { run, data: runDataOf(run.record) };
}

const mean = (values: readonly number[]): number => values.reduce((sum, x) => sum + x, 0) / values.length;

/** Measured and true mean in a span of a run, s from its first row. */
function means(run: EmulatedRun, data: RunData, kind: ChannelKind & keyof TruePoint, from_s: number, to_s: number): { readonly measured: number; readonly truth: number } {
  const channel = channelOf(data, kind);
  if (channel === null) throw new Error(`no ${kind}`);
  const measured = [...between(channel, from_s, to_s).value];
  const start_us = run.bench.origin_us + data.origin_us;
  const truth = run.bench.drive.line.filter((p) => p.at_us >= start_us + from_s * 1e6 && p.at_us < start_us + to_s * 1e6).map((p) => p[kind]);
  expect(measured.length).toBeGreaterThan(20);
  return { measured: mean(measured), truth: mean(truth) };
}

function expectTrue(run: EmulatedRun, data: RunData, from_s: number, to_s: number, kinds: readonly (ChannelKind & keyof TruePoint)[]): void {
  for (const kind of kinds) {
    const { measured, truth } = means(run, data, kind, from_s, to_s);
    const r = measured / truth;
    expect(r, kind).toBeGreaterThan(0.99);
    expect(r, kind).toBeLessThan(1.01);
  }
}

const last = (values: Float64Array): number => values[values.length - 1];
/** The example's channels on the other parts that a rig file can name. */
const OTHER_PARTS = [
  ['source: { kind: power-monitor, part: ina226, address: 64, shunt: 2 mohm }\n    gain: 1.25 mA          # 2.5 uV a count over 2 mohm\n    averages: 4', 'source: { kind: power-monitor, part: ina219, address: 65, shunt: 2 mohm }\n    gain: 5 mA\n    averages: 8'],
  ['source: { kind: power-monitor, part: ina226, address: 64, shunt: 2 mohm }\n    gain: 1.25 mV\n    averages: 4', 'source: { kind: power-monitor, part: ina219, address: 65, shunt: 2 mohm }\n    gain: 4 mV\n    averages: 8'],
  // 62.5 µV a count of ±2.048 V, 0.1 V/N.
  ['source: { kind: converter, part: nau7802, address: 42, amplifier: 128 }\n    gain: 0.00001 N', 'source: { kind: converter, part: ads1115, address: 72, input: 0, against: 1, amplifier: 2 }\n    gain: 0.000625 N'],
  ['source: { kind: thermistor, input: 0, resistance_25: 10 kohm, beta: 3950 K, series: 10 kohm }', 'source: { kind: converter, part: ads1115, address: 73, input: 0, against: 1, amplifier: 16, element: { kind: type-k, cold_junction: 25 °C } }'],
  ['source: { kind: thermistor, input: 1, resistance_25: 10 kohm, beta: 3950 K, series: 10 kohm }', 'source: { kind: converter, part: ads1115, address: 74, input: 0, against: 1, amplifier: 8, element: { kind: pt100, feed: 1 mA } }'],
  // More parts on the bus make the round of reports too long for 10 ms.
  ...EVERY_20_MS,
] as const;

/** The bus by a divider of 3 on input 3, the current by 0.1 V/A on input 1, which the ESC's thermistor leaves. */
const ANALOGUE = [
  ['source: { kind: power-monitor, part: ina226, address: 64, shunt: 2 mohm }\n    gain: 1.25 mA          # 2.5 uV a count over 2 mohm\n    averages: 4', 'source: { kind: analog, input: 1 }\n    gain: 48.828125 mA\n    averages: 1'],
  ['source: { kind: power-monitor, part: ina226, address: 64, shunt: 2 mohm }\n    gain: 1.25 mV\n    averages: 4', 'source: { kind: analog, input: 3 }\n    gain: 14.6484375 mV\n    averages: 1'],
  ['  esc_temperature:\n    period: 100 ms\n    source: { kind: thermistor, input: 1, resistance_25: 10 kohm, beta: 3950 K, series: 10 kohm }\n    gain: 0.05 K\n    averages: 10\n    u_offset: 1 K\n    placement: ESC board\n', ''],
  ['  esc_temperature: { above: 95 °C, for: 500 ms }\n', ''],
] as const;

describe.runIf('flash' in image)('on the emulated board', () => {
  test('thrust-curve: full throttle within 1 % of the truth; the record tells the rates that were reached', async () => {
    const { run, data } = await play('thrust-curve', ['low_for=0.5 s', 'ramp=2 s', 'plateau=1 s']);
    const [plateau] = withRole(data, 'plateau');
    expectTrue(run, data, plateau.start_s + 0.4, plateau.start_s + 0.9, ['speed', 'thrust', 'current', 'voltage']);
    const summary = summarize(run.record, '');
    expect(summary.row_rate_Hz).toBeCloseTo(100, 0);
    const rates = Object.fromEntries(summary.channels.map((c) => [c.column, c.rate_Hz ?? 0]));
    for (const column of ['current_A', 'voltage_V', 'thrust_N', 'speed_rpm']) expect(Math.abs(rates[column] - 100), column).toBeLessThan(10);
    expect(rates.motor_degC).toBeCloseTo(10, 0);
  });

  test('staircase: every level within 1 %', async () => {
    const { run, data } = await play('staircase', ['levels=3', 'low=30 %', 'high=80 %', 'dwell=1 s', 'discard=0.5 s']);
    const levels = withRole(data, 'level');
    expect(levels).toHaveLength(3);
    for (const { end_s } of levels) expectTrue(run, data, end_s - 0.5, end_s, ['speed', 'thrust', 'current', 'voltage']);
  });

  test('efficiency-hold: the loop holds its current although it acts 100 times a second through 20 ms pulse frames', async () => {
    const { run, data } = await play('efficiency-hold', ['current=1.4 A', 'hold=3 s', 'use_last=1 s']);
    const [hold] = data.segments.filter((s) => s.segment.kind === 'hold-current');
    expectTrue(run, data, hold.end_s - 1, hold.end_s, ['speed', 'thrust', 'current']);
    const current = channelOf(data, 'current');
    const held = [...between(current ?? { t_s: new Float64Array(0), value: new Float64Array(0) }, hold.end_s - 1, hold.end_s).value];
    expect(mean(held)).toBeGreaterThan(1.4 * 0.99);
    expect(mean(held)).toBeLessThan(1.4 * 1.01);
  });

  test('INA219, three ADS1115, a type K thermocouple and a Pt100 in place of INA226, NAU7802 and thermistors: a staircase as true as theirs', async () => {
    const { run, data } = await play('staircase', ['levels=2', 'low=50 %', 'high=80 %', 'dwell=1 s', 'discard=0.5 s'], { rig: OTHER_PARTS });
    const levels = withRole(data, 'level');
    expect(levels).toHaveLength(2);
    for (const { end_s } of levels) expectTrue(run, data, end_s - 0.5, end_s, ['speed', 'thrust', 'current', 'voltage']);
    const [motor, esc] = [channelOf(data, 'motor_temperature'), channelOf(data, 'esc_temperature')];
    if (motor === null || esc === null) throw new Error('no temperature');
    const { case_degC, esc_degC } = run.bench.drive.sim.truth;
    expect(Math.abs(last(motor.value) - case_degC)).toBeLessThan(1);
    expect(Math.abs(last(esc.value) - esc_degC)).toBeLessThan(0.3);
  });

  test('a divider and a shunt amplifier on analogue inputs in place of the power monitor: each level within a count of the truth', async () => {
    const { run, data } = await play('staircase', ['levels=2', 'low=50 %', 'high=80 %', 'dwell=1 s', 'discard=0.5 s'], { rig: ANALOGUE });
    for (const { end_s } of withRole(data, 'level')) {
      expectTrue(run, data, end_s - 0.5, end_s, ['speed', 'thrust']);
      for (const [kind, count] of [['voltage', (3 * 5) / 1024], ['current', 5 / 1024 / 0.1]] as const) {
        const { measured, truth } = means(run, data, kind, end_s - 0.5, end_s);
        expect(Math.abs(measured - truth), kind).toBeLessThan(count);
      }
    }
  });

  test('kv: without a propeller at 3 V set by hand', async () => {
    const { run, data } = await play('kv', ['rise=1 s'], {
      rig: [['voltage: 7.6 V, current_limit', 'voltage: 3 V, current_limit']], article: [['mounted: on', 'mounted: off'], ['nominal_voltage: 7.6 V', 'nominal_voltage: 3 V']],
    });
    const [plateau] = withRole(data, 'plateau');
    expectTrue(run, data, plateau.start_s + 0.4, plateau.start_s + 0.9, ['speed', 'current', 'voltage']);
  });
});
