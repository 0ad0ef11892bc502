// article.yaml: what is under test: motor, propeller, ESC, and how they are mounted.
import { z } from 'zod';
import { count, noted, object, orNull, quantity, setting, text, word } from '../fields';
import { head } from './head';

const specimen = text('Which one of several of the same type', 'A').optional();

const motor = object('The motor', {
  name: text('Type', '1404 outrunner'),
  specimen,
  kv: quantity('kv', { about: 'Declared speed per volt', example: '4500 rpm/V', above: '0 rpm/V' }),
  pole_pairs: count('Pole pairs: half the number of magnets', 1, 100, 6),
  resistance: quantity('resistance', { about: 'Resistance between two leads at room temperature', example: '170 mohm', above: '0 ohm' }),
  no_load_current: quantity('current', { about: 'Current without a propeller', example: '500 mA', min: '0 A' }).optional(),
  max_current: quantity('current', { about: 'Highest current that the motor may draw for long', example: '9 A', above: '0 A' }),
  max_speed: quantity('speed', { about: 'Highest speed that the motor may reach', example: '38000 rpm', above: '0 rpm' }).optional(),
  mass: quantity('mass', { about: 'Mass with leads', example: '9 g', above: '0 g' }).optional(),
}).transform((v) => ({
  name: v.name, specimen: orNull(v.specimen), kv_rpm_per_V: v.kv, pole_pairs: v.pole_pairs, resistance_ohm: v.resistance,
  no_load_current_A: orNull(v.no_load_current), max_current_A: v.max_current, max_speed_rpm: orNull(v.max_speed), mass_kg: orNull(v.mass),
}));

const propeller = object('The propeller', {
  name: text('Type', '3-inch two-blade'),
  specimen,
  diameter: quantity('length', { about: 'Diameter', example: '3 in', above: '0 mm', max: '2 m' }),
  pitch: quantity('length', { about: 'Pitch', example: '1.8 in', above: '0 mm', max: '2 m' }),
  blades: count('Number of blades', 1, 12, 2),
  mounted: word('Is it on the motor now? A campaign may change it', ['on', 'off']),
  mass: quantity('mass', { about: 'Mass', example: '1.2 g', above: '0 g' }).optional(),
}).transform((v) => ({
  name: v.name, specimen: orNull(v.specimen), diameter_m: v.diameter, pitch_m: v.pitch, blades: v.blades, mounted: v.mounted === 'on', mass_kg: orNull(v.mass),
}));

const settings = noted(z.record(
  z.string().regex(/^[a-z][a-z0-9_]{0,63}$/), setting('Value of the setting'),
).meta({ description: 'Settings of the ESC as they are now; the simulated one has switching_frequency, timing_advance and spool_up_headroom', examples: [{ switching_frequency: '44 kHz' }] }), 'a map of settings such as switching_frequency: 44 kHz');

const esc = object('The electronic speed controller', {
  name: text('Type', '12 A four-layer'),
  specimen,
  firmware: text('What it runs, with version', 'as delivered').optional(),
  max_current: quantity('current', { about: 'Highest current that it may carry', example: '12 A', above: '0 A' }).optional(),
  settings: settings.prefault({}),
}).transform((v) => ({
  name: v.name, specimen: orNull(v.specimen), firmware: orNull(v.firmware), max_current_A: orNull(v.max_current), settings: v.settings,
}));

const mounting = object('How it is bolted to the stand', {
  name: text('Which mounting: a new one each time it is bolted on again', 'm1'),
  note: text('Anything that another mounting could change', 'four screws, 0.2 N m').optional(),
  blows: word('Which way the propeller blows', ['away-from-stand', 'towards-stand']).prefault('away-from-stand'),
}).transform((v) => ({ name: v.name, note: orNull(v.note), blows: v.blows }));

/** article.yaml */
export const articleSchema = object('An article: what is under test', {
  ...head('article', 'Name of the article', 'scout-1404'),
  about: text('A note for people', 'Simulated').optional(),
  motor,
  propeller,
  esc,
  mounting,
  nominal_voltage: quantity('voltage', { about: 'Voltage that it is used at', example: '7.6 V', above: '0 V', max: '100 V' }),
  hover_thrust: quantity('force', { about: 'Thrust of this one drivetrain when the craft hovers', example: '45 gf', above: '0 gf' }).optional(),
}).transform((v) => ({
  name: v.article, about: orNull(v.about), motor: v.motor, propeller: v.propeller, esc: v.esc, mounting: v.mounting,
  nominal_voltage_V: v.nominal_voltage, hover_thrust_N: orNull(v.hover_thrust),
}));

/** An article in SI units. */
export type Article = Readonly<z.output<typeof articleSchema>>;
