// Goal: values that contradict each other, or ask for what a bench does not have, are refused where they stand.
// Method: the example files, which have no problem at all, with one value changed; both sides of each boundary.
import { describe, expect, test } from 'vitest';
import { checkCampaign, type CampaignContext } from '../../src/model/check-campaign';
import { checkNeeds, checkProtocolFile, checkSegments, segmentFaults, type Changeable } from '../../src/model/check-protocol';
import { checkBench, checkCalibration, checkRig, rowDivider } from '../../src/model/check-rig';
import { loadFile } from '../../src/model/load';
import type { ProtocolNeeds, Segment } from '../../src/model/segment';
import { fixture, loaded, said, value, type Edit } from './helpers';

const rig = (...edits: Edit[]): string[] => {
  const l = loaded('rig', ...edits);
  if (l.value === null) throw new Error(said(l.problems).join('\n'));
  return said(checkRig(l));
};

describe('a rig against itself', () => {
  test('the example rigs have no contradiction', () => {
    expect(rig()).toEqual([]);
    expect(said(checkRig(loadFile('rig', 'rig-board.yaml', fixture('rig-board'))))).toEqual([]);
  });

  test.each<[string, Edit[], string]>([
    ['more rows than ticks', [['row_rate: 1 kHz', 'row_rate: 1001 Hz']], 'rig.yaml:7:11 row_rate: 1.001 kHz is more than one row a tick of 1 ms; accepted: at most 1 kHz'],
    ['rows that do not fall on ticks', [['row_rate: 1 kHz', 'row_rate: 400 Hz']], 'rig.yaml:7:11 row_rate: a row every 2.500 ticks of 1 ms: not a whole number of ticks; accepted: 333.333 Hz or 500 Hz'],
    ['a channel faster than the tick', [['current: { period: 1 ms', 'current: { period: 0.5 ms']], 'rig.yaml:13:22 channels.current.period: a fresh sample every 500 us is more than one a tick of 1 ms; accepted: at least 1 ms'],
    ['a deadman shorter than five ticks', [['tick: 1 ms', 'tick: 20 ms'], ['row_rate: 1 kHz', 'row_rate: 50 Hz'], ['host_silence: 100 ms', 'host_silence: 99 ms']], 'rig.yaml:32:17 limits.host_silence: shorter than five ticks of 20 ms; accepted: at least 100 ms'],
    ['a window longer than the board keeps', [['above: 40 A, for: 5 ms', 'above: 40 A, for: 257 ms']], 'rig.yaml:20:37 limits.current_peak.for: holds 257 fresh samples of current, the board keeps 256; accepted: at most 256 ms; for longer times use current_mean'],
    ['a frozen time longer than the board keeps', [['sensor_frozen: 200 ms', 'sensor_frozen: 257 ms']], 'rig.yaml:31:18 limits.sensor_frozen: holds 257 fresh samples of current, the board keeps 256; accepted: at most 256 ms'],
    ['a mean shorter than the peak', [['above: 9 A, over: 500 ms', 'above: 9 A, over: 4 ms']], 'rig.yaml:21:37 limits.current_mean.over: the time of the mean is shorter than the time of the peak, 5 ms; accepted: about half a second, such as 500 ms'],
    ['a mean above the peak', [['above: 9 A, over', 'above: 41 A, over']], 'rig.yaml:21:26 limits.current_mean.above: the mean may be 41 A, more than the peak of 40 A; accepted: at most 40 A'],
    ['a stall above the peak', [['stall: { current: 3 A', 'stall: { current: 40 A']], 'rig.yaml:28:21 limits.stall.current: a stall would reach the peak limit first; accepted: below 40 A'],
    ['voltage limits that cross', [['below: 2.4 V', 'below: 9 V']], 'rig.yaml:22:25 limits.voltage_low.below: voltage_low, 9 V, is not below voltage_high, 9 V; accepted: below 9 V'],
    ['a supply outside its limits', [['below: 2.4 V', 'below: 7.6 V']], 'rig.yaml:11:32 supply.voltage: 7.6 V is not between the limits voltage_low and voltage_high; accepted: between 7.6 V and 9 V'],
    ['a supply outside its range', [['range: 2 V .. 12 V', 'range: 2 V .. 7 V']], 'rig.yaml:11:32 supply.voltage: 7.6 V is outside the range of the supply; accepted: 2 V .. 7 V'],
    ['a sink that holds too late', [['holds: 9 V', 'holds: 9.1 V']], 'rig.yaml:10:31 sink.holds: the sink lets the bus rise to 9.1 V, beyond voltage_high; accepted: at most 9 V'],
    ['a sink below the supply', [['holds: 9 V', 'holds: 7.5 V']], "rig.yaml:10:31 sink.holds: the sink holds the bus below the supply's 7.6 V; accepted: at least 7.6 V"],
    ['an idle throttle above the cap', [['throttle_cap: 100 %', 'throttle_cap: 9 %'], ['tick: 1 ms', 'throttle: { idle: 10 %, bump: 9 % }\ntick: 1 ms']], 'rig.yaml:6:19 throttle.idle: the idle throttle is above throttle_cap; accepted: at most 9 %'],
    ['a bump above the cap', [['tick: 1 ms', 'throttle: { bump: 10 % }\ntick: 1 ms'], ['throttle_cap: 100 %', 'throttle_cap: 9 %']], 'rig.yaml:6:19 throttle.bump: the bump throttle is above throttle_cap; accepted: at most 9 %'],
    ['pulses the wrong way round', [['tick: 1 ms', 'throttle: { stop_pulse: 2 ms }\ntick: 1 ms']], 'rig.yaml:6:25 throttle.stop_pulse: the stop pulse is not shorter than the full pulse; accepted: below 2000 us'],
    ['a limit on a channel that is not there', [['  esc_temperature: { period: 100 ms, gain: 0.1 K }\n', ''], [', esc_temperature_below: 50 °C', '']], 'rig.yaml:24:3 limits.esc_temperature: watches esc_temperature, which is no channel of this rig; accepted: declare channels.esc_temperature or leave this limit out'],
    ['a condition on a channel that is not there', [['  esc_temperature: { period: 100 ms, gain: 0.1 K }\n', ''], ['  esc_temperature: { above: 95 °C, for: 500 ms }\n', '']], 'rig.yaml:37:45 arm_when.esc_temperature_below: waits on esc_temperature, which is no channel of this rig; accepted: declare channels.esc_temperature or leave it out'],
    ['a trend of nothing', [['{ motor_temperature: 20 K/s, over', '{ over']], 'rig.yaml:36:3 limits.trend: names no temperature; accepted: motor_temperature: 20 K/s or esc_temperature: 20 K/s'],
    ['arming where it trips', [['motor_temperature_below: 45 °C', 'motor_temperature_below: 91 °C']], 'rig.yaml:39:38 arm_when.motor_temperature_below: would arm at a temperature that trips: the limit is 90 °C; accepted: at most 90 °C'],
    ['arming never', [['motor_temperature_below: 45 °C', 'motor_temperature_below: 45 °C, motor_temperature_above: 45 °C']], 'rig.yaml:39:70 arm_when.motor_temperature_above: warmer than 45 °C and colder than 45 °C is impossible; accepted: below 45 °C'],
    ['a limit that the converter cannot show', [['gain: 10 mA', 'gain: 10 mA, span: -10 A .. 40 A']], 'rig.yaml:20:26 limits.current_peak.above: 40 A is outside what the current channel can show, so it would never trip; accepted: inside -10 A .. 40 A'],
  ])('%s', (_, edits, text) => {
    expect(rig(...edits)).toContain(text);
  });

  test.each<[string, Edit[]]>([
    ['rows at one a tick', [['row_rate: 1 kHz', 'row_rate: 1000 Hz']]],
    ['rows at a whole part of the ticks', [['row_rate: 1 kHz', 'row_rate: 333.3333333 Hz']]],
    ['the longest window', [['above: 40 A, for: 5 ms', 'above: 40 A, for: 256 ms']]],
    ['a mean as long as the peak', [['above: 9 A, over: 500 ms', 'above: 9 A, over: 5 ms']]],
    ['a limit just inside the span', [['gain: 10 mA', 'gain: 10 mA, span: -10 A .. 40.1 A']]],
    ['arming at the limit', [['motor_temperature_below: 45 °C', 'motor_temperature_below: 90 °C']]],
  ])('%s is fine', (_, edits) => {
    expect(rig(...edits)).toEqual([]);
  });

  test('a limit outside the calibrated span is refused, and the calibration named', () => {
    const found = said(checkRig(loaded('rig'), [value('calibration', 'calibration', ['span: -0.5 N .. 3 N', 'span: -0.5 N .. 2.4 N'])]));
    expect(found).toEqual(['rig.yaml:27:20 limits.thrust.above: 250 gf is outside what the calibration of thrust covers, so it would never trip; accepted: inside -50.99 gf .. 244.7 gf']);
  });

  test('what rests on a key that is wrong itself is not complained of a second time', () => {
    const l = loaded('rig', ['above: 9 V, for: 2 ms', 'above: 9, for: 2 ms'], ['above: 9 A, over', 'above: 41 A, over']);
    expect(l.value).toBeNull();
    expect(said([...l.problems, ...checkRig(l)])).toEqual([
      'rig.yaml:23:26 limits.voltage_high.above: 9 has no unit; accepted: a voltage such as 9 V (units V, mV, uV)',
      'rig.yaml:21:26 limits.current_mean.above: the mean may be 41 A, more than the peak of 40 A; accepted: at most 40 A',
    ]);
  });

  test('the row divider is the whole number of ticks between rows', () => {
    expect(rowDivider(value('rig', 'rig', ['tick: 1 ms', 'tick: 125 us'], ['row_rate: 1 kHz', 'row_rate: 8 kHz']))).toBe(1);
    expect(rowDivider(value('rig', 'rig', ['row_rate: 1 kHz', 'row_rate: 100 Hz']))).toBe(10);
  });
});

