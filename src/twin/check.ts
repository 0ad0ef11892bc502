// Dry-run checks: does the simulated rig have what the bench files ask for?
import type { Setting } from '../model/fields';
import type { Article, Rig } from '../model/files';
import type { Loaded } from '../model/load';
import type { Problem } from '../model/problem';
import { faultNamed, physicalChannels, settingName, settingValue, TwinProblem, twinParameters } from './configure';
import { scout, SETTING_NAMES } from './physics';
import { changedSettings } from './physics/settings';

export { SETTING_NAMES };

/** What the simulated rig cannot do of what a rig file and an article say; empty when it can do it all, or when it is not meant. */
export function checkTwin(rigFile: Loaded<Rig>, articleFile: Loaded<Article>): Problem[] {
  const rig = rigFile.value;
  const article = articleFile.value;
  if (rig === null || article === null || rig.link.kind !== 'twin') return [];
  const { faults } = rig.link;
  return [
    ...asProblems(rigFile, () => physicalChannels(rig)),
    ...asProblems(rigFile, () => twinParameters(rig, article)),
    ...faults.flatMap((f) => asProblems(rigFile, () => faultNamed(f.fault))),
  ];
}

/** What is wrong with the levels of a factor that the simulated ESC takes. `level` is the position in the list. */
export function checkLevels(name: string, levels: readonly Setting[]): { level: number; message: string; accepted: string }[] {
  return levels.flatMap((setting, level) => {
    try {
      const known = settingName(name);
      changedSettings(scout.settings, known, settingValue(known, setting));
      return [];
    } catch (error) {
      if (!(error instanceof TwinProblem || error instanceof RangeError)) throw error;
      const [message, accepted = ''] = error.message.split(/; accepted: /);
      return [{ level, message, accepted }];
    }
  });
}

function asProblems(file: Loaded<unknown>, attempt: () => unknown): Problem[] {
  try {
    attempt();
    return [];
  } catch (error) {
    if (!(error instanceof TwinProblem || error instanceof RangeError)) throw error;
    const [message, accepted = ''] = error.message.split(/; accepted: /);
    return [file.source.problem([], message, accepted)];
  }
}
