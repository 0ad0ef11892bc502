// Made-up runs with known truth: a drive of first order, played through a protocol, read by imperfect sensors. Seeded.
import type { DesyncEvent, PlayedSegment, RunChannel, RunData, RunFacts } from '../../src/analysis/run-data';
import { COLUMN_OF, type ChannelKind } from '../../src/model/channel';
import type { Segment } from '../../src/model/segment';

/** Mulberry32, a public-domain 32-bit generator. */
export function seeded(seed: number): () => number {
  let a = seed >>> 0;
  return () => {
    a = (a + 0x6d2b79f5) >>> 0;
    let t = Math.imul(a ^ (a >>> 15), a | 1);
    t ^= t + Math.imul(t ^ (t >>> 7), t | 61);
    return ((t ^ (t >>> 14)) >>> 0) / 4294967296;
  };
}

/** Standard normal numbers by Box and Muller. */
export function normals(seed: number): () => number {
  const next = seeded(seed);
  return () => Math.sqrt(-2 * Math.log(1 - next())) * Math.cos(2 * Math.PI * next());
}

/** The drive: speed = top·throttle^shape behind a first-order lag; thrust = k·speed²; current = idle + c·speed^2.6. */
export interface Drive {
  readonly top_rpm: number;
  readonly shape: number;
  readonly rise_s: number;
  readonly fall_s: number;
  readonly dead_s: number;
  readonly thrust_per_rpm2: number;
  readonly current_at_top_A: number;
  readonly voltage_V: number;
}

export const DRIVE: Drive = { top_rpm: 27_000, shape: 0.8, rise_s: 0.03, fall_s: 0.05, dead_s: 0.002, thrust_per_rpm2: 1.25 / 27_000 ** 2, current_at_top_A: 4.2, voltage_V: 7.6 };

export const currentAt = (d: Drive, rpm: number): number => 0.05 + (d.current_at_top_A - 0.05) * Math.max(0, rpm / d.top_rpm) ** 2.6;
export const thrustAt = (d: Drive, rpm: number): number => d.thrust_per_rpm2 * rpm * rpm;
/** Speed at which the drive draws a current. */
export const speedForCurrent = (d: Drive, amps: number): number => d.top_rpm * ((amps - 0.05) / (d.current_at_top_A - 0.05)) ** (1 / 2.6);

export interface Sensors {
  readonly noise: Partial<Record<ChannelKind, number>>;
  readonly gain: Partial<Record<ChannelKind, number>>;
  readonly offset: Partial<Record<ChannelKind, number>>;
  readonly u_gain: Partial<Record<ChannelKind, number>>;
  readonly u_offset: Partial<Record<ChannelKind, number>>;
  /** Drift of the load cell's zero over the run, N. */
  readonly zeroDrift_N: number;
}
export const PERFECT: Sensors = { noise: {}, gain: {}, offset: {}, u_gain: {}, u_offset: {}, zeroDrift_N: 0 };

export interface MadeRun {
  readonly protocol: string;
  readonly segments: readonly Segment[];
  readonly drive?: Partial<Drive>;
  readonly sensors?: Partial<Sensors>;
  readonly seed?: number;
  readonly facts?: Partial<RunFacts>;
  readonly desyncs?: readonly DesyncEvent[];
  readonly settings?: RunData['settings'];
  readonly id?: string;
  readonly row_s?: number;
}

const PERIOD: Partial<Record<ChannelKind, number>> = { thrust: 0.0125 };