describe('a rig against its article', () => {
  const bench = (rigEdits: Edit[], articleEdits: Edit[]): string[] => said(checkBench(loaded('rig', ...rigEdits), loaded('article', ...articleEdits)));
  test.each<[Edit[], Edit[], string[]]>([
    [[], [], []],
    [[['pole_pairs: 6', 'pole_pairs: 7']], [], ['rig.yaml:15:73 channels.speed.pole_pairs: 7 pole pairs here, 6 in article.yaml: every speed would be wrong by their ratio; accepted: 6']],
    [[], [['max_current: 9 A', 'max_current: 8.9 A']], ['rig.yaml:21:26 limits.current_mean.above: allows 9 A for long, the motor in article.yaml takes 8.9 A; accepted: at most 8.9 A']],
    [[], [['max_current: 12 A', 'max_current: 8 A']], ['rig.yaml:21:26 limits.current_mean.above: allows 9 A for long, the ESC in article.yaml takes 8 A; accepted: at most 8 A']],
    [[], [['max_speed: 40000 rpm', 'max_speed: 37999 rpm']], ['rig.yaml:26:19 limits.speed.above: allows 38000 rpm, the motor in article.yaml takes 37999 rpm; accepted: at most 37999 rpm']],
    [[], [['nominal_voltage: 7.6 V', 'nominal_voltage: 11.1 V']], ['article.yaml:12:18 nominal_voltage: 11.1 V is not between the voltage limits of rig.yaml; accepted: between 2.4 V and 9 V']],
  ])('rig %j, article %j', (rigEdits, articleEdits, found) => {
    expect(bench(rigEdits, articleEdits)).toEqual(found);
  });
});

