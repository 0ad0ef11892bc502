// Goal: whatever is wrong with a file is said at its line and column, all of it at once, with what is accepted.
// Method: good example files with pieces replaced; the printed problems are compared whole.
import { describe, expect, test } from 'vitest';
import { loadFile, checkPart } from '../../src/model/load';
import { quantity, object } from '../../src/model/fields';
import type { FileKind } from '../../src/model/files';
import { nearest, sortProblems } from '../../src/model/problem';
import { readYaml } from '../../src/model/yaml-source';
import { fixture, loaded, said, type Edit } from './helpers';

const problems = (kind: FileKind, ...edits: Edit[]): string[] => said(loaded(kind, ...edits).problems);

describe('one wrong thing in a rig file', () => {
  test.each<[string, Edit, string]>([
    ['a bare number', ['tick: 1 ms', 'tick: 1'], 'rig.yaml:6:7 tick: 1 has no unit; accepted: a time such as 1 ms (units s, ms, us, min, h, d), 125 us .. 20 ms'],
    ['a misspelt unit', ['row_rate: 1 kHz', 'row_rate: 1 khz'], 'rig.yaml:7:11 row_rate: "khz" is not a unit known here; did you mean 1 kHz?; accepted: a frequency such as 1 kHz (units Hz, kHz, MHz), 1 Hz .. 8 kHz'],
    ['another dimension', ['above: 40 A', 'above: 40 V'], 'rig.yaml:20:26 limits.current_peak.above: "40 V" is a voltage, not a current; accepted: a current such as 40 A (units A, mA, uA)'],
    ['grams for a force', ['above: 250 gf', 'above: 250 g'], 'rig.yaml:27:20 limits.thrust.above: "250 g" is a mass, not a force; did you mean 250 gf?; accepted: a force such as 250 gf (units N, mN, gf, kgf)'],
    ['too small a value', ['tick: 1 ms', 'tick: 124 us'], 'rig.yaml:6:7 tick: "124 us" is less than 125 us; accepted: a time such as 1 ms (units s, ms, us, min, h, d), 125 us .. 20 ms'],
    ['too large a value', ['throttle_cap: 100 %', 'throttle_cap: 101 %'], 'rig.yaml:34:17 limits.throttle_cap: "101 %" is more than 100 % (it is 101 %); accepted: a share such as 100 % (units %, ppm), more than 0 %, at most 100 %'],
    ['a value at an excluded bound', ['throttle_cap: 100 %', 'throttle_cap: 0 %'], 'rig.yaml:34:17 limits.throttle_cap: "0 %" is not more than 0 %; accepted: a share such as 100 % (units %, ppm), more than 0 %, at most 100 %'],
    ['a fraction of a whole number', ['sensor_stale: 5', 'sensor_stale: 5.5'], 'rig.yaml:30:17 limits.sensor_stale: 5.5 is not a whole number; accepted: a whole number 2 .. 256'],
    ['a whole number out of bounds', ['sensor_stale: 5', 'sensor_stale: 1'], 'rig.yaml:30:17 limits.sensor_stale: 1 is less than 2; accepted: a whole number 2 .. 256'],
    ['a unit on a count', ['sensor_stale: 5', 'sensor_stale: 5 ms'], 'rig.yaml:30:17 limits.sensor_stale: "5 ms" is not a number; accepted: a whole number 2 .. 256'],
    ['an unknown word', ['voltage_at: esc', 'voltage_at: ecs'], 'rig.yaml:8:13 voltage_at: "ecs" is not known here; did you mean esc?; accepted: esc | supply'],
    ['an unknown kind', ['kind: battery', 'kind: batery'], 'rig.yaml:10:15 sink.kind: "batery" is not known here; did you mean battery?; accepted: battery | resistor | clamp | none'],
    ['no kind', ['kind: battery, ', ''], 'rig.yaml:10:1 sink.kind: is missing; accepted: battery | resistor | clamp | none'],
    ['a text for a map', ['{ kind: battery, holds: 9 V }', 'battery'], 'rig.yaml:10:7 sink: "battery" is not a map; accepted: kind: battery | resistor | clamp | none'],
    ['a missing key', ['voltage: 7.6 V, ', ''], 'rig.yaml:11:1 supply.voltage: is missing; accepted: a voltage such as 7.6 V (units V, mV, uV), more than 0 V, at most 100 V'],
    ['a key without a value', ['host_silence: 100 ms', 'host_silence:'], 'rig.yaml:32:3 limits.host_silence: has no value; accepted: a time such as 100 ms (units s, ms, us, min, h, d), 5 ms .. 2 s'],
    ['a misspelt key', ['lead_resistance: 8 mohm', 'lead_resistence: 8 mohm'], 'rig.yaml:9:1 lead_resistence: unknown key; did you mean lead_resistance?; accepted: spoolbench, rig, about, link, throttle, tick, row_rate, voltage_at, lead_resistance, sink, supply, channels, limits, arm_when, cut_off, environment, check_mass, remount, proof'],
    ['a misspelt key deep inside', ['over: 1 s', 'ovr: 1 s'], 'rig.yaml:36:39 limits.trend.ovr: unknown key; did you mean over?; accepted: motor_temperature, esc_temperature, over'],
    ['a key of another branch', ['{ kind: battery, holds: 9 V }', '{ kind: none, holds: 9 V }'], 'rig.yaml:10:21 sink.holds: unknown key; accepted: kind'],
    ['a comma in a text', ['"ESC supply lead, low side"', 'ESC supply lead, low side'], 'rig.yaml:13:137 channels.current.low side: "low side" stands after a comma and is read as a key: a text with a comma needs quotes inside { }; accepted: keys period, source, filter, averages, u_gain, placement, gain, zero, span, u_offset, natural_frequency'],
    ['a wrong source word', ['source: esc-telemetry', 'source: telemetry'], 'rig.yaml:15:34 channels.speed.source: "telemetry" is not known here; accepted: board | esc-telemetry | a map with kind'],
    ['a wrong source map', ['source: esc-telemetry', 'source: { kind: analog, inputs: 1, input: 1 }'], 'rig.yaml:15:50 channels.speed.source.inputs: unknown key; did you mean input?; accepted: kind, input, element'],
    ['a range that falls', ['range: 2 V .. 12 V', 'range: 12 V .. 2 V'], 'rig.yaml:11:67 supply.range: the range "12 V .. 2 V" does not rise: the smaller end comes first; accepted: a range such as 2 V .. 12 V'],
    ['a missing range', [', range: 2 V .. 12 V', ''], 'rig.yaml:11:1 supply.range: is missing; accepted: a range such as 2 V .. 12 V'],
    ['a name with a blank', ['rig: scout-stand', 'rig: Scout Stand'], 'rig.yaml:3:6 rig: "Scout Stand" is not of the accepted form; accepted: a name of small letters, digits, - and _ such as scout-stand'],
    ['a clock time', ['longest_run: 10 min', 'longest_run: 12:30'], 'rig.yaml:33:16 limits.longest_run: "12:30" looks like a clock time: write seconds or minutes with their unit; accepted: a time such as 10 min (units s, ms, us, min, h, d), more than 0 s, at most 35 min'],
    ['a needless zero', ['pole_pairs: 6', 'pole_pairs: 010'], 'rig.yaml:15:73 channels.speed.pole_pairs: 010 starts with a needless 0 and is read as 10; accepted: 10'],
    ['infinity', ['zero: 0, filter', 'zero: .inf, filter'], 'rig.yaml:13:47 channels.current.zero: .inf is not a number that can be used; accepted: a finite number'],
    ['digits in groups', ['longest_run: 10 min', 'longest_run: 1_0 min'], 'rig.yaml:33:16 limits.longest_run: "1_0 min" has separators between digits: write the digits together; accepted: a time such as 10 min (units s, ms, us, min, h, d), more than 0 s, at most 35 min'],
    ['a negative gain of the current', ['gain: 10 mA', 'gain: -10 mA'], 'rig.yaml:13:34 channels.current.gain: "-10 mA" is not more than 0 A; accepted: a current such as 10 mA (units A, mA, uA), more than 0 A'],
    ['a key that stands twice', ['sensor_stale: 5', 'sensor_stale: 5\n  sensor_stale: 6'], 'rig.yaml:31:3 sensor_stale: this key stands twice in one map; accepted: each key once'],
    ['a version that is text', ['spoolbench: 1', 'spoolbench: one'], 'rig.yaml:2:13 spoolbench: "one" is not known here; accepted: spoolbench: 1'],
    ['no version', ['spoolbench: 1\n', ''], 'rig.yaml:2:1 spoolbench: is missing; accepted: spoolbench: 1'],
    ['another version', ['spoolbench: 1', 'spoolbench: 2'], 'rig.yaml:2:13 spoolbench: this file is of format version 2, this program reads version 1: use a program of that version, or rewrite the file; accepted: spoolbench: 1'],
  ])('%s', (_, edit, text) => {
    const l = loaded('rig', edit);
    expect(said(l.problems).map((p) => p.replace(/^rig\.yaml:2:1 (?!spoolbench).*/, ''))).toContain(text);
    expect(l.value).toBeNull();
  });
});

