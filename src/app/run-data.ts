// From a record to what analysis needs: fresh samples in SI, segments with their times, and the facts that enter formulas.
import type { DesyncEvent, PlayedSegment, RunData, RunFacts } from '../analysis/run-data';
import type { BenchEvent, RunOutcome } from '../model/events';
import type { JsonObject, RunHeader } from '../record/header';
import type { RecordEnd, RunRecord } from '../record/reader';
import { SampleCollector, type RunSamples } from './run-samples';

/** A record without a readable header, or without rows: nothing can be computed from it. */
export class NothingToAnalyze extends Error {
  constructor(message: string) {
    super(message);
    this.name = 'NothingToAnalyze';
  }
}

/** What is needed of a record beside its samples. */
export interface RecordFacts {
  readonly header: RunHeader | null;
  readonly events: readonly BenchEvent[];
  readonly outcome: RunOutcome | null;
  readonly end: RecordEnd;
}

/**
 * Converts a record that is in memory.
 * @throws NothingToAnalyze when the header or every row is missing.
 */
export function runDataOf(record: RunRecord): RunData {
  const samples = new SampleCollector(record.groups.map((g) => g.group));
  for (const g of record.groups) samples.take(g.group, g);
  return runDataFrom(record, samples.finish());
}

/**
 * Puts samples and the facts of their record together.
 * @throws NothingToAnalyze when the header or every row is missing.
 */
export function runDataFrom({ header, events, outcome, end }: RecordFacts, samples: RunSamples | null): RunData {
  if (header === null) throw new NothingToAnalyze(`the record has no complete header: ${end.detail}`);
  if (samples === null) throw new NothingToAnalyze(`the record holds no rows: ${end.detail === '' ? 'nothing was measured' : end.detail}`);
  const { origin_us, duration_s, rows, channels, throttle, block } = samples;
  const seconds = (tick_us: number): number => (tick_us - origin_us) / 1e6;
  const desyncs: DesyncEvent[] = [];
  const marks: { t_s: number; label: string }[] = [];
  for (const e of events) {
    if (e.type === 'desync') desyncs.push({ t_s: seconds(e.tick_us), duration_s: e.duration_us / 1e6, ordinal: e.ordinal });
    else if (e.type === 'mark') marks.push({ t_s: seconds(e.tick_us), label: e.label });
  }
  return {
    record_id: header.record_id, simulated: header.simulated, protocol: header.protocol.name, parameters: header.protocol.parameters,
    settings: header.settings, version: header.versions.spoolbench, origin_us, duration_s, rows, block,
    channels, throttle, segments: segmentsOf(events, seconds, duration_s), desyncs, marks,
    outcome, end: { status: end.status, detail: end.detail }, facts: factsOf(header),
  };
}

function segmentsOf(events: RunRecord['events'], seconds: (tick_us: number) => number, last_s: number): PlayedSegment[] {
  const ends = new Map<number, { end_s: number; ended: PlayedSegment['ended'] }>();
  for (const e of events) if (e.type === 'segment-ended') ends.set(e.ordinal, { end_s: seconds(e.tick_us), ended: e.why });
  return events.flatMap((e): PlayedSegment[] => {
    if (e.type !== 'segment-started') return [];
    const end = ends.get(e.ordinal) ?? { end_s: last_s, ended: null };
    return [{ ordinal: e.ordinal, segment: e.segment, start_s: seconds(e.tick_us), ...end }];
  });
}

/** Facts out of the files that the header carries as JSON; what is missing or of another type is null. */
function factsOf(header: RunHeader): RunFacts {
  const { rig, article } = header;
  const motor = objectIn(article, 'motor');
  const propeller = objectIn(article, 'propeller');
  const mounted = propeller?.mounted;
  const thrust = rig.channels;
  const thrustChannel = Array.isArray(thrust) ? (thrust as JsonObject[]).find((c) => c.kind === 'thrust') : undefined;
  return {
    voltage_at: rig.voltage_at === 'supply' ? 'supply' : 'esc',
    ...leadOf(header),
    pole_pairs: numberIn(motor, 'pole_pairs'), motor_resistance_ohm: numberIn(motor, 'resistance_ohm'),
    propeller_diameter_m: numberIn(propeller, 'diameter_m'), propeller_on: typeof mounted === 'boolean' ? mounted : null,
    hover_thrust_N: hoverThrust(header),
    natural_frequency_Hz: numberIn(thrustChannel ?? null, 'natural_frequency_Hz'),
    air: airOf(header.environment) ?? airOf(objectIn(rig, 'environment')),
  };
}

/** The calibrated lead resistance, else the declared one, whose uncertainty nobody stated. */
function leadOf({ rig, calibration }: RunHeader): Pick<RunFacts, 'lead_resistance_ohm' | 'u_lead_resistance' | 'dof_lead_resistance'> {
  const calibrated = objectIn(calibration, 'lead_resistance');
  const value = numberIn(objectIn(calibrated, 'law'), 'value');
  const dof = numberIn(calibrated, 'degrees_of_freedom');
  if (value !== null) return { lead_resistance_ohm: value, u_lead_resistance: numberIn(calibrated, 'u_gain') ?? 0, ...(dof === null ? {} : { dof_lead_resistance: dof }) };
  return { lead_resistance_ohm: numberIn(rig, 'lead_resistance_ohm') ?? 0, u_lead_resistance: 0 };
}

/** The article's declared hover thrust, else what the craft needs of each rotor on the stand. */
function hoverThrust({ article, craft }: RunHeader): number | null {
  const declared = numberIn(article, 'hover_thrust_N');
  if (declared !== null) return declared;
  const mass = numberIn(craft, 'mass_kg');
  const rotors = numberIn(craft, 'rotors');
  const loss = numberIn(craft, 'installed_loss') ?? 0;
  return mass === null || rotors === null ? null : (mass * STANDARD_GRAVITY_m_s2) / rotors / (1 - loss);
}
/** ISO 80000-3:2019. */
const STANDARD_GRAVITY_m_s2 = 9.80665;

function airOf(environment: JsonObject | null): RunFacts['air'] {
  const temperature_degC = numberIn(environment, 'temperature_degC');
  const pressure_Pa = numberIn(environment, 'pressure_Pa');
  const humidity = numberIn(environment, 'humidity');
  return temperature_degC === null || pressure_Pa === null || humidity === null ? null : { temperature_degC, pressure_Pa, humidity };
}

function numberIn(object: JsonObject | null, key: string): number | null {
  const value = object?.[key];
  return typeof value === 'number' && Number.isFinite(value) ? value : null;
}

function objectIn(object: JsonObject | null, key: string): JsonObject | null {
  const value = object?.[key];
  return typeof value === 'object' && value !== null && !Array.isArray(value) ? (value as JsonObject) : null;
}
