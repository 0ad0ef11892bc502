// answers.yaml: what a person would be asked during a campaign, answered beforehand.
import { z } from 'zod';
import { noted, object, orNull, text, word } from '../fields';
import { head } from './head';

const hand = object('One change by hand, answered', {
  change: text('What is changed: a factor, propeller_mounted, supply_voltage or mounting_number', 'motor'),
  to: text('The level that it is brought to', 'specimen-b'),
  checklist: word('Every step of the checklist has been, or will have been, done', ['done']),
  answers: noted(z.record(z.string(), noted(z.union([z.string(), z.number()]), 'a text or a number').transform(String)).meta({ description: 'Question → answer, for what the campaign asks', examples: [{ 'Serial number': 'A-17' }] }), 'a map such as Serial number: A-17').prefault({}),
  photo: text('Path of a photo, from the bench folder; the photo is kept in the record', 'photos/specimen-b.jpg').optional(),
  notes: text('Anything worth keeping', 'sits tight').optional(),
}).transform((v) => ({ change: v.change, to: v.to, answers: v.answers, photo: orNull(v.photo), notes: v.notes ?? '' }));

/** `run --answers FILE` */
export const answersSchema = object('Answers to what a campaign asks of a person, for runs without one', {
  ...head('answers', 'Name of the campaign that they are for', 'motor-swap'),
  hands: noted(z.array(hand).max(10_000).meta({ description: 'The changes by hand, in any order; one entry serves every time that the change comes round' }), 'a list of { change, to, checklist: done }'),
}).transform((v) => ({ name: v.answers, hands: v.hands }));

export type Answers = Readonly<z.output<typeof answersSchema>>;
