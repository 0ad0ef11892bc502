// The measuring channels of a rig: what each measures, how often, with which filter, gain and uncertainty.
import { z } from 'zod';
import type { Dimension } from '../../units';
import { CHANNEL_KINDS, type ChannelKind } from '../channel';
import { count, noted, object, orNull, plainNumber, quantity, range, text, word } from '../fields';

/** Dimension of a channel's values, and of differences of them (gain, offset). */
export const DIMENSION_OF: Readonly<Record<ChannelKind, Dimension>> = {
  current: 'current', voltage: 'voltage', speed: 'speed', thrust: 'force', motor_temperature: 'temperature', esc_temperature: 'temperature', torque: 'torque',
};
export const STEP_DIMENSION_OF: Readonly<Record<ChannelKind, Dimension>> = {
  ...DIMENSION_OF, motor_temperature: 'temperature_difference', esc_temperature: 'temperature_difference',
};

const address = count('Address on the I2C bus', 3, 119, 64);
const board = object('The board measures it by itself', { kind: z.literal('board') });
const telemetry = object('The ESC reports it', { kind: z.literal('esc-telemetry') });
const powerMonitor = object('I2C power monitor with a shunt', {
  kind: z.literal('power-monitor'),
  part: word('Which converter', ['ina226', 'ina219']),
  address,
  shunt: quantity('resistance', { about: 'Shunt resistance', example: '2 mohm', above: '0 ohm' }),
}).transform((v) => ({ kind: v.kind, part: v.part, address: v.address, shunt_ohm: v.shunt }));
const boost = plainNumber('Gain of an amplifier of yours before the input', 100).prefault(1);
const pt100 = object('Pt100 resistance thermometer (IEC 60751), fed with a constant current, four wires', {
  kind: z.literal('pt100'),
  feed: quantity('current', { about: 'The constant current through it', example: '1 mA', above: '0 A', max: '10 mA' }),
  boost,
}).transform((v) => ({ kind: v.kind, feed_A: v.feed, boost: v.boost }));
const typeK = object('Type K thermocouple (IEC 60584)', {
  kind: z.literal('type-k'),
  cold_junction: quantity('temperature', { about: 'Temperature where its wires meet the copper; how far it may be off belongs into u_offset', example: '23 °C', min: '-40 °C', max: '85 °C' }),
  boost,
}).transform((v) => ({ kind: v.kind, cold_junction_degC: v.cold_junction, boost: v.boost }));
const element = noted(z.discriminatedUnion('kind', [pt100, typeK]).meta({ description: 'A temperature sensor whose law is that of its standard; the channel counts in steps of gain from 0 °C' }), 'kind: pt100 | type-k');

const converter = object('I2C converter', {
  kind: z.literal('converter'),
  part: word('Which converter', ['nau7802', 'ads1115']),
  address,
  input: count('Which of its inputs', 0, 3, 0).prefault(0),
  against: count('The input that it is measured against (ads1115); ground when left out', 1, 3, 1).optional(),
  amplifier: count('Gain of its amplifier', 1, 128, 128).prefault(1),
  element: element.optional(),
}).transform((v) => ({ kind: v.kind, part: v.part, address: v.address, input: v.input, against: orNull(v.against), amplifier: v.amplifier, element: orNull(v.element) }));
const analog = object('Analogue input of the board', { kind: z.literal('analog'), input: count('Number of the input', 0, 15, 0), element: element.optional() })
  .transform((v) => ({ kind: v.kind, input: v.input, element: orNull(v.element) }));
const thermistor = object('Thermistor on an analogue input', {
  kind: z.literal('thermistor'),
  input: count('Number of the input', 0, 15, 1),
  resistance_25: quantity('resistance', { about: 'Resistance at 25 °C', example: '10 kohm', above: '0 ohm' }),
  beta: quantity('temperature_difference', { about: 'Its beta constant', example: '3950 K', min: '1000 K', max: '10000 K' }),
  series: quantity('resistance', { about: 'The fixed resistor that it divides against', example: '10 kohm', above: '0 ohm' }),
}).transform((v) => ({ kind: v.kind, input: v.input, resistance_25_ohm: v.resistance_25, beta_K: v.beta, series_ohm: v.series }));
const analogTachometer = object('A tachometer that gives a voltage, on an analogue input', {
  kind: z.literal('analog-tachometer'),
  input: count('Number of the input', 0, 15, 2),
  per_count: quantity('speed', { about: 'Speed that one count of the input stands for', example: '45 rpm', above: '0 rpm' }),
}).transform((v) => ({ kind: v.kind, input: v.input, per_count_rpm: v.per_count }));
const tachometer = object('A tachometer that gives pulses', {
  kind: z.literal('tachometer'),
  input: count('Number of the input', 0, 127, 3),
  pulses_per_turn: count('Pulses in one turn', 1, 1000, 2),
});

const SOURCES = ['board', 'esc-telemetry', 'power-monitor', 'converter', 'analog', 'thermistor', 'tachometer', 'analog-tachometer'] as const;
const sourceWord = word('Where the reading comes from', ['board', 'esc-telemetry']).transform((kind) => ({ kind }));
const sourceMap = noted(
  z.discriminatedUnion('kind', [board, telemetry, powerMonitor, converter, analog, thermistor, tachometer, analogTachometer]).meta({ description: 'Where the reading comes from' }),
  `kind: ${SOURCES.join(' | ')}`,
);
const source = noted(z.union([sourceWord, sourceMap]).meta({ description: 'Where the reading comes from' }), 'board | esc-telemetry | a map with kind').prefault('board');