describe('one wrong thing in another file', () => {
  test.each<[FileKind, string, Edit, string]>([
    ['article', 'propeller neither on nor off', ['mounted: on', 'mounted: yes'], 'article.yaml:6:89 propeller.mounted: "yes" is not known here; accepted: on | off'],
    ['article', 'a setting with a misspelt unit', ['switching_frequency: 44 kHz', 'switching_frequency: 44 khz'], 'article.yaml:10:36 esc.settings.switching_frequency: "khz" is not a unit known here; did you mean 44 kHz?; accepted: a quantity such as 44 kHz, a number, or a word'],
    ['article', 'a setting that is a list', ['timing_advance: 16 deg', 'timing_advance: [16 deg]'], 'article.yaml:10:60 esc.settings.timing_advance: is neither a quantity nor a number nor a word; accepted: a quantity such as 44 kHz, a number, or a word'],
    ['article', 'a setting with a bad name', ['timing_advance: 16 deg', 'Timing: 16 deg'], 'article.yaml:10:44 esc.settings.Timing: "Timing" cannot be a name here; accepted: small letters, digits and _, beginning with a letter'],
    ['craft', 'no rotors', ['rotors: 4', 'rotors: 0'], 'craft.yaml:6:9 rotors: 0 is less than 1; accepted: a whole number 1 .. 16'],
    ['protocol', 'an unknown segment', ['- rest: { for: 1 s }', '- rst: { for: 1 s }'], 'protocol.yaml:7:5 segments.0.rst: unknown key; did you mean rest?; accepted: rest, level, ramp, train, hold-current, hold-power, hold-speed, wait-until, repeat, mark, use'],
    ['protocol', 'two segments in one entry', ['- rest: { for: 1 s }', '- { rest: { for: 1 s }, mark: now }'], 'protocol.yaml:7:5 segments.0: names rest and mark: only one fits here; accepted: one of rest, level, ramp, train, hold-current, hold-power, hold-speed, wait-until, repeat, mark, use'],
    ['protocol', 'a text for a segment', ['- rest: { for: 1 s }', '- rest'], 'protocol.yaml:7:5 segments.0: "rest" is not a map; accepted: one of rest, level, ramp, train, hold-current, hold-power, hold-speed, wait-until, repeat, mark, use'],
    ['protocol', 'a wrong key inside repeats', ['rest: { for: 500 ms }', 'rest: { fr: 500 ms }'], 'protocol.yaml:14:50 segments.3.repeat.segments.1.repeat.segments.0.rest.fr: unknown key; did you mean for?; accepted: for, label, role, cap, slew, tags'],
    ['protocol', 'a train upside down', ['low: 10 %, high: 50 %, cycles', 'low: 60 %, high: 50 %, cycles'], 'protocol.yaml:13:25 segments.3.repeat.segments.0.train.low: the lower throttle is not below the upper one; accepted: below 50 %'],
    ['protocol', 'a condition in another unit', ['below: 35 °C', 'below: 35 A'], 'protocol.yaml:19:54 segments.8.wait-until.below: "35 A" is a current, not a temperature (the unit of motor_degC); accepted: a temperature such as 35 °C (units °C, degC)'],
    ['protocol', 'both sides of a condition', ['below: 35 °C,', 'below: 35 °C, above: 30 °C,'], 'protocol.yaml:19:17 segments.8.wait-until: needs one of above and below; accepted: above: or below:'],
    ['protocol', 'an unbounded wait', [', within: 120 s', ''], 'protocol.yaml:19:5 segments.8.wait-until.within: is missing; accepted: a time such as 120 s (units s, ms, us, min, h, d), more than 0 s, at most 600 s'],
    ['protocol', 'two protocols in one use', ['use: { response: { low: 10 %, high: 50 % } }', 'use: { response: {}, kv: {} }'], 'protocol.yaml:21:10 segments.10.use: names 2 protocols in one entry: give each its own "-"; accepted: one protocol with its parameters'],
    ['campaign', 'an unknown applier', ['timing_advance: { levels: [0 deg, 8 deg, 16 deg, 24 deg], apply: rig }', 'timing_advance: { levels: [0 deg], apply: rg }'], 'campaign.yaml:9:45 factors.timing_advance.apply: "rg" is not known here; did you mean rig?; accepted: rig | supply | command | operator'],
    ['campaign', 'a level with a misspelt unit', ['[22 kHz,', '[22 khz,'], 'campaign.yaml:8:35 factors.switching_frequency.levels.0: "khz" is not a unit known here; did you mean 22 kHz?; accepted: a quantity such as 44 kHz, a number, or a word'],
    ['campaign', 'an unknown trip code', ['retry_once: []', 'retry_once: [DESYNC_COUNTS]'], 'campaign.yaml:23:40 on_trip.retry_once.0: "DESYNC_COUNTS" is not known here; did you mean DESYNC_COUNT?; accepted: CURRENT_PEAK'],
    ['campaign', 'going on after any trip', ['default: stop', 'default: go'], 'campaign.yaml:23:21 on_trip.default: "go" is not known here; accepted: stop'],
    ['campaign', 'a margin of zero', ['fall_time: 20 ms, d', 'fall_time: 0 ms, d'], 'campaign.yaml:24:47 margins.fall_time: "0 ms" is not a difference above zero; accepted: a share such as 1 %, a quantity such as 20 ms, or a count'],
    ['campaign', 'two objectives', ['{ least: hover_power }', '{ least: hover_power, most: x }'], 'campaign.yaml:26:14 choice.objective: needs one of least and most; accepted: { least: hover_power } or { most: full_throttle_thrust }'],
    ['campaign', 'two bounds in a constraint', ['at_most: 0', 'at_most: 0, at_least: 0'], 'campaign.yaml:30:7 choice.constraints.2: needs exactly one of within, at_most, at_least; accepted: within: 20 ms (of the baseline), at_most: 0, or at_least: 27000 rpm'],
    ['campaign', 'no protocol', ['protocols:\n  - kv: { supply: 3 V }\n  - thrust-curve\n  - response: { low: 10 %, high: 50 % }\n  - efficiency-hold: { current: 1.4 A }', 'protocols: []'], 'campaign.yaml:10:12 protocols: is too short; accepted: a list such as [kv, thrust-curve]'],
    ['calibration', 'a date that is none', ['date: 2026-03-01', 'date: 2026-02-30'], 'calibration.yaml:6:7 date: "2026-02-30" is not of the accepted form; accepted: a date such as 2026-03-01'],
    ['calibration', 'an expiry before the date', ['expires: 2026-09-01', 'expires: 2026-02-01'], 'calibration.yaml:7:10 expires: expires on 2026-02-01, not after the calibration of 2026-03-01; accepted: a date after 2026-03-01'],
    ['calibration', 'a law of another channel', ['channel: thrust', 'channel: speed'], 'calibration.yaml:10:14 law.kind: a quadratic law does not fit speed; accepted: factor'],
    ['calibration', 'a point in another unit', ['applied: 0 gf', 'applied: 0 g'], 'calibration.yaml:12:16 points.0.applied: "0 g" is a mass, not a force; did you mean 0 gf?; accepted: a force such as 131 gf (units N, mN, gf, kgf)'],
    ['calibration', 'a flat law', ['slope: 0.0005 N', 'slope: 0 N'], 'calibration.yaml:10:57 law.slope: a slope of zero says nothing; accepted: a slope above or below zero'],
  ])('%s: %s', (kind, _, edit, text) => {
    const found = problems(kind, edit);
    expect(found.map((f) => f.slice(0, text.length))).toContain(text);
  });
});

