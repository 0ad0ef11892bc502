// The part of an interval that comes from repeats: what may be compared by eye inside one campaign.
import type { SettingValue } from '../model/results';

/**
 * Ends of the interval of a setting's value as far as repeats decide it: each side shrunk by the share of Type A in the whole
 * uncertainty, so that a lopsided interval (a count, a share) stays lopsided. Null where there is no value or no interval.
 */
export function repeatInterval({ estimate, type_a }: Pick<SettingValue, 'estimate' | 'type_a'>): { readonly lower: number; readonly upper: number } | null {
  const { value, u, interval } = estimate;
  if (value === null || interval.lower === null || interval.upper === null) return null;
  const share = type_a === null || u === null || u === 0 ? 1 : Math.min(1, type_a / u);
  return { lower: value - share * (value - interval.lower), upper: value + share * (interval.upper - value) };
}
