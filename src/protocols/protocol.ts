// What a protocol is, and how it is made ready to be listed, drawn, checked and played.
import type { ParameterProblem, ParameterTable, ParameterValues, Read, ValuesOf } from '../model/parameters';
import { completeParameters } from '../model/parameters';
import type { ProtocolNeeds, ProtocolSteps } from '../model/segment';
import { ended } from './ending';

/** What the declared article says about the drive; protocols take their hold targets from it. */
export interface DriveFacts {
  /** Declared speed per volt of the motor, rpm/V. */
  readonly kv_rpm_per_V: number;
  readonly max_current_A: number;
  /** Supply voltage that the article is meant for, V. */
  readonly nominal_V: number;
  /** Thrust of this one propeller at hover, N. */
  readonly hover_thrust_N: number | null;
  readonly propeller_diameter_m: number | null;
}

/** A value that was not given and comes from the article, with the sentence that says how. */
export interface Derived {
  readonly value: number;
  readonly why: string;
}

/**
 * A bench procedure. `steps` is a generator of plain frozen data: no port, clock, file or randomness. Iterating it twice with
 * the same values gives the same steps.
 */
export interface Protocol {
  readonly name: string;
  /** What it is for, one sentence. */
  readonly summary: string;
  readonly parameters: ParameterTable;
  /** Contradictions between parameters that are each within bounds. */
  check(values: ParameterValues): readonly ParameterProblem[];
  /** Values for parameters that are null, from the article. */
  derive(values: ParameterValues, facts: DriveFacts): Readonly<Record<string, Derived>>;
  needs(values: ParameterValues): ProtocolNeeds;
  steps(values: ParameterValues, facts: DriveFacts): ProtocolSteps;
}

/** A protocol as its author writes it: values typed by the parameter table. */
export interface ProtocolDefinition<T extends ParameterTable> {
  readonly name: string;
  readonly summary: string;
  readonly parameters: T;
  readonly check?: (values: ValuesOf<T>) => readonly ParameterProblem[];
  readonly derive?: (values: ValuesOf<T>, facts: DriveFacts) => Partial<Readonly<Record<keyof T & string, Derived>>>;
  readonly needs: ProtocolNeeds | ((values: ValuesOf<T>) => ProtocolNeeds);
  readonly steps: (values: ValuesOf<T>, facts: DriveFacts) => ProtocolSteps;
}

/** Makes a protocol of its definition. The whole interface for protocols written in TypeScript. */
export function defineProtocol<const T extends ParameterTable>(d: ProtocolDefinition<T>): Protocol {
  // The table is the proof: completeParameters gives exactly its keys, null only where the default is null.
  const typed = (values: ParameterValues): ValuesOf<T> => values as ValuesOf<T>;
  const needs = d.needs;
  return Object.freeze({
    name: d.name,
    summary: d.summary,
    parameters: d.parameters,
    check: (values: ParameterValues) => d.check?.(typed(values)) ?? [],
    derive: (values: ParameterValues, facts: DriveFacts) => present(d.derive?.(typed(values), facts) ?? {}),
    needs: (values: ParameterValues) => (typeof needs === 'function' ? needs(typed(values)) : needs),
    steps: (values: ParameterValues, facts: DriveFacts) => d.steps(typed(values), facts),
  });
}

/** A protocol with all its values: what a plan lists and a run plays. */
export interface PreparedProtocol {
  readonly name: string;
  readonly summary: string;
  readonly values: ParameterValues;
  /** Sentences on values that came from the article. */
  readonly notes: readonly string[];
  readonly needs: ProtocolNeeds;
  /** A new iteration from the start; ends at zero throttle whatever the protocol's author wrote. */
  steps(): ProtocolSteps;
  /** The same without the added ending, for use inside another protocol. */
  bare(): ProtocolSteps;
}

/**
 * Fills in defaults and values from the article and checks bounds and contradictions.
 * @param given numbers in code units; from a file, what `readParameters` returned
 */
export function prepare(protocol: Protocol, given: Readonly<Record<string, number | null | undefined>>, facts: DriveFacts): Read<PreparedProtocol> {
  const complete = completeParameters(protocol.parameters, given);
  if (!complete.ok) return complete;
  const contradictions = protocol.check(complete.value);
  if (contradictions.length > 0) return { ok: false, problems: contradictions };
  const derived = protocol.derive(complete.value, facts);
  const filled = completeParameters(protocol.parameters, { ...complete.value, ...Object.fromEntries(Object.entries(derived).map(([key, d]) => [key, d.value])) });
  if (!filled.ok) return { ok: false, problems: filled.problems.map((p) => fromArticle(p, derived)) };
  const values = filled.value;
  return {
    ok: true,
    value: Object.freeze({
      name: protocol.name,
      summary: protocol.summary,
      values,
      notes: Object.values(derived).map((d) => d.why),
      needs: protocol.needs(values),
      steps: () => ended(protocol.steps(values, facts)),
      bare: () => protocol.steps(values, facts),
    }),
  };
}

/** Wrong parameters in a protocol written in code. */
export class ProtocolError extends Error {
  override name = 'ProtocolError';
  constructor(readonly protocol: string, readonly problems: readonly ParameterProblem[]) {
    super(`protocol ${protocol}: ${problems.map((p) => `${p.path.join('.')}: ${p.message}; accepted: ${p.accepted}`).join(' · ')}`);
  }
}

/** The steps of another protocol, inside one: `yield* use(staircase, { levels: 5 }, facts)`. Throws a {@link ProtocolError}. */
export function use(protocol: Protocol, given: Readonly<Record<string, number | null | undefined>>, facts: DriveFacts): ProtocolSteps {
  const ready = prepare(protocol, given, facts);
  if (!ready.ok) throw new ProtocolError(protocol.name, ready.problems);
  return ready.value.bare();
}

function fromArticle(problem: ParameterProblem, derived: Readonly<Record<string, Derived>>): ParameterProblem {
  const source = derived[String(problem.path[0])];
  return source === undefined ? problem : { ...problem, message: `${problem.message} (${source.why}); give it yourself` };
}

function present(partial: Readonly<Record<string, Derived | undefined>>): Readonly<Record<string, Derived>> {
  return Object.fromEntries(Object.entries(partial).filter((entry): entry is [string, Derived] => entry[1] !== undefined));
}
