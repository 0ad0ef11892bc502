// How each factor that is not the rig's own is changed, as the campaign file says.
import type { FactorMeans } from '../campaign';
import type { CampaignFile } from '../model/files';

export function factorMeans(campaign: Pick<CampaignFile, 'factors'>): Record<string, FactorMeans> {
  const means: Record<string, FactorMeans> = {};
  for (const [name, f] of Object.entries(campaign.factors)) {
    if (f.apply === 'command') means[name] = { apply: 'command', command: f.command, read_back: f.read_back, time_limit_s: f.time_limit_s };
    if (f.apply === 'operator') means[name] = { apply: 'operator', checklist: f.checklist, ask: f.ask };
  }
  return means;
}
