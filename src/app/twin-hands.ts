// The hands of the simulated bench: what is typed while `twin serve` runs.
import type { Rig } from '../model/files';
import type { TwinBoard } from '../twin/board';
import { FAULTS, faultNamed, settingName } from '../twin/configure';
import type { SimulatedRig } from '../twin/physics';
import { parseAny, parseQuantity } from '../units';

/** What can be typed, one line each, with what it does. */
export const HANDS: readonly (readonly [string, string])[] = [
  ['supply 3 V', 'sets the supply'],
  ['output on|off', 'switches the supply'],
  ['propeller on|off', 'mounts the propeller or takes it off'],
  ['remount', 'takes the article off and mounts it again'],
  ['setting NAME VALUE', 'changes a setting of the ESC, such as: setting timing_advance 16 deg'],
  ['fault NAME', `puts a fault in: ${Object.keys(FAULTS).join(', ')}`],
  ['repair', 'takes every fault out'],
  ['stop-input on|off', 'presses or releases the stop input of the board'],
];

/** Does what the line says, on the bench as it stands. Returns a sentence: what was done, or why not. */
export function handle(line: string, sim: SimulatedRig, board: TwinBoard, rig: Rig): string {
  const [verb = '', ...rest] = line.trim().split(/\s+/);
  const what = rest.join(' ');
  try {
    switch (verb) {
      case '': return '';
      case 'supply': {
        const volts = parseQuantity(what, 'voltage');
        if (!volts.ok) return `supply ${what}: accepted: a voltage such as 7.6 V`;
        sim.setSupply(volts.value, rig.supply.current_limit_A);
        return `The supply stands at ${volts.value} V.`;
      }
      case 'output':
        sim.setOutput(onOff(what));
        return `The supply is ${what}.`;
      case 'propeller':
        sim.setPropeller(onOff(what));
        return `The propeller is ${what}.`;
      case 'remount':
        sim.remount();
        return 'The article is mounted anew.';
      case 'setting': {
        const [name = '', ...value] = rest;
        const parsed = parseAny(value.join(' '));
        if (!parsed.ok) return `setting ${name}: accepted: a quantity such as 24 kHz`;
        sim.setSetting(settingName(name), parsed.value.value);
        return `${name} is ${value.join(' ')}.`;
      }
      case 'fault':
        sim.inject(faultNamed(what));
        return `Fault: ${what}.`;
      case 'repair':
        sim.clearFaults();
        return 'Every fault is out.';
      case 'stop-input':
        board.stopInput(onOff(what));
        return `The stop input is ${what === 'on' ? 'pressed' : 'released'}.`;
      default:
        return `"${verb}" is nothing that hands can do here; accepted: ${HANDS.map(([text]) => text).join(' · ')}`;
    }
  } catch (error) {
    return error instanceof Error ? error.message : String(error);
  }
}

function onOff(word: string): boolean {
  if (word === 'on') return true;
  if (word === 'off') return false;
  throw new RangeError(`"${word}": accepted: on, off`);
}
