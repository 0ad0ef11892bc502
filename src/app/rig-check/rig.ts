// What a command must know of a rig before it asks anybody anything.
import { readyCheck } from './session';
import { isSimulated } from '../../model/simulated';

/** @throws BadInput with every problem of the bench's files */
export function rigOf(bench: string): { readonly name: string; readonly simulated: boolean } {
  const { rig } = readyCheck(bench, 'check-rest');
  return { name: rig.name, simulated: isSimulated(rig) };
}
