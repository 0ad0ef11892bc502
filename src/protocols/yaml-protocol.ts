// A protocol file, played with the same builders as a protocol in TypeScript.
import type { ProtocolEntry, ProtocolFile, SegmentNotes } from '../model/files/protocol';
import { readParameters } from '../model/parameters';
import type { ProtocolNeeds, ProtocolSteps } from '../model/segment';
import { type SegmentOptions, type Steps, holdCurrent, holdPower, holdSpeed, level, mark, ramp, repeat, rest, train, waitUntil } from './builders';
import { type DriveFacts, type Protocol, ProtocolError, defineProtocol, use } from './protocol';

/** Finds a protocol by name; used when a file says `use`. */
export type Lookup = (name: string) => Protocol | undefined;

/**
 * The protocol that a file describes. What it uses is looked up when it is played, so files may name each other in any order;
 * `catalogue` has checked beforehand that every name exists and that none leads back to itself.
 */
export function fromFile(file: ProtocolFile, lookup: Lookup): Protocol {
  return defineProtocol({
    name: file.name,
    summary: file.about ?? `Protocol from a file, ${file.segments.length} entries`,
    parameters: {},
    needs: () => needsOf(file, lookup),
    steps: (_values, facts) => played(file.segments, { facts, lookup, trains: { count: 0 } }),
  });
}

interface Context {
  readonly facts: DriveFacts;
  readonly lookup: Lookup;
  /** Trains so far: each gets another seed, the same ones in every iteration. */
  readonly trains: { count: number };
}

function* played(entries: readonly ProtocolEntry[], context: Context): ProtocolSteps {
  for (const entry of entries) yield* stepsOf(entry, context);
}

function stepsOf(e: ProtocolEntry, context: Context): Steps {
  switch (e.kind) {
    case 'rest':
      return [rest(e.for_s, options(e))];
    case 'level':
      return [level(e.throttle, e.for_s, options(e))];
    case 'ramp':
      return [ramp(e.to, e.in_s, options(e))];
    case 'train':
      return train({ low: e.low, high: e.high, cycles: e.cycles, dwell_s: e.dwell_s, dither_s: e.dither_s, seed: ++context.trains.count }, options(e));
    case 'hold-current':
      return [holdCurrent(e.target_A, e.for_s, options(e))];
    case 'hold-power':
      return [holdPower(e.target_W, e.for_s, options(e))];
    case 'hold-speed':
      return [holdSpeed(e.target_rpm, e.for_s, options(e))];
    case 'wait-until':
      return [waitUntil(e.throttle, e.until, e.within_s, options(e))];
    case 'repeat':
      return repeat(e.times, () => played(e.segments, context));
    case 'mark':
      return [mark(e.label)];
    case 'use':
      return used(e.protocol, e.parameters, context);
  }
}

function used(name: string, written: Readonly<Record<string, unknown>>, { facts, lookup }: Context): ProtocolSteps {
  const protocol = lookup(name);
  if (protocol === undefined) throw new ProtocolError(name, [{ path: [], message: 'there is no such protocol', accepted: 'a protocol of the catalogue' }]);
  const read = readParameters(protocol.parameters, written);
  if (!read.ok) throw new ProtocolError(name, read.problems);
  return use(protocol, read.value, facts);
}

function options(n: SegmentNotes): SegmentOptions {
  return {
    ...(n.label === null ? {} : { label: n.label }),
    ...(n.role === null ? {} : { role: n.role }),
    ...(n.cap === null ? {} : { cap: n.cap }),
    ...(n.slew_per_s === null ? {} : { slew_per_s: n.slew_per_s }),
    ...(Object.keys(n.tags).length === 0 ? {} : { tags: n.tags }),
  };
}

/** What the file says it needs; what it leaves out follows from its segments and the protocols it uses. */
function needsOf(file: ProtocolFile, lookup: Lookup): ProtocolNeeds {
  const parts = collected(file.segments, lookup);
  const said = file.needs;
  const propellers = new Set(parts.used.map((n) => n.propeller).filter((p) => p !== 'any'));
  const [propeller] = propellers;
  return {
    propeller: said.propeller ?? propeller ?? 'any',
    channels: said.channels ?? [...new Set([...parts.channels, ...parts.used.flatMap((n) => n.channels)])],
    sink: said.sink ?? (parts.brakes || parts.used.some((n) => n.sink)),
    supply_V: said.supply_V ?? parts.used.find((n) => n.supply_V !== null)?.supply_V ?? null,
    min_rate_Hz: said.min_rate_Hz ?? Math.max(1, ...parts.used.map((n) => n.min_rate_Hz)),
  };
}

interface Parts {
  readonly channels: ProtocolNeeds['channels'];
  /** Hard steps down brake. */
  readonly brakes: boolean;
  readonly used: readonly ProtocolNeeds[];
}

function collected(entries: readonly ProtocolEntry[], lookup: Lookup): Parts {
  const parts = entries.map((e): Parts => {
    if (e.kind === 'repeat') return collected(e.segments, lookup);
    return { channels: channelsOf(e), brakes: e.kind === 'train', used: e.kind === 'use' ? usedNeeds(e.protocol, e.parameters, lookup) : [] };
  });
  return { channels: parts.flatMap((p) => p.channels), brakes: parts.some((p) => p.brakes), used: parts.flatMap((p) => p.used) };
}

function channelsOf(e: ProtocolEntry): ProtocolNeeds['channels'] {
  switch (e.kind) {
    case 'hold-current':
      return ['current'];
    case 'hold-power':
      return ['current', 'voltage'];
    case 'hold-speed':
      return ['speed'];
    case 'wait-until':
      return [e.until.channel];
    default:
      return [];
  }
}

function usedNeeds(name: string, written: Readonly<Record<string, unknown>>, lookup: Lookup): ProtocolNeeds[] {
  const protocol = lookup(name);
  const completed = protocol === undefined ? undefined : valuesOf(protocol, written);
  return protocol === undefined || completed === undefined ? [] : [protocol.needs(completed)];
}

function valuesOf(protocol: Protocol, written: Readonly<Record<string, unknown>>) {
  const read = readParameters(protocol.parameters, written);
  if (!read.ok) return undefined;
  return { ...Object.fromEntries(Object.entries(protocol.parameters).map(([key, declared]) => [key, declared.default])), ...read.value };
}
