// What feeds the drivetrain and what takes up braking energy.
import { z } from 'zod';
import { count, noted, object, orNull, quantity, range, text } from '../fields';

const voltage = quantity('voltage', { about: 'Voltage that is set unless a protocol asks for another', example: '7.6 V', above: '0 V', max: '100 V' });
const current_limit = quantity('current', { about: 'Current limit of the supply', example: '15 A', above: '0 A', max: '1000 A' });
const voltageRange = range('voltage', { about: 'Voltages that the supply can be set to', example: '2 V .. 12 V' });
const settle = quantity('time', { about: 'How long the voltage needs after it is set', example: '200 ms', min: '0 s', max: '60 s' }).prefault('200 ms');

const twin = object('The supply of the simulated rig', { kind: z.literal('twin'), voltage, current_limit, range: voltageRange, settle })
  .transform((v) => ({ kind: v.kind, voltage_V: v.voltage, current_limit_A: v.current_limit, range_V: v.range, settle_s: v.settle }));

const manual = object('A supply or battery that a person sets', { kind: z.literal('manual'), voltage, current_limit, range: voltageRange.optional(), settle })
  .transform((v) => ({ kind: v.kind, voltage_V: v.voltage, current_limit_A: v.current_limit, range_V: orNull(v.range), settle_s: v.settle }));

const tcp = object('Over the network', {
  kind: z.literal('tcp'),
  host: text('Name or address', '192.168.1.20'),
  port: count('TCP port', 1, 65535, 5025).prefault(5025),
});
const serial = object('Over a serial port', {
  kind: z.literal('serial'),
  port: text('Path of the port', '/dev/ttyUSB0'),
  baud: count('Symbols per second', 300, 4_000_000, 9600).prefault(9600),
});

const simulated = object('The simulated instrument beside the simulated rig, over TCP inside this computer', { kind: z.literal('twin') });

/** Word in place of a question that an instrument does not understand. */
const UNASKED = 'none';

/** Commands of an instrument; `{}` stands for the number. The defaults are the SCPI-1999 ones. */
const commands = object('Commands that differ from SCPI-1999; {} stands for the number', {
  select: text('Selects the output', 'INST:NSEL {}').optional(),
  voltage: text('Sets the voltage', 'VOLT {}').prefault('VOLT {}'),
  current_limit: text('Sets the current limit', 'CURR {}').prefault('CURR {}'),
  over_voltage: text('Sets the over-voltage protection', 'VOLT:PROT {}').prefault('VOLT:PROT {}'),
  on: text('Switches the output on', 'OUTP ON').prefault('OUTP ON'),
  off: text('Switches the output off', 'OUTP OFF').prefault('OUTP OFF'),
  read_voltage: text('Measures the voltage', 'MEAS:VOLT?').prefault('MEAS:VOLT?'),
  read_current: text('Measures the current', 'MEAS:CURR?').prefault('MEAS:CURR?'),
  error: text('Reads the error queue', 'SYST:ERR?').prefault('SYST:ERR?'),
  identity: text('Asks who it is', '*IDN?').prefault('*IDN?'),
  confirm_voltage: text('Asks which voltage is set; none where it cannot tell', 'VOLT?').prefault('VOLT?'),
  confirm_current_limit: text('Asks which current limit is set; none where it cannot tell', 'CURR?').prefault('CURR?'),
  confirm_over_voltage: text('Asks which over-voltage protection is set; none where it cannot tell', 'VOLT:PROT?').prefault('VOLT:PROT?'),
  confirm_output: text('Asks whether the output is on; none where it cannot tell', 'OUTP?').prefault('OUTP?'),
  read_limiting: text('Asks whether it holds the current: bit 0 of the answer, as in STATus:QUEStionable; its meters tell when left out', 'STAT:QUES:COND?').optional(),
}).transform((v) => ({
  ...v, select: orNull(v.select), read_limiting: orNull(v.read_limiting), confirm_voltage: unlessUnasked(v.confirm_voltage),
  confirm_current_limit: unlessUnasked(v.confirm_current_limit), confirm_over_voltage: unlessUnasked(v.confirm_over_voltage), confirm_output: unlessUnasked(v.confirm_output),
}));

function unlessUnasked(command: string): string | null {
  return command === UNASKED ? null : command;
}

const scpi = object('A programmable laboratory supply (IEEE 488.2, SCPI-1999)', {
  kind: z.literal('scpi'),
  connection: noted(z.discriminatedUnion('kind', [tcp, serial, simulated]).meta({ description: 'How the supply is reached' }), 'kind: tcp | serial | twin'),
  output: count('Which of its outputs', 1, 16, 1).prefault(1),
  voltage,
  current_limit,
  over_voltage: quantity('voltage', { about: 'Over-voltage protection of the supply', example: '9 V', above: '0 V', max: '100 V' }).optional(),
  range: voltageRange,
  settle,
  tolerance: quantity('ratio', { about: 'How far the read-back may lie from what was set', example: '1 %', above: '0 %', max: '20 %' }).prefault('1 %'),
  answer_within: quantity('time', { about: 'How long it may take to answer', example: '1 s', min: '50 ms', max: '30 s' }).prefault('1 s'),
  identity: text('Beginning of the answer to *IDN? that is accepted', 'BENCHWORKS,PS').optional(),
  commands: commands.prefault({}),
}).transform((v) => ({
  kind: v.kind, connection: v.connection, output: v.output, voltage_V: v.voltage, current_limit_A: v.current_limit, over_voltage_V: orNull(v.over_voltage),
  range_V: v.range, settle_s: v.settle, tolerance: v.tolerance, answer_within_s: v.answer_within, identity: orNull(v.identity), commands: v.commands,
}));

/** The part of a rig file about a programmable supply. */
export type ScpiSupplyFile = z.output<typeof scpi>;

/** `supply:` */
export const supplySchema = noted(z.discriminatedUnion('kind', [twin, manual, scpi]).meta({ description: 'What feeds the drivetrain' }), 'kind: twin | manual | scpi');

const holds = quantity('voltage', { about: 'Voltage above which the bus does not rise', example: '9 V', above: '0 V', max: '100 V' });
const battery = object('A battery beside the supply', { kind: z.literal('battery'), holds }).transform((v) => ({ kind: v.kind, holds_V: v.holds }));
const clamp = object('An electronic clamp', { kind: z.literal('clamp'), holds }).transform((v) => ({ kind: v.kind, holds_V: v.holds }));
const resistor = object('A resistor across the bus', {
  kind: z.literal('resistor'),
  resistance: quantity('resistance', { about: 'Its resistance', example: '4.7 ohm', above: '0 ohm' }),
  holds,
}).transform((v) => ({ kind: v.kind, resistance_ohm: v.resistance, holds_V: v.holds }));
const none = object('Nothing: braking pumps the bus, so protocols that brake hard are refused', { kind: z.literal('none') });

/** `sink:` */
export const sinkSchema = noted(
  z.discriminatedUnion('kind', [battery, resistor, clamp, none]).meta({ description: 'What takes up the energy of braking' }), 'kind: battery | resistor | clamp | none',
);
