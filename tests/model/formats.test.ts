// Goal: every file format holds what it is for, in SI, and its JSON Schema tells an editor the same.
// Method: whole example files are read, compared with values worked out by hand, and put to an independent validator.
import Ajv from 'ajv/dist/2020';
import { describe, expect, test } from 'vitest';
import { parse } from 'yaml';
import { FILE_KINDS, SCHEMAS, type FileKind } from '../../src/model/files';
import { jsonSchemaFor, type JsonSchema } from '../../src/model/json-schema';
import { kindOfFile, loadFile } from '../../src/model/load';
import { fixture, said, value } from './helpers';

const FILES: [FileKind, string][] = [
  ['rig', 'rig'], ['rig', 'rig-board'], ['article', 'article'], ['craft', 'craft'], ['protocol', 'protocol'], ['campaign', 'campaign'], ['campaign', 'campaign-hands'], ['calibration', 'calibration'], ['answers', 'answers'],
];
const ajv = new Ajv({ strict: true, allowUnionTypes: true, formats: { date: true } });
const compiled = new Map(FILE_KINDS.map((kind) => [kind, ajv.compile(jsonSchemaFor(kind))]));
const validator = (kind: FileKind) => compiled.get(kind) ?? ajv.compile(false);

describe('example files', () => {
  test.each(FILES)('a %s file (%s) is read without a problem and known by its naming key', (kind, name) => {
    const text = fixture(name);
    expect(said(loadFile(kind, `${name}.yaml`, text).problems)).toEqual([]);
    expect(kindOfFile(text)).toBe(kind);
  });

  test.each(FILES)('the JSON Schema of %s takes the example file %s', (kind, name) => {
    const validate = validator(kind);
    validate(parse(fixture(name)));
    expect(validate.errors ?? []).toEqual([]);
  });

  test('a rig is in SI units', () => {
    const rig = value('rig');
    expect(rig).toMatchObject({ name: 'scout-stand', tick_us: 1000, row_rate_Hz: 1000, lead_resistance_ohm: 0.008, sink: { kind: 'battery', holds_V: 9 }, supply: { voltage_V: 7.6, current_limit_A: 15, range_V: { from: 2, to: 12 } } });
    expect(rig.channels.map((c) => [c.kind, c.period_us, c.gain])).toEqual([['current', 1000, 0.01], ['voltage', 1000, 0.00125], ['speed', 1000, 1e-6], ['thrust', 12500, 0.0005], ['motor_temperature', 100000, 0.1], ['esc_temperature', 100000, 0.1]]);
    expect(rig.limits).toMatchObject({ current_peak: { above_A: 40, for_s: 0.005 }, longest_run_s: 600, throttle_cap: 1, sensor_stale: 5, thrust: { above_N: 2.4516625 }, trend: { motor_K_per_s: 20, esc_K_per_s: null } });
    expect(rig.environment).toEqual({ temperature_degC: 21, pressure_Pa: 100_800, humidity: 0.45 });
    expect(rig.check_mass).toBeNull();
  });

  test('a rig on a board keeps where each reading comes from', () => {
    const rig = value('rig', 'rig-board');
    expect(rig.link).toEqual({ kind: 'firmata', simulated: false, port: null, usb: { vendor: '2341', product: '0043', serial: 'A1' }, baud: 57_600, throttle_pin: 9, stop_input: { pin: 2, active: 'low' } });
    expect(rig.channels[0]?.source).toEqual({ kind: 'power-monitor', part: 'ina226', address: 64, shunt_ohm: 0.002 });
    expect(rig.supply).toMatchObject({ kind: 'scpi', connection: { kind: 'tcp', port: 5025 }, commands: { select: 'INST:NSEL {}', voltage: 'VOLT {}', off: 'OUTP OFF' } });
    expect(rig).toMatchObject({ cut_off: { kind: 'contactor' }, check_mass: { mass_kg: 0.1, within: 0.01 }, remount: { mounts: 6, thrust: 0.004 }, proof: { valid_for_s: 2_592_000 } });
  });

  test('an article is in SI units and keeps its settings as written', () => {
    expect(value('article')).toMatchObject({
      motor: { kv_rpm_per_V: 4500, pole_pairs: 6, resistance_ohm: 0.17, no_load_current_A: 0.5 }, propeller: { diameter_m: 0.0762, mounted: true }, nominal_voltage_V: 7.6, hover_thrust_N: 0.44129925,
      esc: { settings: { switching_frequency: { kind: 'quantity', dimension: 'frequency', value: 44_000, text: '44 kHz' }, spool_up_headroom: { kind: 'number', value: 6 } } },
    });
  });

  test('a craft keeps its battery in watt-hours', () => {
    expect(value('craft')).toMatchObject({ mass_kg: 0.18, rotors: 4, battery: { energy_Wh: 6.3, cells: 2, sag: 0.04, usable: 0.8 }, avionics_W: 2.5, installed_loss: 0.06 });
  });

  test('a protocol is a list of segments with their kind', () => {
    const { segments, needs } = value('protocol');
    expect(needs).toEqual({ propeller: 'on', channels: ['speed', 'thrust'], sink: true, supply_V: 7.6, min_rate_Hz: 200 });
    expect(segments.map((s) => s.kind)).toEqual(['rest', 'ramp', 'level', 'repeat', 'hold-current', 'hold-power', 'hold-speed', 'mark', 'wait-until', 'use', 'use']);
    expect(segments[2]).toEqual({ kind: 'level', throttle: 0.4, for_s: 3, label: null, role: 'plateau', cap: null, slew_per_s: 2, tags: { level: 1 } });
    expect(segments[3]).toMatchObject({ times: 2, segments: [{ kind: 'train', low: 0.1, high: 0.5, cycles: 5, dwell_s: 0.5, dither_s: 0.01 }, { kind: 'repeat', segments: [{ kind: 'rest' }] }] });
    expect(segments[8]).toMatchObject({ until: { channel: 'motor_temperature', is: 'below', value: 35, for_s: 0.5 }, within_s: 120, throttle: 0 });
    expect(segments[10]).toEqual({ kind: 'use', protocol: 'response', parameters: { low: '10 %', high: '50 %' } });
  });

  test('a campaign holds factors, order, margins and choice', () => {
    const c = value('campaign');
    expect(c.factors.timing_advance).toMatchObject({ apply: 'rig', hard_to_change: false, levels: [{ value: 0 }, { value: 8 }, { value: 16 }, { value: 24, dimension: 'angle', text: '24 deg' }] });
    expect(c.protocols[0]).toEqual({ protocol: 'kv', parameters: { supply: '3 V' } });
    expect(c).toMatchObject({ repeats: 5, order: { seed: 7, plan: { kind: 'full' } }, between_runs: { cool_until: { motor_degC: 35, esc_degC: null, within_s: 120 }, rest_s: 2, zero_s: 1 } });
    expect(c.margins).toEqual({ full_throttle_rpm: { kind: 'relative', value: 0.01, text: '1 %' }, fall_time: { kind: 'absolute', dimension: 'time', value: 0.02, text: '20 ms' }, desyncs: { kind: 'absolute', dimension: null, value: 1, text: '1' } });
    expect(c.choice?.objective).toEqual({ metric: 'hover_power', sense: 'least' });
    expect(c.choice?.constraints[2]).toEqual({ metric: 'desyncs', kind: 'at-most', bound: { kind: 'number', value: 0, text: '0' } });
  });

  test('a calibration keeps its law, points and span in the unit of its channel', () => {
    expect(value('calibration')).toMatchObject({ channel: 'thrust', law: { kind: 'quadratic', zero: 8388, offset: 0, slope: 0.0005, curve: 1e-10 }, span: { from: -0.5, to: 3 }, u_gain: 0.002, u_offset: 0.001, creep: 0.0005 });
    expect(value('calibration').points[2]).toEqual({ applied: 0.980665, counts: 10350.5, direction: 'down', residual: 0.0003 });
    expect(value('calibration', 'calibration', ['channel: thrust', 'channel: speed'], ['{ kind: quadratic, zero: 8388, offset: 0 N, slope: 0.0005 N, curve: 1e-10 N }', '{ kind: factor, factor: 1.0002 }'],
      ['  - { applied: 0 gf, counts: 8388.2, residual: 0.0001 N }\n  - { applied: 100 gf, counts: 10349, direction: up, residual: -0.0002 N }\n  - { applied: 100 gf, counts: 10350.5, direction: down, residual: 0.0003 N }', '  - { applied: 9000 rpm }'],
      [', offset: 0.001 N', ''], ['hysteresis: 0.001 N\ncreep: 0.5 mN\nspan: -0.5 N .. 3 N', 'span: 500 rpm .. 60 krpm'])).toMatchObject({ law: { kind: 'factor', factor: 1.0002 }, span: { to: 60_000 } });
  });
});

