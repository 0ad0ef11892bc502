// From a campaign file, its rig and its article to the input of a plan.
import type { Article } from '../model/files/article';
import type { CampaignFile } from '../model/files/campaign';
import { levelKey, type Factor as FileFactor, type Point as FilePoint } from '../model/files/campaign-factors';
import type { Rig } from '../model/files/rig';
import type { Factor, Level, Point } from './design';
import { MOUNTING, PROPELLER, SUPPLY, type PlanInput, type ProtocolUse } from './plan-input';
import { own } from './text';

/**
 * Translates the files. What the protocols need and how long they play is known to whoever resolved them.
 * @param protocols the campaign's protocols in their order, labels distinct.
 * @param cool_s mean cooling time where it has been measured, s. Until then no wait is counted: nobody knows how warm a run leaves the motor.
 */
export function planInput(
  campaign: CampaignFile, rig: Pick<Rig, 'link' | 'supply'>, article: Pick<Article, 'propeller' | 'esc' | 'nominal_voltage_V'>,
  protocols: readonly ProtocolUse[], cool_s = 0,
): PlanInput {
  const factors = Object.entries(campaign.factors).map(([name, f]) => factorOf(name, f));
  const point = (p: FilePoint): Point => pointOf(campaign.factors, p);
  const baseline = campaign.order.baseline === null ? {} : point(campaign.order.baseline);
  const plan = campaign.order.plan;
  const onTwin = rig.link.kind === 'twin';
  const between = campaign.between_runs;
  return {
    campaign: campaign.name, factors, protocols, repeats: campaign.repeats, mountings: campaign.order.mountings, visits: 1,
    design: plan.kind === 'points' ? { kind: 'points', points: plan.points.map(point) }
      : plan.kind === 'full' ? { kind: 'full' }
        : { kind: 'one-at-a-time', baseline: Object.fromEntries(factors.map((f) => [f.name, baseline[f.name] ?? f.levels[0].text])) },
    seed: campaign.order.seed, shuffle: campaign.order.shuffle, baselineEvery: campaign.order.baseline_every, baseline,
    nominal_V: article.nominal_voltage_V,
    by: { propeller: onTwin ? 'rig' : 'operator', supply: supplyBy(rig.supply.kind), mounting: onTwin ? 'rig' : 'operator' },
    times: {
      rig_s: 0, supply_s: rig.supply.settle_s, command_s: 2, operator_s: 300, remount_s: onTwin ? 0 : campaign.order.mounting_takes_s,
      between_s: cool_s + between.rest_s + 2 * between.zero_s + (between.start_check?.for_s ?? 0),
    },
    inPlace: inPlace(campaign, rig, article),
  };
}

function supplyBy(kind: Rig['supply']['kind']): 'supply' | 'operator' {
  switch (kind) {
    case 'twin':
    case 'scpi': return 'supply';
    case 'manual': return 'operator';
  }
}

function factorOf(name: string, f: FileFactor): Factor {
  return { name, apply: f.apply, hard: f.hard_to_change, takes_s: f.takes_s, levels: f.levels.map(levelOf) };
}

function levelOf(level: FileFactor['levels'][number]): Level {
  return { text: level.text, value: level.kind === 'word' ? null : level.value };
}

/** A point in the words of the factors' levels, so that `22000 Hz` finds `22 kHz`; what fits no level stays as written. */
function pointOf(factors: CampaignFile['factors'], point: FilePoint): Point {
  return Object.fromEntries(Object.entries(point).map(([name, wanted]) => {
    const same = own(factors, name)?.levels.find((l) => levelKey(l) === levelKey(wanted));
    return [name, (same ?? wanted).text];
  }));
}

/** What a person would have to change is as the files say it is now; everything else is set anew at the first run. */
function inPlace(campaign: CampaignFile, rig: Pick<Rig, 'supply'>, article: Pick<Article, 'propeller' | 'esc'>): Record<string, string> {
  const out: Record<string, string> = { [PROPELLER]: article.propeller.mounted ? 'on' : 'off' };
  if (campaign.order.mountings > 1) out[MOUNTING] = '1';
  if (rig.supply.kind === 'manual') out[SUPPLY] = `${rig.supply.voltage_V} V`;
  for (const [name, factor] of Object.entries(campaign.factors)) {
    const now = own(article.esc.settings, name);
    if (factor.apply !== 'operator' || now === undefined) continue;
    const level = factor.levels.find((l) => levelKey(l) === levelKey(now));
    if (level !== undefined) out[name] = level.text;
  }
  return out;
}