describe('a calibration against its rig', () => {
  test.each<[Edit[], string, string[]]>([
    [[], '2026-08-31', []],
    [[], '2026-09-01', ['calibration.yaml:7:10 expires: expired on 2026-09-01, today is 2026-09-01; accepted: calibrate the channel again']],
    [[], '2026-02-28', ['calibration.yaml:6:7 date: is dated 2026-03-01, today is 2026-02-28; accepted: a date that is not in the future']],
    [[['rig: scout-stand', 'rig: other-stand']], '2026-04-01', ['calibration.yaml:4:6 rig: belongs to other-stand, this rig is scout-stand; accepted: rig: scout-stand, or keep it with its own rig']],
    [[['channel: thrust', 'channel: torque'], ['offset: 0 N, slope: 0.0005 N, curve: 1e-10 N', 'slope: 1 mN m, curve: 1 uN m'], ['  - { applied: 0 gf, counts: 8388.2, residual: 0.0001 N }\n  - { applied: 100 gf, counts: 10349, direction: up, residual: -0.0002 N }\n  - { applied: 100 gf, counts: 10350.5, direction: down, residual: 0.0003 N }', '  - { applied: 1 mN m }'],
      [', offset: 0.001 N', ''], ['hysteresis: 0.001 N\ncreep: 0.5 mN\nspan: -0.5 N .. 3 N', 'span: 0 N m .. 1 N m']], '2026-04-01', ['calibration.yaml:5:10 channel: torque is no channel of scout-stand; accepted: current | voltage | speed | thrust | motor_temperature | esc_temperature']],
  ])('%j on %s', (edits, today, found) => {
    expect(said(checkCalibration(loaded('calibration', ...edits), value('rig'), today))).toEqual(found);
  });
});

