// Goal: what a Firmata rig cannot do is refused before anything is touched, with file, line, key and the reason.
// Method: the example rig with one thing changed at a time; the refusal as a person reads it.
import { readFileSync, mkdtempSync, rmSync, writeFileSync, mkdirSync } from 'node:fs';
import os from 'node:os';
import path from 'node:path';
import { afterAll, describe, expect, test } from 'vitest';
import { prepareCampaign } from '../../src/app/prepare';
import { BadInput } from '../../src/app/errors';
import { planFile } from '../../src/app/plan-file';
import { firmataAbilities } from '../../src/model/firmata-abilities';

const EXAMPLE = path.resolve(import.meta.dirname, '../../demo/firmata-bench');
const made: string[] = [];
afterAll(() => { for (const folder of made) rmSync(folder, { recursive: true, force: true }); });

type Edits = readonly (readonly [string, string])[];

function folderWith(edits: Edits, files: Readonly<Record<string, string>> = {}): string {
  const folder = mkdtempSync(path.join(os.tmpdir(), 'spoolbench-refusals-'));
  made.push(folder);
  const rig = edits.reduce((text, [from, to]) => {
    if (!text.includes(from)) throw new Error(`the example no longer says "${from}"`);
    return text.replace(from, () => to);
  }, readFileSync(path.join(EXAMPLE, 'rig.yaml'), 'utf8'));
  writeFileSync(path.join(folder, 'rig.yaml'), rig);
  writeFileSync(path.join(folder, 'article.yaml'), readFileSync(path.join(EXAMPLE, 'article.yaml')));
  for (const [name, text] of Object.entries(files)) {
    mkdirSync(path.dirname(path.join(folder, name)), { recursive: true });
    writeFileSync(path.join(folder, name), text);
  }
  return folder;
}

