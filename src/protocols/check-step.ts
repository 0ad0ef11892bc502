// What a step must be, whoever wrote it: bounds that the board and the record can hold.
import { ASK_MAX_S, type Condition, type Segment, type Step } from '../model/segment';
import { formatNumber } from '../units';
import { percent } from './builders';

/** Shortest and longest segment, s. The board counts microseconds and takes at most ten minutes a segment. */
export const SEGMENT_MIN_S = 0.001;
export const SEGMENT_MAX_S = 600;
/** Ordinals are 16 bits wide in rows and records. */
export const SEGMENTS_MAX = 65_535;
/** Longest label of a segment or a mark. */
export const LABEL_MAX = 80;
/** The board's slew limit is a whole number of 0.01 % a millisecond. */
export const SLEW_MIN_PER_S = 0.1;

/** What is wrong with a step, in words with the numbers; empty when nothing is. */
export function faultsOf(step: Step): string[] {
  if (step.kind === 'mark') return labelFaults(step.label);
  if (step.kind === 'ask') return within('over', step.over_s, SEGMENT_MIN_S, ASK_MAX_S, 's');
  return [
    ...labelFaults(step.label),
    ...within('duration', step.duration_s, SEGMENT_MIN_S, SEGMENT_MAX_S, 's'),
    ...(step.cap === undefined ? [] : fraction('cap', step.cap)),
    ...(step.slew_per_s === undefined ? [] : within('slew', step.slew_per_s, SLEW_MIN_PER_S, Infinity, '/s')),
    ...targetFaults(step),
  ];
}

function targetFaults(s: Segment): string[] {
  switch (s.kind) {
    case 'rest':
      return [];
    case 'level':
      return fraction('throttle', s.throttle, s.cap);
    case 'ramp':
      return fraction('throttle', s.to, s.cap);
    case 'hold-current':
      return positive('target', s.target_A, 'A');
    case 'hold-power':
      return positive('target', s.target_W, 'W');
    case 'hold-speed':
      return positive('target', s.target_rpm, 'rpm');
    case 'wait-until':
      return [...fraction('throttle', s.throttle, s.cap), ...conditionFaults(s.until, s.duration_s)];
  }
}

function conditionFaults(c: Condition, bound_s: number): string[] {
  const faults = Number.isFinite(c.value) ? [] : ['the value waited for is not a number'];
  if (!(c.for_s >= 0 && c.for_s < bound_s)) faults.push(`the condition must hold for ${formatNumber(c.for_s)} s, which the bound of ${formatNumber(bound_s)} s does not leave room for`);
  return faults;
}

function labelFaults(label: string): string[] {
  return label.length >= 1 && label.length <= LABEL_MAX ? [] : [`a label has ${label.length} characters; accepted: 1 to ${LABEL_MAX}`];
}

function fraction(what: string, x: number, cap = 1): string[] {
  if (!(x >= 0 && x <= 1)) return [`${what} ${percent(x)}; accepted: 0 % to 100 %`];
  return x <= cap ? [] : [`${what} ${percent(x)} lies above the segment's own cap of ${percent(cap)}`];
}

function positive(what: string, x: number, unit: string): string[] {
  return x > 0 && Number.isFinite(x) ? [] : [`${what} ${formatNumber(x)} ${unit}; accepted: above 0 ${unit}`];
}

function within(what: string, x: number, min: number, max: number, unit: string): string[] {
  if (x >= min && x <= max) return [];
  return [`${what} ${formatNumber(x)} ${unit}; accepted: ${formatNumber(min)} ${unit} ${Number.isFinite(max) ? `to ${formatNumber(max)} ${unit}` : 'or more'}`];
}