const common = {
  period: quantity('time', { about: 'Time between fresh samples', example: '1 ms', min: '10 us', max: '10 s' }),
  source,
  filter: quantity('frequency', { about: 'Corner of the analogue filter', example: '1 kHz', above: '0 Hz' }).optional(),
  averages: count('Conversions averaged into one sample', 1, 65535, 8).prefault(1),
  u_gain: quantity('ratio', { about: 'Standard uncertainty of the gain', example: '0.5 %', min: '0 %', max: '50 %' }).prefault('0 %'),
  placement: text('Where the sensor sits', 'ESC supply lead').optional(),
};

/** `channels.<kind>`: every kind but speed. */
function ordinary(kind: ChannelKind, gain: string, span: string, offset: string) {
  const step = STEP_DIMENSION_OF[kind];
  return object(`The ${kind.replace('_', ' ')} channel`, {
    ...common,
    gain: quantity(step, { about: 'What one count is worth', example: gain, ...(kind === 'current' || kind === 'voltage' ? { above: fileZero(step) } : {}) }),
    zero: plainNumber('Counts at zero', 0).prefault(0),
    span: range(DIMENSION_OF[kind], { about: 'What the converter can show', example: span }).optional(),
    u_offset: quantity(step, { about: 'Standard uncertainty of the offset', example: offset, min: fileZero(step) }).prefault(fileZero(step)),
    natural_frequency: quantity('frequency', { about: 'Natural frequency of the stand with its sensor', example: '95 Hz', above: '0 Hz' }).optional(),
  }).transform((v): RigChannel => ({ kind, ...shared(v), gain: v.gain, zero: v.zero, span: orNull(v.span), u_offset: v.u_offset, natural_frequency_Hz: orNull(v.natural_frequency), pole_pairs: null }));
}

const speed = object('The speed channel: electrical periods', {
  ...common,
  gain: quantity('time', { about: 'What one count of the electrical period is worth', example: '1 us', above: '0 s' }),
  pole_pairs: count('Pole pairs of the motor: electrical periods in one turn', 1, 100, 6),
  span: range('speed', { about: 'What the sensor can show', example: '500 rpm .. 100000 rpm' }).optional(),
  u_offset: quantity('speed', { about: 'Standard uncertainty of the offset', example: '0 rpm', min: '0 rpm' }).prefault('0 rpm'),
}).transform((v): RigChannel => ({ kind: 'speed', ...shared(v), gain: v.gain, zero: 0, span: orNull(v.span), u_offset: v.u_offset, natural_frequency_Hz: null, pole_pairs: v.pole_pairs }));

/** Where a channel's reading comes from. */
export type ChannelSource = z.output<typeof source>;
/** A temperature sensor on a converter or an analogue input. */
export type ChannelElement = z.output<typeof element>;

/** A channel as the rig file declares it. `gain`, `u_offset` and `span` are in the channel's SI unit (speed: gain in seconds per count). */
export interface RigChannel {
  readonly kind: ChannelKind;
  readonly period_us: number;
  readonly source: ChannelSource;
  readonly filter_Hz: number | null;
  readonly averages: number;
  readonly gain: number;
  /** Counts at zero SI. */
  readonly zero: number;
  readonly span: { readonly from: number; readonly to: number } | null;
  /** Relative standard uncertainty of the gain. */
  readonly u_gain: number;
  readonly u_offset: number;
  readonly placement: string | null;
  readonly natural_frequency_Hz: number | null;
  /** Speed only. */
  readonly pole_pairs: number | null;
}

/** `channels:` in the order of CHANNEL_KINDS, whatever the order in the file. */
export const channelsSchema = object('Measuring channels', {
  current: ordinary('current', '10 mA', '-20 A .. 60 A', '5 mA'),
  voltage: ordinary('voltage', '1.25 mV', '0 V .. 36 V', '2 mV'),
  speed: speed.optional(),
  thrust: ordinary('thrust', '0.0005 N', '-1 N .. 5 N', '0.002 N').optional(),
  motor_temperature: ordinary('motor_temperature', '0.1 K', '-20 °C .. 200 °C', '1 K').optional(),
  esc_temperature: ordinary('esc_temperature', '0.1 K', '-20 °C .. 200 °C', '1 K').optional(),
  torque: ordinary('torque', '0.01 mN m', '-0.1 N m .. 0.1 N m', '0.05 mN m').optional(),
}).transform((v): readonly RigChannel[] => CHANNEL_KINDS.flatMap((kind) => v[kind] ?? []));

function shared(v: { period: number; source: ChannelSource; filter?: number | undefined; averages: number; u_gain: number; placement?: string | undefined }) {
  return { period_us: Math.round(v.period * 1e6), source: v.source, filter_Hz: orNull(v.filter), averages: v.averages, u_gain: v.u_gain, placement: orNull(v.placement) };
}

function fileZero(dimension: Dimension): string {
  const units: Partial<Record<Dimension, string>> = { current: 'A', voltage: 'V', force: 'N', temperature_difference: 'K', torque: 'N m' };
  return `0 ${units[dimension] ?? ''}`;
}
