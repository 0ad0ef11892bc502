// How the rig is reached: the simulated rig, a board that speaks our wire, or a Firmata board. And its throttle output.
import { z } from 'zod';
import { count, flag, noted, object, orNull, quantity, slug, text, word } from '../fields';

const usb = object('USB identity of the port, for a name that does not change between plugs', {
  vendor: text('Vendor id, four hexadecimal digits', '2341'),
  product: text('Product id, four hexadecimal digits', '0043'),
  serial: text('Serial number of the device', 'A5069RR4').optional(),
}).transform((v) => ({ vendor: v.vendor, product: v.product, serial: orNull(v.serial) }));

const port = { port: text('Path of the port', '/dev/ttyACM0').optional(), usb: usb.optional() };

const fault = object('A fault that the simulated rig plays, for trying out the stopping layers', {
  fault: slug('Which fault', 'locked-rotor'),
  at: quantity('time', { about: 'When it begins, from the start of a run', example: '2 s', min: '0 s' }),
  for: quantity('time', { about: 'How long it lasts; to the end of the run when left out', example: '300 ms', above: '0 s' }).optional(),
}).transform((v) => ({ fault: v.fault, at_s: v.at, for_s: orNull(v.for) }));

const simulated = flag('A simulated or emulated board answers: every record, figure and screen says so. A board that says otherwise is refused').prefault(false);

const twin = object('The simulated rig', {
  kind: z.literal('twin'),
  twin: slug('Which simulated bench', 'scout'),
  seed: count('Seed of every random draw: same seed, same records', 0, 4294967295, 1).prefault(1),
  noise: word('How noisy its sensors are', ['none', 'quiet', 'usual', 'harsh']).prefault('usual'),
  faults: z.array(fault).meta({ description: 'Faults to play' }).prefault([]),
});

const serial = object('A board that speaks our wire over a serial port', {
  kind: z.literal('serial'),
  ...port,
  simulated,
  board: count('Serial number of the board that must answer, such as 0x0000004e; `rig watch` tells it. Any board when left out', 0, 4_294_967_295, 78).optional(),
  baud: count('Symbols per second', 9600, 12_000_000, 921_600).prefault(921_600),
  silence: quantity('time', { about: 'Silence of an armed board after which the link counts as lost', example: '50 ms', min: '20 ms', max: '1 s' }).prefault('50 ms'),
}).transform((v) => ({ kind: v.kind, port: orNull(v.port), usb: orNull(v.usb), board: orNull(v.board), simulated: v.simulated, baud: v.baud, silence_s: v.silence }));

const stopInput = object('A digital input that stops the motor', {
  pin: count('Number of the pin', 0, 127, 2),
  active: word('Level that means stop', ['low', 'high']).prefault('low'),
});

const firmata = object('A board with stock Firmata firmware; the controller runs on the computer. For attended runs unless a cut-off is declared', {
  kind: z.literal('firmata'),
  ...port,
  simulated,
  baud: count('Symbols per second', 9600, 2_000_000, 57_600).prefault(57_600),
  throttle_pin: count('Pin of the servo-type throttle output', 0, 127, 9),
  stop_input: stopInput.optional(),
}).transform((v) => ({
  kind: v.kind, port: orNull(v.port), usb: orNull(v.usb), simulated: v.simulated, baud: v.baud, throttle_pin: v.throttle_pin, stop_input: orNull(v.stop_input),
}));

/** `link:` */
export const linkSchema = noted(z.discriminatedUnion('kind', [twin, serial, firmata]).meta({ description: 'How the rig is reached' }), 'kind: twin | serial | firmata');

/** `throttle:` how the ESC takes its throttle and wakes up. */
export const throttleSchema = object('The throttle output and the ESC that listens to it', {
  signal: word('What travels to the ESC', ['twin', 'digital-frame', 'servo-pulse']).prefault('twin'),
  stop_pulse: quantity('time', { about: 'Servo pulse of stop', example: '1000 us', min: '500 us', max: '2500 us' }).prefault('1000 us'),
  full_pulse: quantity('time', { about: 'Servo pulse of full throttle', example: '2000 us', min: '500 us', max: '2500 us' }).prefault('2000 us'),
  idle: quantity('ratio', { about: 'Least throttle at which the motor turns, distinct from stop', example: '4 %', min: '0 %', max: '50 %' }).prefault('0 %'),
  bump: quantity('ratio', { about: 'Throttle of the first short spin when a rig is commissioned', example: '10 %', above: '0 %', max: '30 %' }).prefault('10 %'),
  boot_wait: quantity('time', { about: 'How long the ESC needs at stop after power-on', example: '3 s', min: '0 s', max: '60 s' }).prefault('0 s'),
}).transform((v) => ({
  signal: v.signal, stop_pulse_us: v.stop_pulse * 1e6, full_pulse_us: v.full_pulse * 1e6, idle: v.idle, bump: v.bump, boot_wait_s: v.boot_wait,
}));