describe('files that cannot be read as YAML', () => {
  test.each<[string, string]>([
    ['', 'rig.yaml:1:1: the file is empty; accepted: a file that starts with spoolbench: 1 and rig: NAME'],
    ['- 1\n', 'rig.yaml:1:1: the file is not a map of keys; accepted: a file that starts with spoolbench: 1 and rig: NAME'],
    ['spoolbench: 1\nrig: [a\n', 'rig.yaml:3:1: not valid YAML: '],
    ['spoolbench: 1\n---\nrig: a\n', 'rig.yaml:2:1: not valid YAML: '],
    ['spoolbench: 1\nrig: *nobody\n', 'rig.yaml:2:6 rig: *nobody refers to no &nobody before it; accepted: a value'],
  ])('%j is one plain problem', (text, start) => {
    const [first] = said(loadFile('rig', 'rig.yaml', text).problems);
    expect(first?.slice(0, start.length)).toBe(start);
  });

  test('every syntax error is told, not only the first', () => {
    expect(loadFile('rig', 'rig.yaml', 'a: 1\n b: 2\nc: }\n').problems.length).toBeGreaterThan(1);
  });

  test('an article where a rig is wanted is called that', () => {
    expect(said(loadFile('rig', 'article.yaml', fixture('article')).problems)).toEqual(['article.yaml:3:1 article: this is an article file, a rig file is wanted here; accepted: a file that starts with spoolbench: 1 and rig: NAME']);
    expect(said(loadFile('rig', 'campaign.yaml', fixture('campaign')).problems)[0]).toContain('this is a campaign file');
    expect(said(loadFile('rig', 'answers.yaml', 'spoolbench: 1\nanswers: hands\n').problems)[0]).toContain('this is an answers file, a rig file is wanted here');
  });

  test('anchors are followed to the place where the value stands', () => {
    const text = fixture('rig', ['current_peak: { above: 40 A, for: 5 ms }', 'current_peak: &peak { above: 40, for: 5 ms }'], ['voltage_high: { above: 9 V, for: 2 ms }', 'voltage_high: *peak']);
    const found = said(loadFile('rig', 'rig.yaml', text).problems);
    expect(found.filter((f) => f.startsWith('rig.yaml:20:')).length).toBe(2);
  });

  test('a bomb of aliases is refused', () => {
    const bomb = `a: &a [x,x,x,x,x,x,x,x,x]\n${'bcdefgh'.split('').map((c, i) => `${c}: &${c} [${Array(9).fill(`*${'abcdefgh'[i] ?? 'a'}`).join(',')}]`).join('\n')}\n`;
    expect(said(readYaml('rig.yaml', bomb).problems)[0]).toContain('not usable YAML');
  });
});