/** Plays the segments. Closed loops are played as perfect: the speed that gives the target. */
export function makeRun(made: MadeRun): RunData {
  const d = { ...DRIVE, ...made.drive };
  const sensors = { ...PERFECT, ...made.sensors };
  const row_s = made.row_s ?? 0.001;
  const noise = normals(made.seed ?? 1);
  const played: PlayedSegment[] = [];
  let now = 0;
  made.segments.forEach((segment, i) => {
    played.push({ ordinal: i + 1, segment, start_s: now, end_s: now + segment.duration_s, ended: 'time' });
    now += segment.duration_s;
  });
  const rows = Math.round(now / row_s);
  const t_s = Float64Array.from({ length: rows }, (_, i) => i * row_s);
  const throttle = new Float64Array(rows);
  const speed = new Float64Array(rows);
  let at = 0;
  let from = 0;
  let command = 0;
  let rpm = 0;
  const delayed: number[] = [];
  const lag = Math.round(d.dead_s / row_s);
  for (let i = 0; i < rows; i++) {
    while (at < played.length - 1 && t_s[i] >= played[at].end_s - 1e-9) { at++; from = command; }
    const { segment: s, start_s } = played[at];
    const share = Math.min(1, (t_s[i] - start_s) / s.duration_s);
    const wanted = s.kind === 'hold-current' ? speedForCurrent(d, s.target_A) : s.kind === 'hold-speed' ? s.target_rpm : null;
    command = wanted !== null ? (wanted / d.top_rpm) ** (1 / d.shape) : s.kind === 'level' ? s.throttle : s.kind === 'ramp' ? from + (s.to - from) * share : s.kind === 'wait-until' ? s.throttle : 0;
    throttle[i] = command;
    delayed.push(d.top_rpm * command ** d.shape);
    const goal = delayed[Math.max(0, i - lag)];
    rpm += (goal - rpm) * (1 - Math.exp(-row_s / (goal > rpm ? d.rise_s : d.fall_s)));
    speed[i] = rpm;
  }
  const truth: Partial<Record<ChannelKind, (i: number) => number>> = {
    current: (i) => currentAt(d, speed[i]), voltage: () => d.voltage_V, speed: (i) => speed[i], thrust: (i) => thrustAt(d, speed[i]) + (sensors.zeroDrift_N * t_s[i]) / now,
  };
  const channels = (Object.keys(truth) as ChannelKind[]).map((kind): RunChannel => {
    const every = Math.max(1, Math.round((PERIOD[kind] ?? row_s) / row_s));
    const n = Math.ceil(rows / every);
    const value = new Float64Array(n);
    const times = new Float64Array(n);
    const amount = sensors.noise[kind] ?? 0;
    for (let k = 0; k < n; k++) {
      times[k] = t_s[k * every];
      // A row holds what was measured before it is written, so never what its own command does.
      value[k] = (truth[kind]?.(Math.max(0, k * every - 1)) ?? 0) * (sensors.gain[kind] ?? 1) + (sensors.offset[kind] ?? 0) + (amount > 0 ? amount * noise() : 0);
    }
    return {
      kind, column: COLUMN_OF[kind], period_s: every * row_s, u_gain: sensors.u_gain[kind] ?? 0, u_offset: sensors.u_offset[kind] ?? 0,
      filter_Hz: 1600, averaged: 8, placement: null, impossible: 0, t_s: times, value,
    };
  });
  return {
    record_id: made.id ?? `made-${made.seed ?? 1}`, simulated: true, protocol: made.protocol, parameters: {}, settings: made.settings ?? {}, version: '0.1.0', origin_us: 0,
    duration_s: now, rows, channels, throttle: { t_s, value: throttle }, segments: played, desyncs: made.desyncs ?? [], marks: [],
    outcome: { outcome: 'done', stop_confirmed: true, trip: null, also: [], segments_played: played.length, desyncs: made.desyncs?.length ?? 0, closest: [], detail: '' },
    end: { status: 'complete', detail: '' },
    facts: {
      voltage_at: 'esc', lead_resistance_ohm: 0, u_lead_resistance: 0, pole_pairs: 6, motor_resistance_ohm: 0.17, propeller_diameter_m: 0.0762, propeller_on: true,
      hover_thrust_N: 0.42, natural_frequency_Hz: 95, air: null, ...made.facts,
    },
  };
}

const level = (throttle: number, duration_s: number, role: string, tags?: Record<string, number>): Segment => ({ kind: 'level', throttle, duration_s, label: role, role, ...(tags === undefined ? {} : { tags }) });
const ramp = (to: number, duration_s: number, role: string): Segment => ({ kind: 'ramp', to, duration_s, label: role, role });
const rest = (duration_s: number, role: string): Segment => ({ kind: 'rest', duration_s, label: role, role });

/** The protocols as the tool plays them, with zeros around. */
export const SCRIPTS = {
  kv: [level(0.1, 0.5, 'start'), ramp(1, 2, 'ramp-up'), level(1, 1, 'plateau'), ramp(0, 1, 'ramp-down')],
  curve: [rest(1, 'zero-before'), level(0.1, 1, 'low'), ramp(1, 5, 'ramp-up'), level(1, 1, 'plateau'), ramp(0.1, 5, 'ramp-down'), ramp(0, 0.5, 'ending'), rest(1, 'settle'), rest(1, 'zero-after')],
  response: [
    level(0.1, 1, 'settle'),
    ...Array.from({ length: 30 }, (_, k) => [level(0.5, 0.5 + 0.0007 * k, 'step-up', { step: k + 1, from: 0.1, to: 0.5 }), level(0.1, 0.5 - 0.0003 * k, 'step-down', { step: k + 1, from: 0.5, to: 0.1 })]).flat(),
    ramp(0, 0.5, 'ramp-down'),
  ],
  hold: [
    rest(1, 'zero-before'), level(0.1, 0.5, 'start'),
    { kind: 'hold-current', target_A: 1.4, duration_s: 3, label: 'hold', role: 'hold', tags: { use_last_s: 2, target_A: 1.4 } },
    ramp(0, 0.5, 'ramp-down'), rest(1, 'settle'), rest(1, 'zero-after'),
  ],
} as const satisfies Record<string, readonly Segment[]>;
