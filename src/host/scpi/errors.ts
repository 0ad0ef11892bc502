// What can go wrong with a supply, each with its name and with what to do next.
import type { ErrorEntry } from './responses';

export type SupplyFault =
  | 'UNREACHABLE' | 'LOST' | 'NO_ANSWER' | 'UNREADABLE' | 'NOT_OURS' | 'ERROR_REPORTED' | 'READ_BACK' | 'OUTPUT_STATE' | 'OUT_OF_RANGE';

/** A supply did not do what it was asked. Its output was switched off, as far as it can still be reached. */
export class SupplyError extends Error {
  override name = 'SupplyError';
  constructor(readonly fault: SupplyFault, message: string, options?: { cause?: unknown }) {
    super(message, options);
  }
}

/** Advice by error number: SCPI-1999 volume 2, chapter 21. Only numbers that a supply gives in answer to what is sent here. */
const ADVICE: Readonly<Record<number, string>> = {
  [-102]: 'it cannot read the command: correct supply.commands in the rig file',
  [-103]: 'it cannot read the command: correct supply.commands in the rig file',
  [-104]: 'it wants another kind of value there: correct supply.commands in the rig file',
  [-108]: 'the command takes no value on this instrument: leave out {} in supply.commands',
  [-109]: 'the command needs a value on this instrument: correct supply.commands in the rig file',
  [-113]: 'it does not know the command: look it up in its manual and write it under supply.commands in the rig file',
  [-131]: 'it does not take the unit: send numbers without one',
  [-200]: 'it knows the command and cannot carry it out now: look at its display (remote lock, protection, list mode)',
  [-203]: 'the command is protected: unlock the instrument',
  [-221]: 'the value contradicts another setting, often the over-voltage protection: compare voltage and over_voltage in the rig file',
  [-222]: 'the value is beyond what this output can do: compare supply.range and current_limit in the rig file with its manual',
  [-224]: 'it does not take this value: look the command up in its manual',
  [-241]: 'that output or option is not built in: correct supply.output in the rig file',
  [-310]: 'it reports a fault of its own: switch it off and on; if it comes back, have it looked at',
  [-330]: 'its self-test failed: have it looked at',
  [-350]: 'its error queue overflowed, errors were lost: nothing that it was told can be taken for granted; start again',
  [-363]: 'commands came faster than it reads them: lower the baud rate or use TCP',
  [-365]: 'it did not get the whole command in time: look at cable and baud rate',
  [-410]: 'a command came before its answer was read: nothing else may talk to the supply at the same time',
  [-420]: 'an answer was asked for that there is none of: another program talks to the supply, or supply.commands is wrong',
};

/** Class of an error number (SCPI-1999 volume 2, 21.8). */
export function errorClass(code: number): string {
  if (code > 0) return 'an error of the maker';
  if (code <= -100 && code > -200) return 'a command error';
  if (code <= -200 && code > -300) return 'an execution error';
  if (code <= -300 && code > -400) return 'an error of the instrument';
  if (code <= -400 && code > -500) return 'a query error';
  return 'an event';
}

/** What to do about an error number. */
export function adviceFor(code: number): string {
  return ADVICE[code] ?? (code > 0 ? 'look the number up in its manual' : 'look at the command and at the display of the instrument');
}

/** `-222 "Data out of range" (an execution error)`. */
export function entryText(entry: ErrorEntry): string {
  const words = [entry.message, entry.detail].filter((w) => w !== '').join('; ');
  return `${entry.code}${words === '' ? '' : ` "${words}"`} (${errorClass(entry.code)})`;
}
