// Goal: registers, steps, codings and laws of the measuring parts are those of their published sources.
// Method: figures typed from the sources, named beside each; drivers' words read bit by bit.
import { describe, expect, test } from 'vitest';
import { signed, unsigned, word } from '../../src/host/firmata/coding';
import { adsMux, ads1115Config, ina219Config, ina226Config } from '../../src/host/firmata/parts';
import { ChannelReader, lawOf, registerOf, type Sample } from '../../src/host/firmata/readings';
import { pulseOf } from '../../src/host/firmata/throttle-output';
import { ADS1115, gainBySource, INA226 } from '../../src/model/converters';
import type { ChannelSource, RigChannel } from '../../src/model/files/rig-channels';
import { dividerResistance_ohm, thermistor_degC, thermistor_ohm } from '../../src/model/sensor-laws';
import { PERIOD_NONE } from '../../src/wire/messages';

const channel = (kind: RigChannel['kind'], source: ChannelSource, more: Partial<RigChannel> = {}): RigChannel => ({
  kind, source, period_us: 10_000, filter_Hz: null, averages: 1, gain: 1, zero: 0, span: null, u_gain: 0, u_offset: 0, placement: null, natural_frequency_Hz: null, pole_pairs: null, ...more,
});
const monitor = (part: 'ina226' | 'ina219', shunt_ohm: number): ChannelSource => ({ kind: 'power-monitor', part, address: 64, shunt_ohm });
const converter = (part: 'ads1115' | 'nau7802', more: Partial<Extract<ChannelSource, { kind: 'converter' }>> = {}): ChannelSource =>
  ({ kind: 'converter', part, address: 72, input: 0, against: null, amplifier: 1, element: null, ...more });

describe('INA226 (SBOS547, table 1 and register table)', () => {
  test('the data sheet\'s example: 2 mΩ, 1F40h is 20 mV and 10 A; 2570h is 11.98 V', () => {
    const current = channel('current', monitor('ina226', 0.002));
    const voltage = channel('voltage', monitor('ina226', 0.002));
    expect(signed([0x1f, 0x40])).toBe(8000);
    expect(8000 * INA226.shunt_V).toBeCloseTo(0.02, 12);
    expect(8000 * (gainBySource(current) ?? NaN)).toBeCloseTo(10, 9);
    expect(unsigned([0x25, 0x70]) * (gainBySource(voltage) ?? NaN)).toBeCloseTo(11.98, 9);
    expect(registerOf(current)).toMatchObject({ address: 64, register: 1, bytes: 2 });
    expect(registerOf(voltage)).toMatchObject({ register: 2 });
    expect(registerOf(current)?.decode([0xff, 0xff])).toBe(-1);
  });

  test('the configuration differs from that at power-on, 4127h, in averages and times only', () => {
    expect(ina226Config(2200, 1)).toBe(0x4127);
    expect(ina226Config(10_000, 4)).toBe(0x4000 | (1 << 9) | (4 << 6) | (4 << 3) | 7);
    // One microsecond less and the next shorter conversion is taken.
    expect(ina226Config(2199, 1)).toBe(0x4000 | (3 << 6) | (3 << 3) | 7);
  });
});

test('INA219 (SBOS448F, tables 4 and 5, bus voltage register): 399Fh at power-on, bus voltage in the upper 13 bits, 10 µV and 4 mV', () => {
  expect(ina219Config(1)).toBe(0x399f);
  expect(registerOf(channel('voltage', monitor('ina219', 0.1)))?.decode(word((3000 << 3) | 2))).toBe(3000);
  expect(gainBySource(channel('voltage', monitor('ina219', 0.1)))).toBeCloseTo(0.004, 12);
  expect(gainBySource(channel('current', monitor('ina219', 0.1)))).toBeCloseTo(1e-4, 12);
});

describe('ADS1115 (SBAS444, table 7-1)', () => {
  test.each([[1, 125], [2, 62.5], [4, 31.25], [8, 15.625], [16, 7.8125]])('a gain of %i makes steps of %d µV', (gain, step_uV) => {
    expect(((ADS1115.full_V.get(gain) ?? NaN) / 32768) * 1e6).toBeCloseTo(step_uV, 9);
  });

  test('multiplexer, gain, rate and continuous mode stand where the data sheet has them', () => {
    expect(adsMux(0, null)).toBe(4);
    expect(adsMux(3, null)).toBe(7);
    expect([adsMux(0, 1), adsMux(0, 3), adsMux(1, 3), adsMux(2, 3)]).toEqual([0, 1, 2, 3]);
    expect(adsMux(1, 2)).toBeNull();
    const config = ads1115Config(channel('thrust', converter('ads1115', { against: 1, amplifier: 16 })), 10_000);
    expect([(config >> 12) & 7, (config >> 9) & 7, (config >> 8) & 1, (config >> 5) & 7]).toEqual([0, 5, 0, 4]);
    // 100 readings a second and a clock that may be 10 % slow: 128, not 110 or less.
    expect(ADS1115.rates_Hz[(config >> 5) & 7]).toBe(128);
  });

  test('both ends of the range are no measurement', () => {
    const decode = registerOf(channel('thrust', converter('ads1115')))?.decode;
    expect(decode?.([0x7f, 0xff])).toBeNull();
    expect(decode?.([0x80, 0x00])).toBeNull();
    expect(decode?.([0x7f, 0xfe])).toBe(32766);
    expect(decode?.([0x80, 0x01])).toBe(-32767);
  });
});