describe('JSON Schema', () => {
  test.each(FILE_KINDS.map((k) => [k]))('every key of %s carries a description, and quantities are texts with pattern and examples', (kind) => {
    const bare: string[] = [];
    const walk = (node: unknown, path: string): void => {
      if (Array.isArray(node)) {
        node.forEach((n, i) => { walk(n, `${path}/${i}`); });
        return;
      }
      if (typeof node !== 'object' || node === null) return;
      const properties = (node as JsonSchema).properties;
      for (const [key, child] of Object.entries((properties ?? {}) as Record<string, JsonSchema>)) {
        // The discriminating `const` of a branch is told by the branch's own description.
        if (child.const === undefined && child.description === undefined && child.$ref === undefined) bare.push(`${path}/${key}`);
        if (typeof child.pattern !== 'string') continue;
        expect(child).toMatchObject({ type: 'string' });
        for (const example of (child.examples ?? []) as unknown[]) expect(example).toMatch(new RegExp(child.pattern, 'u'));
      }
      for (const [key, child] of Object.entries(node)) walk(child, `${path}/${key}`);
    };
    const schema = jsonSchemaFor(kind);
    walk(schema, '');
    expect(bare).toEqual([]);
    expect(schema).toMatchObject({ $schema: 'https://json-schema.org/draft/2020-12/schema', title: `Spoolbench ${kind} file` });
    expect(Object.keys(SCHEMAS)).toContain(kind);
  });

  test.each<[FileKind, string, string]>([
    ['rig', 'tick: 1 ms', 'tick: 1'], ['rig', 'tick: 1 ms', 'tick: 1 Ms'], ['rig', 'voltage_at: esc', 'voltage_at: here'], ['rig', 'kind: battery', 'kind: batery'], ['rig', 'rig: scout-stand', 'rig: scout-stand\nfoo: 1'],
    ['campaign', 'kind: full', 'kind: half'], ['protocol', 'rest: { for: 1 s }', 'rest: { for: 1 }'], ['protocol', '- rest: { for: 1 s }', '- { rest: { for: 1 s }, mark: x }'], ['calibration', 'date: 2026-03-01', 'datum: 2026-03-01'],
  ])('an editor sees what is wrong with a %s file that says %s → %s', (kind, from, to) => {
    expect(validator(kind)(parse(fixture(kind, [from, to])))).toBe(false);
  });
});