describe('what a protocol needs', () => {
  const needs: ProtocolNeeds = { propeller: 'any', channels: [], sink: false, supply_V: null, min_rate_Hz: 1 };
  const all: Changeable = { propeller: true, supply: true };
  const none: Changeable = { propeller: false, supply: false };
  const asked = (wanted: Partial<ProtocolNeeds>, rigEdits: Edit[] = [], can: Changeable = all, articleEdits: Edit[] = []): string[] => {
    const at = { loaded: loaded('campaign'), path: ['protocols', 2] };
    return said(checkNeeds('response', { ...needs, ...wanted }, loaded('rig', ...rigEdits), loaded('article', ...articleEdits), at, can));
  };
  const noSink: Edit = ['{ kind: battery, holds: 9 V }', '{ kind: none }'];
  test.each<[string, Partial<ProtocolNeeds>, Edit[], Changeable, Edit[], string[]]>([
    ['nothing', {}, [], all, [], []],
    ['a sink that is not there', { sink: true }, [noSink], all, [], ['response brakes hard and pumps the bus, rig.yaml declares no sink; accepted: sink: { kind: battery, holds: 9 V } or another sink in rig.yaml']],
    ['no sink where none is needed', { sink: false }, [noSink], all, [], []],
    ['the propeller off', { propeller: 'off' }, [], none, [], ['response needs the propeller off, article.yaml declares it on; accepted: take it off, then propeller.mounted: off in article.yaml']],
    ['the propeller on', { propeller: 'on' }, [], none, [['mounted: on', 'mounted: off']], ['response needs the propeller on, article.yaml declares it off; accepted: mount it, then propeller.mounted: on in article.yaml']],
    ['a propeller that the bench changes', { propeller: 'off' }, [], all, [], []],
    ['a channel that is not there', { channels: ['thrust'] }, [['  thrust: { period: 12.5 ms, gain: 0.0005 N, u_gain: 0.3 %, u_offset: 0.002 N, natural_frequency: 95 Hz }\n', '']], all, [], ['response needs the channel thrust, which rig.yaml does not declare; accepted: channels.thrust in rig.yaml']],
    ['faster rows', { min_rate_Hz: 1001 }, [], all, [], ['response needs 1.001 kHz of rows, rig.yaml gives 1 kHz; accepted: row_rate of at least 1.001 kHz']],
    ['rows as fast as they come', { min_rate_Hz: 1000, channels: ['speed'] }, [], all, [], []],
    ['faster speeds', { min_rate_Hz: 1000, channels: ['speed'] }, [['speed: { period: 1 ms', 'speed: { period: 2 ms']], all, [], ['response needs 1 kHz of fresh speeds, rig.yaml gives 500 Hz; accepted: channels.speed.period of at most 1 ms']],
    ['a voltage out of range', { supply_V: 13 }, [['range: 2 V .. 12 V', 'range: 2 V .. 8 V'], ['above: 9 V', 'above: 20 V']], all, [], ['response asks for 13 V, outside the range of the supply; accepted: 2 V .. 8 V']],
    ['a voltage that nobody sets', { supply_V: 3 }, [], none, [], ['response asks for 3 V, the supply stands at 7.6 V and cannot be programmed; accepted: set the supply by hand, then supply.voltage: 3 V']],
    ['a voltage that trips', { supply_V: 3 }, [['below: 2.4 V', 'below: 3 V']], all, [], ['response asks for 3 V, which trips voltage_low at 3 V; accepted: a lower voltage_low in rig.yaml (supply_sag watches the set voltage)']],
    ['a voltage that trips high', { supply_V: 9 }, [], all, [], ['response asks for 9 V, which trips voltage_high at 9 V; accepted: a voltage below 9 V']],
  ])('%s', (_, wanted, rigEdits, can, articleEdits, found) => {
    expect(asked(wanted, rigEdits, can, articleEdits)).toEqual(found.map((f) => `campaign.yaml:13:5 protocols.2: ${f}`));
  });
});

