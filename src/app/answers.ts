// A file of answers in place of a person: for rehearsals, for benches that another program attends, and for tests.
import { relative, resolve, workingFolder } from '../host/files';
import { loadFile } from '../model/load';
import { photoBytes } from './applied';
import { readOrRefuse, refuse } from './bench-folder';
import { BadInput } from './errors';
import type { HandsRequest, Operator } from './operator';
import type { ReadyCampaign } from './prepare';

/** Reads the answers for a campaign. @throws BadInput with every problem in the file, or when it is another campaign's */
export function answersFrom(path: string, ready: ReadyCampaign): Operator {
  const file = loadFile('answers', relative(workingFolder(), resolve(path)), readOrRefuse(path));
  refuse(file.problems);
  const { value } = file;
  if (value === null) throw new Error(`${path} was read without a problem and without a value`);
  if (value.name !== ready.campaign.name) throw new BadInput([`${file.file}: these are answers for the campaign ${value.name}, not for ${ready.campaign.name}`]);
  const unread = value.hands.flatMap((h, i) => (h.photo !== null && photoBytes(ready.folder, h.photo) === null
    ? [file.source.problem(['hands', i, 'photo'], `${h.photo} cannot be read in ${ready.folder}, or is above 20 MB`, 'an image in the bench folder')] : []));
  refuse(unread);
  const entryFor = (r: HandsRequest) => value.hands.find((h) => h.change === r.condition && spaceless(h.to) === spaceless(r.to));
  return {
    lacks: (requests) => requests.flatMap((r) => {
      const entry = entryFor(r);
      if (entry === undefined) return [`run ${r.run}: ${r.title}: no entry { change: ${r.condition}, to: ${r.to} }`];
      return r.ask.filter((q) => (entry.answers[q] ?? '').trim() === '').map((q) => `run ${r.run}: ${r.title}: no answer to "${q}"`);
    }),
    hands: (r) => {
      const entry = entryFor(r);
      if (entry === undefined) return Promise.resolve('stop');
      return Promise.resolve({ answers: entry.answers, photo: entry.photo, notes: entry.notes });
    },
    clear: () => Promise.resolve('clear'),
  };
}

function spaceless(text: string): string {
  return text.replace(/\s+/g, '');
}
