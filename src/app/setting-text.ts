// A setting in words.
import type { Setting } from '../campaign';

/** `44 kHz, 16 deg`, or `as it is` for a campaign without factors. */
export function settingText(setting: Setting): string {
  const levels = Object.values(setting.levels).map((l) => l.text);
  return levels.length === 0 ? 'as it is' : levels.join(', ');
}
