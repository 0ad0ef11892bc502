// What a measuring channel is, and the one conversion between counts and SI.

/** Physical quantity of a channel, in the words of the rig file. */
export const CHANNEL_KINDS = ['current', 'voltage', 'speed', 'thrust', 'motor_temperature', 'esc_temperature', 'torque'] as const;
export type ChannelKind = (typeof CHANNEL_KINDS)[number];

/** Name of a channel in records, exports and screens: the quantity and its unit. */
export const COLUMN_OF: Readonly<Record<ChannelKind, string>> = {
  current: 'current_A',
  voltage: 'voltage_V',
  speed: 'speed_rpm',
  thrust: 'thrust_N',
  motor_temperature: 'motor_degC',
  esc_temperature: 'esc_degC',
  torque: 'torque_Nm',
};

/**
 * From counts to SI. `linear`: c0 + c1·x + c2·x², x = counts − zero, result in the unit of the column.
 * `period`: an electrical period of x counts of `unit_s` seconds; speed_rpm = 60 / (x · unit_s · pole_pairs) · c1.
 */
export type Conversion =
  | { readonly law: 'linear'; readonly zero: number; readonly c0: number; readonly c1: number; readonly c2: number }
  | { readonly law: 'period'; readonly unit_s: number; readonly pole_pairs: number; readonly c1: number };

/** Everything about a channel that a record needs so that its counts can be read in ten years. */
export interface ChannelFact {
  /** Position in the row and bit in the masks, 0..7. */
  readonly id: number;
  readonly kind: ChannelKind;
  readonly column: string;
  readonly period_us: number;
  readonly conversion: Conversion;
  /** Standard uncertainty of the gain, relative (Type B), and of the offset, in the column's unit. */
  readonly u_gain: number;
  readonly u_offset: number;
  /** Degrees of freedom of both where a calibration tells them; without, they count as known. Records made before this lack them. */
  readonly dof_gain?: number;
  readonly dof_offset?: number;
  /** Values between which the calibration holds; there only on a calibrated channel. */
  readonly span?: { readonly from: number; readonly to: number };
  /** Corner of the analogue filter in Hz, null when there is none; samples averaged into one. */
  readonly filter_Hz: number | null;
  readonly averaged: number;
  readonly placement: string | null;
}

/** Counts to the channel's SI unit. Speed of a period of zero or less is 0 rpm. */
export function toSI(c: Conversion, counts: number): number {
  if (c.law === 'period') return counts > 0 ? (60 * c.c1) / (counts * c.unit_s * c.pole_pairs) : 0;
  const x = counts - c.zero;
  return c.c0 + x * (c.c1 + x * c.c2);
}

/** {@link toSI} for loops that run once a sample: constants of all channels side by side, results the same to the bit. */
export class SITable {
  private readonly byPeriod: Uint8Array;
  /** Four numbers a channel: zero, c0, c1, c2; or unit_s, pole_pairs, 60·c1 and nothing. */
  private readonly constants: Float64Array;

  /** `conversions`: by channel id. */
  constructor(conversions: readonly Conversion[]) {
    this.byPeriod = Uint8Array.from(conversions, (c) => (c.law === 'period' ? 1 : 0));
    this.constants = Float64Array.from(conversions.flatMap((c) => (c.law === 'period' ? [c.unit_s, c.pole_pairs, 60 * c.c1, 0] : [c.zero, c.c0, c.c1, c.c2])));
  }

  at(channel: number, counts: number): number {
    const k = this.constants;
    const i = 4 * channel;
    if (this.byPeriod[channel] !== 0) return counts > 0 ? k[i + 2] / (counts * k[i] * k[i + 1]) : 0;
    const x = counts - k[i];
    return k[i + 1] + x * (k[i + 2] + x * k[i + 3]);
  }
}

/**
 * SI to counts, the inverse of {@link toSI}, not rounded. For a quadratic, the root on the branch that holds zero counts.
 * A speed of zero has an infinite period: the result is then `Infinity`.
 */
export function toCounts(c: Conversion, si: number): number {
  if (c.law === 'period') return si > 0 ? (60 * c.c1) / (si * c.unit_s * c.pole_pairs) : Infinity;
  if (c.c2 === 0) return c.zero + (si - c.c0) / c.c1;
  const disc = c.c1 * c.c1 - 4 * c.c2 * (c.c0 - si);
  if (disc < 0) return si > c.c0 === c.c1 > 0 ? Infinity : -Infinity;
  return c.zero + (2 * (si - c.c0)) / (c.c1 + Math.sign(c.c1) * Math.sqrt(disc));
}