describe('segments against the limits of the rig', () => {
  const base = { label: 'a', role: 'hold', duration_s: 3 } as const;
  const capped = value('rig', 'rig', ['throttle_cap: 100 %', 'throttle_cap: 80 %']);
  test.each<[Segment, string[]]>([
    [{ ...base, kind: 'level', throttle: 0.8 }, []],
    [{ ...base, kind: 'level', throttle: 0.81 }, ['throttle: 81 % is above throttle_cap of the rig; at most 80 %']],
    [{ ...base, kind: 'ramp', to: 1 }, ['to: 100 % is above throttle_cap of the rig; at most 80 %']],
    [{ ...base, kind: 'hold-current', target_A: 8.99 }, []],
    [{ ...base, kind: 'hold-current', target_A: 9 }, ['target: holding 9 A would trip limits.current_mean; below 9 A']],
    [{ ...base, duration_s: 0.2, kind: 'hold-current', target_A: 39 }, []],
    [{ ...base, duration_s: 0.2, kind: 'hold-current', target_A: 40 }, ['target: holding 40 A would trip limits.current_peak; below 40 A']],
    [{ ...base, kind: 'hold-power', target_W: 68 }, []],
    [{ ...base, kind: 'hold-power', target_W: 69 }, ['target: 69 W draws at least 9.079 A and would trip limits.current_mean; below 68.4 W']],
    [{ ...base, kind: 'hold-speed', target_rpm: 38_000 }, ['target: holding 38000 rpm would trip limits.speed; below 38000 rpm']],
    [{ ...base, duration_s: 601, kind: 'rest' }, ['for: 10.02 min is more than longest_run of the rig; at most 10 min']],
  ])('%j', (segment, found) => {
    expect(segmentFaults(segment, capped).map((f) => `${f.field}: ${f.message}; ${f.accepted}`)).toEqual(found);
  });

  test('a protocol file is judged key by key, inside repeats as well', () => {
    const file = loaded('protocol', ['hold-current: { target: 1.4 A', 'hold-current: { target: 14 A']);
    expect(said(checkProtocolFile(file, loaded('rig', ['throttle_cap: 100 %', 'throttle_cap: 45 %'])))).toEqual([
      'protocol.yaml:13:37 segments.3.repeat.segments.0.train.high: 50 % is above throttle_cap of the rig; accepted: at most 45 %',
      'protocol.yaml:15:29 segments.4.hold-current.target: holding 14 A would trip limits.current_mean; accepted: below 9 A',
    ]);
    expect(said(checkProtocolFile(loaded('protocol'), loaded('rig')))).toEqual([]);
  });

  test('played segments are complained of once, where the protocol is asked for', () => {
    const segment: Segment = { ...base, label: 'hold 14 A', kind: 'hold-current', target_A: 14 };
    expect(said(checkSegments([segment, segment], loaded('rig'), { loaded: loaded('campaign'), path: ['protocols', 3] }))).toEqual(['campaign.yaml:14:5 protocols.3: segment "hold 14 A": holding 14 A would trip limits.current_mean; accepted: below 9 A']);
  });

  test('a protocol may take as long as the longest run, and not longer', () => {
    const rest = (duration_s: number): Segment => ({ kind: 'rest', duration_s, label: 'rest', role: 'rest' });
    const at = { loaded: loaded('campaign'), path: ['protocols', 3] };
    expect(said(checkSegments([rest(300), rest(300)], loaded('rig'), at))).toEqual([]);
    expect(said(checkSegments([rest(300), rest(300), rest(1)], loaded('rig'), at))).toEqual([
      'campaign.yaml:14:5 protocols.3: all segments together take 10.02 min, more than longest_run of the rig; accepted: at most 10 min',
    ]);
  });
});

