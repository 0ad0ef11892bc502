// Use case: what a campaign's settings mean in the air, for a craft of a file.
import { analyzeCampaign } from '../analysis/campaign/analyze';
import { flightOf } from '../analysis/campaign/fly';
import { changeSentences, flightChanges, type FlightChange } from '../analysis/campaign/fly-change';
import type { CampaignInput } from '../analysis/campaign/input';
import { FileProblem, readText } from '../host/files';
import type { Craft } from '../model/files';
import { loadFile } from '../model/load';
import { formatProblem } from '../model/problem';
import type { ResultFlight } from '../model/results';
import { campaignInputOnThreads } from './campaign-input';
import { BadInput } from './errors';
import { findSetting } from './find-setting';

/** Against the first of the settings. */
export interface FlightAgainst {
  readonly from: string;
  readonly to: string;
  readonly changes: readonly FlightChange[];
  readonly sentences: readonly string[];
}

export interface Flights {
  readonly campaign: string;
  readonly craft: string;
  readonly simulated: boolean;
  readonly flights: readonly ResultFlight[];
  readonly changes: readonly FlightAgainst[];
}

/**
 * Hover, endurance and thrust margin of the settings named; of the baseline and the chosen setting when none is.
 * @param craftFile craft.yaml; the craft that the records hold when left out
 * @throws BadInput when a file cannot be used, there is no craft, or a setting is not in the campaign
 */
export async function flyFolder(folder: string, craftFile: string | undefined, named: readonly string[]): Promise<Flights> {
  const given = craftFile === undefined ? null : craftIn(craftFile);
  const input = await campaignInputOnThreads(folder, given === null ? {} : { craft: given });
  const { craft } = input;
  if (craft === null) throw new BadInput([`${folder}: no craft is described in the records; name a file with --craft (see \`spoolbench schema craft\`)`]);
  const ids = named.length > 0 ? [...new Set(named.map((n) => findSetting(folder, input.settings, n).id))] : usual(input);
  if (input.runs.every((r) => r.metrics === null)) throw new BadInput([`${folder}: no run can be used, so nothing is known about flight; \`spoolbench analyze\` tells why for each`]);
  const textOf = (id: string): string => input.settings.find((s) => s.id === id)?.text ?? id;
  const [first, ...others] = ids;
  return {
    campaign: input.campaign, craft: craft.name, simulated: input.runs.some((r) => r.metrics?.simulated === true), flights: ids.map((id) => flightOf(input, craft, id)),
    changes: others.map((id) => {
      const changes = flightChanges(input, craft, first, id);
      return { from: first, to: id, changes, sentences: changeSentences(changes, textOf(first), textOf(id)) };
    }),
  };
}

function usual(input: CampaignInput): string[] {
  const chosen = analyzeCampaign(input).choice?.chosen ?? null;
  const ids = [input.baseline, chosen].filter((id) => id !== null);
  return ids.length > 0 ? [...new Set(ids)] : input.settings.slice(0, 1).map((s) => s.id);
}

function craftIn(file: string): Craft {
  try {
    const { value, problems } = loadFile('craft', file, readText(file));
    if (value !== null && problems.length === 0) return value;
    throw new BadInput(problems.map(formatProblem));
  } catch (error) {
    if (error instanceof FileProblem) throw new BadInput([error.message], { cause: error });
    throw error;
  }
}
