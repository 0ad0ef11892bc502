// Common ground of the protocol tests: the facts of an article, and shortcuts to a protocol's steps.
import { loadFile } from '../../src/model/load';
import type { ProtocolFile } from '../../src/model/files/protocol';
import { formatProblem } from '../../src/model/problem';
import type { ProtocolSteps, Segment, Step } from '../../src/model/segment';
import { BUILT_IN } from '../../src/protocols/catalogue';
import { type DriveFacts, type PreparedProtocol, type Protocol, prepare } from '../../src/protocols/protocol';

/** Declared values of an invented two-cell article with a 3-inch propeller. */
export const FACTS: DriveFacts = { kv_rpm_per_V: 4500, max_current_A: 9, nominal_V: 7.6, hover_thrust_N: 0.44, propeller_diameter_m: 0.0762 };

export function builtIn(name: string): Protocol {
  const found = BUILT_IN.find((p) => p.name === name);
  if (found === undefined) throw new Error(`no protocol ${name}`);
  return found;
}

export function ready(protocol: Protocol, given: Readonly<Record<string, number>> = {}, facts: DriveFacts = FACTS): PreparedProtocol {
  const prepared = prepare(protocol, given, facts);
  if (!prepared.ok) throw new Error(JSON.stringify(prepared.problems));
  return prepared.value;
}

export function listed(steps: ProtocolSteps): Step[] {
  return [...steps];
}

export function segmentsOf(protocol: Protocol, given: Readonly<Record<string, number>> = {}): Segment[] {
  return listed(ready(protocol, given).steps()).filter((s): s is Segment => s.kind !== 'mark' && s.kind !== 'ask');
}

/** A protocol file from its text; a bad one throws with its problems. */
export function file(text: string): ProtocolFile {
  const loaded = loadFile('protocol', 'my.yaml', `spoolbench: 1\n${text}`);
  if (loaded.value === null) throw new Error(loaded.problems.map(formatProblem).join('\n'));
  return loaded.value;
}