describe('a campaign', () => {
  const context: CampaignContext = {
    rig: loaded('rig'), protocols: ['kv', 'thrust-curve', 'response', 'efficiency-hold'], metrics: ['full_throttle_rpm', 'fall_time', 'desyncs', 'hover_power'],
    rigSettings: ['switching_frequency', 'timing_advance', 'spool_up_headroom'],
  };
  const found = (...edits: Edit[]): string[] => {
    const l = loaded('campaign', ...edits);
    if (l.value === null) throw new Error(said(l.problems).join('\n'));
    return said(checkCampaign(l, context));
  };
  test('the example campaign has no contradiction, and without knowledge nothing is called unknown', () => {
    expect(found()).toEqual([]);
    expect(said(checkCampaign(loaded('campaign'), { rig: null, protocols: null, metrics: null, rigSettings: null }))).toEqual([]);
  });
  const baseline: Edit = ['  baseline: { switching_frequency: 44 kHz, timing_advance: 16 deg }\n', ''];
  test.each<[string, Edit[], string]>([
    ['a level twice', [['[22 kHz, 44 kHz', '[22 kHz, 22000 Hz, 44 kHz']], 'campaign.yaml:8:43 factors.switching_frequency.levels.1: the level 22000 Hz stands twice (as 22 kHz); accepted: each level once'],
    ['levels of two kinds', [['[22 kHz, 44 kHz, 88 kHz]', '[22 kHz, 44 kHz, 88 deg]']], 'campaign.yaml:8:51 factors.switching_frequency.levels.2: 88 deg is an angle, the first level, 22 kHz, is a frequency; accepted: levels of one kind'],
    ['a factor that the rig does not take', [['timing_advance: { levels', 'timing_advanc: { levels'], ['timing_advance: 16 deg', 'timing_advanc: 16 deg']], 'campaign.yaml:9:3 factors.timing_advanc: timing_advanc is no setting of the rig known here; did you mean timing_advance?; accepted: switching_frequency | timing_advance | spool_up_headroom'],
    ['a supply factor that is no voltage', [['88 kHz], apply: rig', '88 kHz], apply: supply']], 'campaign.yaml:8:35 factors.switching_frequency.levels.0: 22 kHz is no voltage; accepted: a voltage such as 7.6 V'],
    ['a supply factor out of range', [['levels: [22 kHz, 44 kHz, 88 kHz], apply: rig', 'levels: [7 V, 13 V], apply: supply'], ['switching_frequency: 44 kHz', 'switching_frequency: 7 V']], 'campaign.yaml:8:40 factors.switching_frequency.levels.1: 13 V is outside the range of the supply in rig.yaml; accepted: 2 V .. 12 V'],
    ['a baseline that is no level', [['baseline: { switching_frequency: 44 kHz', 'baseline: { switching_frequency: 45 kHz']], 'campaign.yaml:20:36 order.baseline.switching_frequency: 45 kHz is no level of switching_frequency; accepted: 22 kHz | 44 kHz | 88 kHz'],
    ['a baseline that says too little', [[', timing_advance: 16 deg', '']], 'campaign.yaml:20:13 order.baseline: says nothing about timing_advance; accepted: a level for every factor'],
    ['a baseline of another factor', [['timing_advance: 16 deg }', 'timing_advanse: 16 deg }']], 'campaign.yaml:20:44 order.baseline.timing_advanse: timing_advanse is no factor known here; did you mean timing_advance?; accepted: switching_frequency | timing_advance'],
    ['baseline runs without a baseline', [baseline, ['baseline_every: 0', 'baseline_every: 5']], 'campaign.yaml:20:19 order.baseline_every: needs a baseline to run; accepted: order.baseline: { switching_frequency: 22 kHz, timing_advance: 0 deg }'],
    ['one factor at a time without a baseline', [baseline, ['kind: full', 'kind: one-at-a-time']], 'campaign.yaml:17:17 order.plan.kind: needs a baseline at which the other factors stay; accepted: order.baseline: { switching_frequency: 22 kHz, timing_advance: 0 deg }'],
    ['a constraint near no baseline', [baseline], 'campaign.yaml:27:7 choice.constraints.0: within means near the baseline, and there is none; accepted: order.baseline: { switching_frequency: 22 kHz, timing_advance: 0 deg }'],
    ['a point twice', [['kind: full', 'kind: points, points: [{ switching_frequency: 22 kHz, timing_advance: 0 deg }, { timing_advance: 0 deg, switching_frequency: 22000 Hz }]']], 'campaign.yaml:17:90 order.plan.points.1: this combination stands twice; accepted: each combination once; repeats: says how often'],
    ['an unknown protocol', [['- thrust-curve', '- thrust-curv']], 'campaign.yaml:12:5 protocols.1: thrust-curv is no protocol known here; did you mean thrust-curve?; accepted: kv | thrust-curve | response | efficiency-hold'],
    ['an unknown metric', [['fall_time: 20 ms, desyncs', 'fal_time: 20 ms, desyncs']], 'campaign.yaml:24:36 margins.fal_time: fal_time is no metric known here; did you mean fall_time?; accepted: full_throttle_rpm | fall_time | desyncs | hover_power'],
    ['an unknown objective', [['least: hover_power', 'least: hoverpower']], 'campaign.yaml:26:16 choice.objective.least: hoverpower is no metric known here; did you mean hover_power?; accepted: full_throttle_rpm | fall_time | desyncs | hover_power'],
    ['going on after the stop input', [['retry_once: []', 'retry_once: [STOP_INPUT]']], 'campaign.yaml:23:40 on_trip.retry_once.0: nothing goes on by itself after STOP_INPUT; accepted: a trip of a limit'],
    ['a trip twice in a list', [['retry_once: []', 'retry_once: [THRUST, THRUST]']], 'campaign.yaml:23:48 on_trip.retry_once.1: THRUST stands twice; accepted: each code once'],
    ['an average over mountings of which there is one', [['  craft: craft.yaml', '  craft: craft.yaml\n  estimand: over-mountings']], 'campaign.yaml:32:13 choice.estimand: nothing tells what re-mounting changes: there is one mounting, and rig.yaml has no remount study; accepted: order: { mountings: 3 } or more, or remount: in the rig file'],
    ['cooling that ends too warm to arm', [['motor_temperature: 35 °C, within', 'motor_temperature: 46 °C, within']], 'campaign.yaml:22:50 between_runs.cool_until.motor_temperature: cooling ends at 46 °C, but rig.yaml arms only below 45 °C; accepted: at most 45 °C'],
  ])('%s', (_, edits, text) => {
    expect(found(...edits)).toContain(text);
  });
  test.each<[string, Edit[]]>([
    ['a trip that is first retried, then skipped', [['retry_once: [], skip_setting: []', 'retry_once: [THRUST], skip_setting: [THRUST]']]],
    ['an average over two mountings', [['  seed: 7', '  seed: 7\n  mountings: 2'], ['  craft: craft.yaml', '  craft: craft.yaml\n  estimand: over-mountings']]],
  ])('%s is fine', (_, edits) => {
    expect(found(...edits)).toEqual([]);
  });
});