function refusals(target: string, edits: Edits = [], files: Readonly<Record<string, string>> = {}): readonly string[] {
  const folder = folderWith(edits, files);
  try {
    prepareCampaign(target.includes('/') ? path.join(folder, target) : target, { bench: folder });
    return [];
  } catch (error) {
    if (error instanceof BadInput) return error.lines.map((line) => line.replace(/\S*spoolbench-refusals-[^/]*\//g, ''));
    throw error;
  }
}

describe('protocols', () => {
  test.each(['thrust-curve', 'staircase', 'efficiency-hold', 'soak'])('%s is allowed', (name) => {
    expect(refusals(name)).toEqual([]);
  });

  test.each([['response', '500 Hz'], ['spin-up', '200 Hz']])('%s is refused although there is a tachometer: reports and pulses are too slow', (name, rate) => {
    const lines = refusals(name);
    expect(lines.join('\n')).toContain(`${name} needs ${rate} of rows, `);
    expect(lines.join('\n')).toContain('a Firmata board reports 100 times a second and its throttle changes every 20 ms at most, whatever measures the speed');
    // No key of the rig file would help, and none is offered.
    expect(lines.join('\n')).toContain('accepted: a board that speaks our wire (link.kind: serial); a Firmata board gives 100 Hz at most');
    expect(lines.join('\n')).not.toMatch(/accepted: (row_rate|channels\.speed\.period)/);
  });

  const SPEED = / {2}speed:\n(?: {4}.*\n)+/.exec(readFileSync(path.join(EXAMPLE, 'rig.yaml'), 'utf8'))?.[0] ?? '';
  const NO_SPEED: Edits = [[SPEED, ''], ['  speed: { above: 38000 rpm, for: 50 ms }\n', ''], ['  stall: { current: 3 A, for: 300 ms }\n', '']];
  test.each(['kv', 'thrust-curve', 'staircase', 'efficiency-hold', 'soak'])('%s is refused without a speed channel, by name', (name) => {
    expect(refusals(name, NO_SPEED).join('\n')).toContain(`${name} needs the channel speed, which `);
  });

  test('a protocol that needs no speed plays without the channel', () => {
    const own = { 'protocols/warm.yaml': 'spoolbench: 1\nprotocol: warm\nneeds: { propeller: any, channels: [current] }\nsegments:\n  - level: { throttle: 20 %, for: 1 s }\n' };
    expect(refusals('protocols/warm.yaml', NO_SPEED, own)).toEqual([]);
  });
});

describe('unattended', () => {
  const campaign = (repeats: number): Record<string, string> => ({ 'campaigns/c.yaml': `spoolbench: 1\ncampaign: c\nrig: ../rig.yaml\narticle: ../article.yaml\nprotocols:\n  - thrust-curve\nrepeats: ${repeats}\n` });
  test('a campaign of several runs is refused at cut_off', () => {
    const lines = refusals('campaigns/c.yaml', [], campaign(2));
    expect(lines).toHaveLength(1);
    expect(lines[0]).toMatch(/^rig\.yaml:\d+:1 cut_off: a campaign of 2 runs on a Firmata board, and nothing cuts the power when this computer fails: such a board has no watchdog; accepted: cut_off: \{ kind: contactor/);
  });
  test('one run, or a declared cut-off, is not', () => {
    expect(refusals('campaigns/c.yaml', [], campaign(1))).toEqual([]);
    expect(refusals('campaigns/c.yaml', [['cut_off: { kind: none }', 'cut_off: { kind: contactor, note: relay }']], campaign(2))).toEqual([]);
  });
  test('abilities say so, and that core and judge are one layer', () => {
    const folder = folderWith([]);
    const { rig } = prepareCampaign('thrust-curve', { bench: folder });
    const abilities = firmataAbilities(rig);
    expect(abilities).toMatchObject({ reports_Hz: 100, pulse_frame_s: 0.02, hasSpeed: true, unattended: false });
    expect(abilities?.cautions.join(' ')).toMatch(/count as one stopping layer.*no watchdog.*one attended run at a time/);
  });
});

describe('the rig file', () => {
  const MONITOR = 'source: { kind: power-monitor, part: ina226, address: 64, shunt: 2 mohm }';
  test.each<[string, Edits, RegExp]>([
    ['a tick that is too fast', [['tick: 10 ms', 'tick: 9 ms'], ['row_rate: 100 Hz', 'row_rate: 111.111111 Hz']], /^rig\.yaml:\d+:\d+ tick: a Firmata board takes samples every 10 ms at best/],
    ['another throttle signal', [['signal: servo-pulse', 'signal: digital-frame']], /throttle\.signal: a Firmata board gives servo pulses, not digital-frame/],
    ['a pulse that would be an angle', [['stop_pulse: 1000 us', 'stop_pulse: 543 us']], /throttle\.stop_pulse: a Firmata board takes 543 us for an angle; accepted: at least 544 us/],
    ['half microseconds', [['full_pulse: 2000 us', 'full_pulse: 1999.5 us']], /throttle\.full_pulse: a Firmata board takes whole microseconds/],
    ['a stop input on the throttle pin', [['stop_input: { pin: 2', 'stop_input: { pin: 9']], /link\.stop_input\.pin: is the throttle pin/],
    ['a shunt that does not fit the gain', [[MONITOR, MONITOR.replace('2 mohm', '20 mohm')]], /channels\.current\.gain: a count of the ina226 over 20 mohm is 125 uA, not 1\.25 mA/],
    ['one part with two shunts', [[MONITOR, MONITOR.replace('2 mohm', '2.05 mohm')]], /channels\.voltage\.source\.shunt: the same part has 2\.05 mohm for current/],
    ['averages that the part does not have', [['averages: 4', 'averages: 5']], /channels\.current\.averages: the ina226 cannot average 5 conversions in 10 ms; accepted: 1 \| 4 \| 16/],
    ['more readings than a period has', [['averages: 10', 'averages: 11']], /channels\.motor_temperature\.averages: 11 readings do not fit into one period; accepted: at most 10/],
    ['a thermocouple for a force', [['amplifier: 128 }', 'amplifier: 128, element: { kind: type-k, cold_junction: 23 °C } }']], /channels\.thrust\.source\.element: a type-k measures a temperature, not thrust/],
    ['a Pt100 on a converter that measures against its supply', [['{ kind: thermistor, input: 0, resistance_25: 10 kohm, beta: 3950 K, series: 10 kohm }', '{ kind: converter, part: nau7802, address: 43, amplifier: 8, element: { kind: pt100, feed: 1 mA } }']], /channels\.motor_temperature\.source\.part: what a count of the nau7802 is worth.*ads1115/],
    ['a converter with a clock of its own', [['part: nau7802', 'part: hx711']], /channels\.thrust\.source\.part: "hx711" is not known here; accepted: nau7802 \| ads1115/],
    ['a shunt of nothing', [[MONITOR, MONITOR.replace('2 mohm', '0 mohm')]], /channels\.current\.source\.shunt: "0 mohm" is not more than 0 ohm; accepted: a resistance such as 2 mohm/],
    ['a shunt in another unit', [[MONITOR, MONITOR.replace('2 mohm', '2 mA')]], /channels\.current\.source\.shunt: "2 mA" is a current, not a resistance/],
    ['no pole pairs', [['pole_pairs: 6', 'pole_pairs: 0']], /channels\.speed\.pole_pairs: 0 is less than 1; accepted: a whole number 1 \.\. 100/],
    ['half a pole pair', [['pole_pairs: 6', 'pole_pairs: 6.5']], /channels\.speed\.pole_pairs: 6\.5 .*accepted: a whole number 1 \.\. 100/],
    ['pole pairs of another motor', [['pole_pairs: 6', 'pole_pairs: 7']], /channels\.speed\.pole_pairs: 7 pole pairs here, 6 in article\.yaml: every speed would be wrong by their ratio; accepted: 6/],
    ['two channels on one input', [['{ kind: thermistor, input: 1,', '{ kind: thermistor, input: 0,']], /channels\.esc_temperature\.source\.input: input 0 already serves motor_temperature/],
    ['an input that carries the bus', [['{ kind: thermistor, input: 1,', '{ kind: thermistor, input: 5,']], /input 5 carries the I2C bus/],
    ['two parts at one address', [['part: nau7802, address: 42', 'part: nau7802, address: 64']], /channels\.thrust\.source\.address: address of the part that measures voltage/],
    ['a gain that the converter lacks', [['amplifier: 128', 'amplifier: 3']], /the nau7802 has no gain of 3/],
    ['a tachometer with pulses', [['{ kind: analog-tachometer, input: 2, per_count: 45 rpm }', '{ kind: tachometer, input: 3, pulses_per_turn: 2 }']], /channels\.speed\.source: a Firmata board cannot read speed from tachometer: its pulses come faster than it can report/],
    ['telemetry of the ESC', [['{ kind: analog-tachometer, input: 2, per_count: 45 rpm }', 'esc-telemetry']], /cannot read speed from esc-telemetry/],
    ['a limit beyond the shunt', [['current_peak: { above: 38 A', 'current_peak: { above: 41 A']], /limits\.current_peak\.above: 41 A is outside what the current channel can show, so it would never trip/],
    ['a period between two samples', [['period: 100 ms\n    source: { kind: thermistor, input: 0', 'period: 105 ms\n    source: { kind: thermistor, input: 0']], /channels\.motor_temperature\.period: the board takes a sample every 10 ms/],
    ['a slow line', [['throttle_pin: 9', 'throttle_pin: 9\n  baud: 38400']], /channels: one round of reports is 44 bytes; in 10 ms the line carries 30/],
    ['a supply that switches nothing', [['cut_off: { kind: none }', 'cut_off: { kind: supply-output }']], /cut_off\.kind: a manual supply switches nothing off by itself/],
    ['a longer wake-up than an opening may take', [['boot_wait: 3 s', 'boot_wait: 6.1 s']], /throttle\.boot_wait: longer than the opening of a board may take, 6 s/],
  ])('%s', (_, edits, message) => {
    const lines = refusals('thrust-curve', edits);
    expect(lines.some((line) => message.test(line)), lines.join('\n')).toBe(true);
    for (const line of lines) expect(line).toMatch(/^rig\.yaml:\d+:\d+ /);
  });
});

test('a plan says what a person must know of such a board, and nothing of the kind for other rigs', async () => {
  const { cautions } = await planFile('staircase', { bench: EXAMPLE });
  expect(cautions.join(' ')).toMatch(/one stopping layer.*no watchdog.*one attended run at a time/);
  expect((await planFile('staircase', { bench: path.resolve(EXAMPLE, '../bench') })).cautions).toEqual([]);
});
