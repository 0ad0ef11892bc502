/** The ESC settings that a campaign may change, by name, with the ranges that the simulated ESC accepts. */
import type { EscSettings } from './parameters';

export type SettingName = 'switching_frequency' | 'timing_advance' | 'spool_up_headroom' | 'current_limit';

interface SettingRule {
  readonly field: keyof EscSettings;
  readonly unit: string;
  readonly low: number;
  readonly high: number;
}

const RULES: Readonly<Record<SettingName, SettingRule>> = {
  switching_frequency: { field: 'switchingFrequency_Hz', unit: 'Hz', low: 8_000, high: 192_000 },
  timing_advance: { field: 'timingAdvance_deg', unit: 'degrees', low: 0, high: 30 },
  spool_up_headroom: { field: 'spoolUpHeadroom', unit: '(duty above the back-EMF)', low: 0.05, high: 2 },
  current_limit: { field: 'currentLimit_A', unit: 'A (Infinity: off)', low: 0.1, high: Infinity },
};

export const SETTING_NAMES = Object.keys(RULES) as SettingName[];

/** `settings` with `name` set to `value` (Hz, degrees, duty fraction, A). @throws RangeError naming the accepted range. */
export function changedSettings(settings: EscSettings, name: SettingName, value: number): EscSettings {
  const rule: SettingRule | undefined = RULES[name];
  if (rule === undefined) throw new RangeError(`The simulated ESC has no setting "${String(name)}"; accepted: ${SETTING_NAMES.join(', ')}.`);
  if (!(value >= rule.low && value <= rule.high)) {
    throw new RangeError(`ESC setting ${name} = ${value} is out of range; accepted: ${rule.low} to ${rule.high} ${rule.unit}.`);
  }
  return { ...settings, [rule.field]: value };
}
