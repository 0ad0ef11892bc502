// How long the motor took to cool between runs in earlier campaigns: what a plan counts with.
import { campaignFolders, readCampaignFolder } from './campaign-files';
import { BadInput } from './errors';

export interface MeasuredCooling {
  /** Mean wait before a run, s. */
  readonly mean_s: number;
  readonly runs: number;
  readonly folder: string;
}

/** What the journal keeps of one wait for temperatures. */
export interface CoolingNote {
  readonly took_s: number;
  readonly reached: boolean;
  readonly motor_degC: number | null;
  readonly esc_degC: number | null;
}

/** From the newest folder of that campaign in which at least one wait was measured; null when there is none. */
export function measuredCooling(records: string, campaign: string): MeasuredCooling | null {
  for (const folder of campaignFolders(records, campaign)) {
    const waits = waitsIn(folder);
    if (waits.length > 0) return { mean_s: waits.reduce((s, w) => s + w, 0) / waits.length, runs: waits.length, folder };
  }
  return null;
}

/** A folder that cannot be read gives no figures; whoever resumes it is told why. */
function waitsIn(folder: string): number[] {
  try {
    return readCampaignFolder(folder).entries.flatMap((e) => (e.type === 'noted' && e.what === 'cooling' ? [(e.data as CoolingNote).took_s] : []))
      .filter((s) => Number.isFinite(s));
  } catch (error) {
    if (error instanceof BadInput) return [];
    throw error;
  }
}
