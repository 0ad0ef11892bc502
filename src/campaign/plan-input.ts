// What a plan is made from: factors, protocols as used, who changes what, how long it takes.
import type { Design, Factor, Point } from './design';

/** Conditions that the plan itself names, beside the factors. */
export const PROPELLER = 'propeller_mounted';
export const SUPPLY = 'supply_voltage';
export const MOUNTING = 'mounting_number';

/** A protocol as a campaign uses it. */
export interface ProtocolUse {
  /** Distinguishes two uses of one protocol; otherwise the protocol's name. */
  readonly label: string;
  readonly protocol: string;
  readonly params: Readonly<Record<string, unknown>>;
  readonly propeller: 'on' | 'off' | 'any';
  /** Supply voltage that it asks for, V; null = what the setting or the article says. */
  readonly supply_V: number | null;
  /** Playing time of one run, s, and size of its record, bytes. */
  readonly duration_s: number;
  readonly bytes: number;
}

/** Who changes what is not a factor. */
export interface Hands {
  readonly propeller: 'rig' | 'operator';
  readonly supply: 'rig' | 'supply' | 'operator';
  readonly mounting: 'rig' | 'operator';
}

/** Estimated times, s: of one change by each applier, of one re-mount, and between any two runs (cool-down, rest, zero). */
export interface ChangeTimes {
  readonly rig_s: number;
  readonly supply_s: number;
  readonly command_s: number;
  readonly operator_s: number;
  readonly remount_s: number;
  readonly between_s: number;
}

export interface PlanInput {
  readonly campaign: string;
  readonly factors: readonly Factor[];
  readonly design: Design;
  readonly protocols: readonly ProtocolUse[];
  readonly repeats: number;
  readonly mountings: number;
  /** See {@link orderRuns}; 1 = fewest changes. */
  readonly visits: number;
  readonly seed: number;
  readonly shuffle: 'blocks' | 'all' | 'none';
  readonly baselineEvery: number;
  /** Levels of the baseline; a factor that is not named stands at its first level. */
  readonly baseline: Point;
  readonly nominal_V: number;
  readonly by: Hands;
  readonly times: ChangeTimes;
  /** Conditions known to be in place at the start, by name (`propeller_mounted`, `supply_voltage`, factors). */
  readonly inPlace: Readonly<Record<string, string>>;
}