test('24 bits in two\'s complement, most significant first (HX711 data sheet; its ends 800000h and 7FFFFFh from memory)', () => {
  expect(signed([0x80, 0, 0])).toBe(-8_388_608);
  expect(signed([0x7f, 0xff, 0xff])).toBe(8_388_607);
  expect(signed([0xff, 0xff, 0xff])).toBe(-1);
  const decode = registerOf(channel('thrust', converter('nau7802', { amplifier: 128 })))?.decode;
  expect(decode?.([0x7f, 0xff, 0xff])).toBeNull();
  expect(decode?.([0x80, 0, 0])).toBeNull();
  expect(decode?.([0x7f, 0xff, 0xfe])).toBe(8_388_606);
});

describe('thermistor', () => {
  test.each([[0, 33620.604], [25, 10_000], [50, 3588.183], [85, 1086.671], [100, 697.52]])('beta 3950 K, 10 kΩ at %i °C: %d Ω, and back (computed from the beta equation)', (degC, ohm) => {
    expect(thermistor_ohm(degC, 10_000, 3950)).toBeCloseTo(ohm, 2);
    expect(thermistor_degC(ohm, 10_000, 3950)).toBeCloseTo(degC, 4);
  });

  // Vishay 2322 640, document 29049 (2003): B25/85 = 3977 K, 32.56 kΩ at 0 °C. The beta equation is an approximation: 0.76 K off here.
  test('a 10 kΩ part of a maker\'s table reads 0 °C within 0.8 K', () => {
    expect(Math.abs(thermistor_degC(32_560, 10_000, 3977))).toBeLessThan(0.8);
  });

  test('on an input: the divider, and no reading when it is open or shorted', () => {
    expect(dividerResistance_ohm(0.5, 10_000)).toBeCloseTo(10_000, 9);
    const t = channel('motor_temperature', { kind: 'thermistor', input: 0, resistance_25_ohm: 10_000, beta_K: 3950, series_ohm: 10_000 }, { gain: 0.1 });
    const { law } = lawOf(t);
    const at25 = law(511.5 * 2, 2);
    expect(at25.valid).toBe(true);
    expect(Math.abs(at25.counts - 250)).toBeLessThanOrEqual(1);
    expect([law(2, 1).valid, law(3, 1).valid, law(1020, 1).valid, law(1021, 1).valid]).toEqual([false, true, true, false]);
  });
});

test('a tachometer\'s voltage becomes an electrical period; standstill is no reading', () => {
  const t = channel('speed', { kind: 'analog-tachometer', input: 2, per_count_rpm: 50 }, { gain: 1e-6, pole_pairs: 7 });
  const { law } = lawOf(t);
  // 200 counts are 10 000 rpm: a turn of 6 ms, an electrical period of 857 µs.
  expect(law(200, 1)).toEqual({ counts: 857, valid: true });
  expect(law(1, 1)).toEqual({ counts: PERIOD_NONE, valid: false });
  expect(law(2, 1)).toEqual({ counts: PERIOD_NONE, valid: false }); // 100 rpm, 85.7 ms: longer than a count can tell
});

test('readings add up to one sample a period; one that could not be had is told at once', () => {
  const got: Sample[] = [];
  const reader = new ChannelReader(channel('thrust', converter('ads1115'), { period_us: 30_000, averages: 2 }), 10_000, 2, lawOf(channel('thrust', converter('ads1115'))).law, (s) => got.push(s));
  for (const reading of [1, 2, 4, 8, 16, 32]) reader.take(reading);
  expect(got).toEqual([{ counts: 6, valid: true }, { counts: 48, valid: true }]);
  reader.take(null);
  expect(got.at(-1)).toEqual({ counts: 0, valid: false });
});

test('RC pulse: 1000 µs is one end, 2000 µs the other (common practice, no published source)', () => {
  const throttle = { signal: 'servo-pulse', stop_pulse_us: 1000, full_pulse_us: 2000, idle: 0, bump: 0.1, boot_wait_s: 0 } as const;
  expect([0, 1, 5, 5000, 10_000].map((raw) => pulseOf(raw, throttle))).toEqual([1000, 1000, 1001, 1500, 2000]);
});
