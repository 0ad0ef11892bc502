// craft.yaml: the aircraft that the drivetrain is for, as far as hover and endurance need it.
import type { z } from 'zod';
import { count, object, orNull, quantity, text } from '../fields';
import { head } from './head';

const battery = object('The flight battery', {
  energy: quantity('energy', { about: 'Energy when full, at a slow discharge', example: '6.3 Wh', above: '0 Wh' }),
  cells: count('Cells in series', 1, 24, 2),
  nominal_cell: quantity('voltage', { about: 'Nominal voltage of a cell', example: '3.7 V', min: '1 V', max: '4.5 V' }).prefault('3.7 V'),
  sag: quantity('ratio', { about: 'How far the pack voltage falls in hover, as a share of nominal', example: '4 %', min: '0 %', max: '50 %' }),
  usable: quantity('ratio', { about: 'Share of the energy that is flown before landing', example: '80 %', above: '0 %', max: '100 %' }),
  mass: quantity('mass', { about: 'Mass, already part of the mass of the craft', example: '45 g', above: '0 g' }).optional(),
}).transform((v) => ({
  energy_Wh: v.energy / 3600, cells: v.cells, nominal_cell_V: v.nominal_cell, sag: v.sag, usable: v.usable, mass_kg: orNull(v.mass),
}));

/** craft.yaml */
export const craftSchema = object('A craft: what the drivetrain lifts', {
  ...head('craft', 'Name of the craft', 'scout'),
  about: text('A note for people', 'Greenhouse crop scout, simulated').optional(),
  mass: quantity('mass', { about: 'Take-off mass with battery', example: '180 g', above: '0 g' }),
  rotors: count('Number of rotors', 1, 16, 4),
  battery,
  avionics: quantity('power', { about: 'Power of everything but the motors', example: '2.5 W', min: '0 W' }),
  installed_loss: quantity('ratio', { about: 'Thrust lost on the craft against the stand: arms, neighbours, ducts', example: '6 %', min: '0 %', max: '60 %' }),
  installed_loss_u: quantity('ratio', { about: 'Standard uncertainty of that loss', example: '2 %', min: '0 %', max: '30 %' }).prefault('0 %'),
}).transform((v) => ({
  name: v.craft, about: orNull(v.about), mass_kg: v.mass, rotors: v.rotors, battery: v.battery, avionics_W: v.avionics,
  installed_loss: v.installed_loss, installed_loss_u: v.installed_loss_u,
}));

/** A craft; energies in Wh, everything else in SI. */
export type Craft = Readonly<z.output<typeof craftSchema>>;
