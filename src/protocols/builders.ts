// The pieces that a protocol is built of. The same builders serve protocols in TypeScript and in YAML.
// Throttle is a fraction 0..1, times are seconds, targets are SI (rpm for speed). Everything returned is frozen.
import type { Ask, Condition, Mark, ProtocolSteps, Segment, Step } from '../model/segment';
import { formatNumber, formatQuantity } from '../units';
import { uniform } from './random';

/** What may be said about any segment besides what it does. */
export interface SegmentOptions {
  readonly label?: string;
  readonly role?: string;
  /** Throttle that the segment may not exceed. */
  readonly cap?: number;
  /** Fastest change of throttle, fraction per second. */
  readonly slew_per_s?: number;
  readonly tags?: Readonly<Record<string, number>>;
}

/** Several steps: an array, or a generator that may receive answers. */
export type Steps = ProtocolSteps | readonly Step[];

/** Duration of the ramp to zero that ends a protocol which does not end itself. */
export const ENDING_S = 0.5;

/** Zero throttle. */
export function rest(for_s: number, options: SegmentOptions = {}): Segment {
  return Object.freeze({ kind: 'rest', duration_s: for_s, ...naming(options, 'rest', 'rest') });
}

/** A constant throttle. */
export function level(throttle: number, for_s: number, options: SegmentOptions = {}): Segment {
  return Object.freeze({ kind: 'level', throttle, duration_s: for_s, ...naming(options, `level ${percent(throttle)}`, 'level') });
}

/** A straight line from the throttle that the segment before left to `to`. */
export function ramp(to: number, in_s: number, options: SegmentOptions = {}): Segment {
  return Object.freeze({ kind: 'ramp', to, duration_s: in_s, ...naming(options, `ramp to ${percent(to)}`, to === 0 ? 'ramp-down' : 'ramp') });
}

/** Closed loop on the current, A. */
export function holdCurrent(target_A: number, for_s: number, options: SegmentOptions = {}): Segment {
  return Object.freeze({ kind: 'hold-current', target_A, duration_s: for_s, ...naming(options, `hold ${formatQuantity(target_A, 'current')}`, 'hold') });
}

/** Closed loop on the electrical power, W. */
export function holdPower(target_W: number, for_s: number, options: SegmentOptions = {}): Segment {
  return Object.freeze({ kind: 'hold-power', target_W, duration_s: for_s, ...naming(options, `hold ${formatQuantity(target_W, 'power')}`, 'hold') });
}

/** Closed loop on the speed, rpm. */
export function holdSpeed(target_rpm: number, for_s: number, options: SegmentOptions = {}): Segment {
  return Object.freeze({ kind: 'hold-speed', target_rpm, duration_s: for_s, ...naming(options, `hold ${formatQuantity(target_rpm, 'speed')}`, 'hold') });
}

/** A constant throttle until the condition has held for `until.for_s`, at most `within_s`. */
export function waitUntil(throttle: number, until: Condition, within_s: number, options: SegmentOptions = {}): Segment {
  const what = `wait for ${until.channel.replaceAll('_', ' ')} ${until.is} ${formatNumber(until.value)}`;
  return Object.freeze({ kind: 'wait-until', throttle, until: Object.freeze({ ...until }), duration_s: within_s, ...naming(options, what, 'wait') });
}

/** A named instant in the record. */
export function mark(label: string): Mark {
  return Object.freeze({ kind: 'mark', label });
}

/**
 * Asks for the mean of a channel over the last `over_s` of the segment before, in the channel's SI unit:
 * `const mean = yield ask('current', 0.5)`. Undefined when nobody answers, as in a dry run.
 */
export function ask(channel: Condition['channel'], over_s: number): Ask {
  return Object.freeze({ kind: 'ask', channel, over_s });
}

/** A train of hard steps between two levels. */
export interface Train {
  readonly low: number;
  readonly high: number;
  /** Steps up, and as many down. */
  readonly cycles: number;
  /** Time at each level, and the most by which each is lengthened or shortened so that no rhythm is hit, s. */
  readonly dwell_s: number;
  readonly dither_s: number;
  readonly seed: number;
}

/**
 * Steps up and down. Tags: `step` (1, 2, … for each direction), `from` and `to`. The motor is expected to run at the
 * low level already. Dwells are whole tenths of a millisecond.
 */
export function* train(t: Train, options: SegmentOptions = {}): ProtocolSteps {
  const next = uniform(t.seed);
  const dwell = (): number => Math.round((t.dwell_s + (2 * next() - 1) * t.dither_s) * 1e4) / 1e4;
  for (let step = 1; step <= t.cycles; step++) {
    yield level(t.high, dwell(), { label: `step up ${step}/${t.cycles}`, role: 'step-up', ...options, tags: { ...options.tags, step, from: t.low, to: t.high } });
    yield level(t.low, dwell(), { label: `step down ${step}/${t.cycles}`, role: 'step-down', ...options, tags: { ...options.tags, step, from: t.high, to: t.low } });
  }
}

/** The steps that `make` gives for pass 1, 2, … `times`. */
export function* repeat(times: number, make: (pass: number) => Steps): ProtocolSteps {
  for (let pass = 1; pass <= times; pass++) yield* make(pass);
}

/** A throttle as people read it: `12.5 %`. */
export function percent(fraction: number): string {
  return formatQuantity(fraction, 'ratio');
}

function naming(o: SegmentOptions, label: string, role: string) {
  return {
    label: o.label ?? label,
    role: o.role ?? role,
    ...(o.cap === undefined ? {} : { cap: o.cap }),
    ...(o.slew_per_s === undefined ? {} : { slew_per_s: o.slew_per_s }),
    ...(o.tags === undefined ? {} : { tags: Object.freeze({ ...o.tags }) }),
  };
}
