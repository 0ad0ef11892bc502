// From a record to what analysis needs: fresh samples in SI, segments with their times, and the facts that enter formulas.
import type { DesyncEvent, PlayedSegment, RunChannel, RunData, RunFacts, Series } from '../analysis/run-data';
import { toSI, type ChannelFact } from '../model/channel';
import { THROTTLE_FULL } from '../model/sample';
import type { JsonObject, RunHeader } from '../record/header';
import type { GroupColumns, RunRecord } from '../record/reader';

/** A record without a readable header, or without rows: nothing can be computed from it. */
export class NothingToAnalyze extends Error {
  constructor(message: string) {
    super(message);
    this.name = 'NothingToAnalyze';
  }
}

/**
 * Converts a record.
 * @throws NothingToAnalyze when the header or every row is missing.
 */
export function runDataOf(record: RunRecord): RunData {
  const { header, events, outcome, end } = record;
  if (header === null) throw new NothingToAnalyze(`the record has no complete header: ${end.detail}`);
  const rowGroup = record.groups.find((g) => g.group.is_rows);
  if (rowGroup === undefined || rowGroup.rows === 0 || rowGroup.throttle === null) throw new NothingToAnalyze(`the record holds no rows: ${end.detail === '' ? 'nothing was measured' : end.detail}`);
  const origin_us = rowGroup.tick_us[0];
  const last_us = rowGroup.tick_us[rowGroup.rows - 1];
  const seconds = (tick_us: number): number => (tick_us - origin_us) / 1e6;
  const duration_s = seconds(last_us);
  const desyncs: DesyncEvent[] = [];
  const marks: { t_s: number; label: string }[] = [];
  for (const e of events) {
    if (e.type === 'desync') desyncs.push({ t_s: seconds(e.tick_us), duration_s: e.duration_us / 1e6, ordinal: e.ordinal });
    else if (e.type === 'mark') marks.push({ t_s: seconds(e.tick_us), label: e.label });
  }
  const rowTimes = times(rowGroup, origin_us);
  return {
    record_id: header.record_id, simulated: header.simulated, protocol: header.protocol.name, parameters: header.protocol.parameters,
    settings: header.settings, version: header.versions.spoolbench, origin_us, duration_s, rows: rowGroup.rows,
    channels: record.groups.flatMap((g) => channelsOf(g, g === rowGroup ? rowTimes : times(g, origin_us))),
    throttle: throttleOf(rowGroup.throttle, rowTimes), segments: segmentsOf(events, seconds, duration_s), desyncs, marks,
    outcome, end: { status: end.status, detail: end.detail }, facts: factsOf(header),
  };
}

function times(group: GroupColumns, origin_us: number): Float64Array {
  const t = new Float64Array(group.rows);
  const { tick_us } = group;
  for (let i = 0; i < t.length; i++) t[i] = (tick_us[i] - origin_us) / 1e6;
  return t;
}

function throttleOf(raw: Uint16Array, t_s: Float64Array): Series {
  const value = new Float64Array(raw.length);
  for (let i = 0; i < value.length; i++) value[i] = raw[i] / THROTTLE_FULL;
  return { t_s, value };
}

function channelsOf(group: GroupColumns, t_s: Float64Array): RunChannel[] {
  return group.group.channels.map((fact, k): RunChannel => {
    const { kind, column, u_gain, u_offset, filter_Hz, averaged, placement } = fact;
    const picked = pick(group, 1 << fact.id, group.counts[k], t_s);
    scale(fact, picked.counts, picked.value);
    return {
      kind, column, period_s: fact.period_us / 1e6, u_gain, u_offset, filter_Hz, averaged, placement,
      t_s: picked.t_s, value: picked.value, impossible: picked.impossible,
    };
  });
}

/** Counts of the samples that are new and possible. A channel that is new in every row shares the row times. */
function pick(group: GroupColumns, bit: number, counts: Int32Array, t_s: Float64Array) {
  const { rows, fresh, valid } = group;
  let good = 0;
  let news = 0;
  for (let i = 0; i < rows; i++) {
    const isNew = (fresh[i] & bit) !== 0;
    if (isNew) news++;
    if (isNew && (valid[i] & bit) !== 0) good++;
  }
  if (good === rows) return { counts, t_s, value: new Float64Array(rows), impossible: 0 };
  const kept = new Int32Array(good);
  const at = new Float64Array(good);
  for (let i = 0, n = 0; i < rows; i++) {
    if ((fresh[i] & valid[i] & bit) === 0) continue;
    kept[n] = counts[i];
    at[n++] = t_s[i];
  }
  return { counts: kept, t_s: at, value: new Float64Array(good), impossible: news - good };
}

/** As `toSI` for every count, with the law taken out of the loop. */
function scale({ conversion }: ChannelFact, counts: Int32Array, out: Float64Array): void {
  if (conversion.law === 'linear') {
    const { zero, c0, c1, c2 } = conversion;
    for (let i = 0; i < out.length; i++) {
      const x = counts[i] - zero;
      out[i] = c0 + x * (c1 + x * c2);
    }
    return;
  }
  for (let i = 0; i < out.length; i++) out[i] = toSI(conversion, counts[i]);
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
function leadOf({ rig, calibration }: RunHeader): Pick<RunFacts, 'lead_resistance_ohm' | 'u_lead_resistance'> {
  const calibrated = objectIn(calibration, 'lead_resistance');
  const value = numberIn(objectIn(calibrated, 'law'), 'value');
  if (value !== null) return { lead_resistance_ohm: value, u_lead_resistance: numberIn(calibrated, 'u_gain') ?? 0 };
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
