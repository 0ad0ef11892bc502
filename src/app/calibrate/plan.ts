// Which points a calibration takes, in which order, and what a person is told at each.
import { CHANNEL_KINDS } from '../../model/channel';
import { DIMENSION_OF } from '../../model/files/rig-channels';
import type { Calibration, Rig } from '../../model/files';
import { formatNumber, formatQuantity, parseQuantity, STANDARD_GRAVITY, type Dimension } from '../../units';
import { BadInput } from '../errors';

export type Target = Calibration['channel'];
export const TARGETS: readonly Target[] = [...CHANNEL_KINDS, 'lead_resistance'];

export interface CalibrationStep {
  /** Unique in a calibration: `up 50 gf`. */
  readonly id: string;
  /** What to apply, SI in the channel's unit; lead resistance: the current, A. */
  readonly target: number;
  readonly direction: 'up' | 'down';
  /** `creep`: read at once and again after a while under the same load; no point of the law. */
  readonly role: 'point' | 'creep';
  readonly instruction: string;
  /** What the reference shows has to be typed in; masses are what they are. */
  readonly asks: string | null;
}

/** Masses are put on; everything else is set about right and read off a meter. */
export function byMass(channel: Target): boolean {
  return channel === 'thrust' || channel === 'torque';
}

export function dimensionOf(channel: Target): Dimension {
  return channel === 'lead_resistance' ? 'resistance' : DIMENSION_OF[channel];
}

/** Dimension of what is applied: a lead is measured by the drop at a current. */
function appliedDimension(channel: Target): Dimension {
  return channel === 'lead_resistance' ? 'current' : dimensionOf(channel);
}

/** Points given on the command line, `20 g, 50 g, 100 g`, rising. @throws BadInput */
export function readTargets(channel: Target, text: string): number[] {
  const dimension = appliedDimension(channel);
  const values = text.split(',').map((part) => {
    const mass = channel === 'thrust' ? parseQuantity(part.trim(), 'mass') : null;
    if (mass?.ok === true) return mass.value * STANDARD_GRAVITY;
    const parsed = parseQuantity(part.trim(), dimension);
    if (!parsed.ok) throw new BadInput([`--points: ${parsed.message}; accepted: a list such as ${exampleOf(channel)}`]);
    return parsed.value;
  });
  const sorted = [...new Set(values)].sort((a, b) => a - b);
  if (sorted.length < 2) throw new BadInput([`--points ${text}: two different points are the least; accepted: a list such as ${exampleOf(channel)}`]);
  return sorted;
}

function exampleOf(channel: Target): string {
  const examples: Partial<Record<Target, string>> = { thrust: '"50 g, 100 g, 200 g"', voltage: '"3 V, 6 V, 9 V"', motor_temperature: '"20 °C, 50 °C, 80 °C"', esc_temperature: '"20 °C, 50 °C, 80 °C"', speed: '"5000 rpm, 15000 rpm"', torque: '"5 mN m, 20 mN m"' };
  return examples[channel] ?? '"1 A, 5 A, 10 A"';
}

/** Points that cover the rig's own limits with a little room. */
export function usualTargets(channel: Target, rig: Rig): number[] {
  const { limits } = rig;
  const shares = (most: number, from = 0): number[] => [0.2, 0.4, 0.6, 0.8, 1].map((s) => rounded(from + (most - from) * s));
  switch (channel) {
    case 'thrust': return shares(1.2 * (limits.thrust?.above_N ?? 5));
    case 'torque': return shares(0.1);
    // A converter often ends just above the peak limit.
    case 'current': return [0, ...shares(1.01 * limits.current_peak.above_A)];
    case 'voltage': return [rounded(Math.min(1, (limits.voltage_low?.below_V ?? 2) / 2)), ...shares(1.1 * limits.voltage_high.above_V)];
    case 'motor_temperature': return [0, ...shares(1.1 * (limits.motor_temperature?.above_degC ?? 100))];
    case 'esc_temperature': return [0, ...shares(1.1 * (limits.esc_temperature?.above_degC ?? 100))];
    case 'speed': return shares(1.1 * (limits.speed?.above_rpm ?? 30_000));
    case 'lead_resistance': return shares(rig.supply.current_limit_A);
  }
}

function rounded(value: number): number {
  return Number(value.toPrecision(3));
}

/** The steps for these targets (rising). Masses and meters go up and down again; slow or one-way quantities go up only. */
export function stepsFor(channel: Target, targets: readonly number[]): CalibrationStep[] {
  const rising = byMass(channel) && targets[0] !== 0 ? [0, ...targets] : [...targets];
  const up = rising.map((t) => step(channel, t, 'up', 'point'));
  if (!byMass(channel) && channel !== 'current' && channel !== 'voltage') return up;
  const top = rising[rising.length - 1];
  const creep = byMass(channel) ? [step(channel, top, 'up', 'creep')] : [];
  return [...up, ...creep, ...rising.slice(0, -1).reverse().map((t) => step(channel, t, 'down', 'point'))];
}

function step(channel: Target, target: number, direction: 'up' | 'down', role: CalibrationStep['role']): CalibrationStep {
  const what = formatQuantity(target, appliedDimension(channel));
  return {
    id: role === 'creep' ? `creep ${what}` : `${direction} ${what}`, target, direction, role, instruction: instruction(channel, target, what, role),
    asks: byMass(channel) ? null : channel === 'lead_resistance' ? 'Drop over both leads, as the meter shows it' : 'What the reference shows',
  };
}

function instruction(channel: Target, target: number, what: string, role: CalibrationStep['role']): string {
  if (role === 'creep') return `Leave ${what} on the stand: it is watched for a while.`;
  if (byMass(channel)) return target === 0 ? 'Take everything off the stand, and keep still.' : `Put ${what}${channel === 'thrust' ? ` (${formatNumber((1000 * target) / STANDARD_GRAVITY)} g)` : ''} on the stand in the direction of thrust, and keep still.`;
  switch (channel) {
    case 'current': return `Draw about ${what} through the bench's leads (load or resistor), reference meter in series.`;
    case 'voltage': return `Set about ${what}, reference meter where the voltage is sensed.`;
    case 'speed': return `Turn at about ${what}, reference tachometer on the rotor.`;
    case 'lead_resistance': return `Draw about ${what} through the leads, meter between supply terminals and ESC, both leads added.`;
    default: return `Bring the sensor and the reference thermometer to about ${what} together, and wait until both stand still.`;
  }
}