test('everything wrong in a file is told at once, by place', () => {
  const found = problems('rig', ['tick: 1 ms', 'tick: 1'], ['voltage_at: esc', 'voltage_at: here'], ['limits:', 'limit:'], ['pole_pairs: 6', 'pole_pairs: 06'], ['gain: 0.1 K, zero: 0', 'gain: 0.1 A, zero: 0']);
  expect(found.map((f) => f.split(' ').slice(0, 2).join(' '))).toEqual(['rig.yaml:2:1 limits:', 'rig.yaml:6:7 tick:', 'rig.yaml:8:13 voltage_at:', 'rig.yaml:15:73 channels.speed.pole_pairs:', 'rig.yaml:17:46 channels.motor_temperature.gain:', 'rig.yaml:19:1 limit:']);
});

test('the same problem is told once', () => {
  const p = { file: 'a', line: 1, column: 1, key: '', message: 'm', accepted: '' };
  expect(sortProblems([{ ...p, file: 'b' }, p, { ...p, line: 2 }, p]).map((q) => `${q.file}${q.line}`)).toEqual(['a1', 'a2', 'b1']);
});

test('a part that another module checks gets the same places', () => {
  const l = loaded('campaign');
  const schema = object('Parameters', { supply: quantity('voltage', { about: 'Supply' }), plateau: quantity('time', { about: 'Plateau' }).optional() });
  expect(checkPart(schema, l.source, ['protocols', 0, 'kv'], { supply: '3 V' }).value).toEqual({ supply: 3 });
  expect(said(checkPart(schema, l.source, ['protocols', 0, 'kv'], { supply: '3 A' }).problems)).toEqual(['campaign.yaml:11:19 protocols.0.kv.supply: "3 A" is a voltage'.replace('is a voltage', 'is a current, not a voltage; accepted: a voltage such as 4 V (units V, mV, uV)')]);
});

test('the nearest spelling is a near one', () => {
  expect(nearest('row_rat', ['row_rate', 'tick'])).toBe('row_rate');
  expect(nearest('tikc', ['row_rate', 'tick'])).toBe('tick');
  expect(nearest('zebra', ['row_rate', 'tick'])).toBeNull();
});
