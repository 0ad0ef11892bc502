// Contradictions inside a campaign file and between it and the rig.
import { DIMENSIONS, formatQuantity } from '../units';
import { levelKey, type Factor, type Point } from './files/campaign-factors';
import type { CampaignFile } from './files/campaign';
import type { Rig } from './files/rig';
import { Findings } from './findings';
import type { Setting } from './fields';
import type { Loaded } from './load';
import { nearest, type Path, type Problem } from './problem';
import { FINAL_TRIPS } from './trip';

/** What the rest of the program knows and a campaign may name; null where it is not known. */
export interface CampaignContext {
  readonly rig: Loaded<Rig> | null;
  /** Names of protocols, built in and of the bench folder. */
  readonly protocols: readonly string[] | null;
  /** Names of metrics. */
  readonly metrics: readonly string[] | null;
  /** Parameters that the board or the simulated rig takes. */
  readonly rigSettings: readonly string[] | null;
}

export function checkCampaign(loaded: Loaded<CampaignFile>, context: CampaignContext): Problem[] {
  const campaign = loaded.usable;
  if (campaign === null) return [];
  const found = new Findings(loaded);
  for (const [name, factor] of Object.entries(campaign.factors)) checkFactor(name, factor, found, context);
  checkPoints(campaign, found);
  checkBaseline(campaign, found);
  checkMountings(campaign, found, context.rig);
  campaign.protocols.forEach((use, i) => {
    known(use.protocol, context.protocols, ['protocols', i], 'protocol', found);
  });
  checkTrips(campaign, found);
  checkMetrics(campaign, found, context.metrics);
  checkBetweenRuns(campaign, found, context.rig);
  return found.problems;
}

function checkFactor(name: string, factor: Factor, found: Findings, context: CampaignContext): void {
  const at = (...path: (string | number)[]): Path => ['factors', name, ...path];
  const seen = new Map<string, Setting>();
  factor.levels.forEach((level, i) => {
    const before = seen.get(levelKey(level));
    if (before !== undefined) found.add({ at: at('levels', i), message: `the level ${level.text} stands twice${before.text === level.text ? '' : ` (as ${before.text})`}`, accepted: 'each level once' });
    seen.set(levelKey(level), level);
    const first = factor.levels[0];
    if (first !== undefined && kindOf(first) !== kindOf(level)) found.add({ at: at('levels', i), with: [at('levels', 0)], message: `${level.text} is ${kindOf(level)}, the first level, ${first.text}, is ${kindOf(first)}`, accepted: 'levels of one kind' });
  });
  if (factor.apply === 'rig') known(name, context.rigSettings, at(), 'setting of the rig', found);
  if (factor.apply === 'supply') checkSupplyFactor(factor, at, found, context.rig);
}

function checkSupplyFactor(factor: Factor, at: (...path: (string | number)[]) => Path, found: Findings, rigFile: Loaded<Rig> | null): void {
  const supply = rigFile?.usable?.supply;
  if (rigFile !== null && supply?.kind === 'manual') found.add({ at: at('apply'), message: `the supply in ${rigFile.file} is set by hand`, accepted: 'apply: operator, or a programmable supply' }, [[rigFile, ['supply']]]);
  factor.levels.forEach((level, i) => {
    if (level.kind !== 'quantity' || level.dimension !== 'voltage') {
      found.add({ at: at('levels', i), message: `${level.text} is no voltage`, accepted: 'a voltage such as 7.6 V' });
    } else if (rigFile !== null && supply !== undefined && supply.range_V !== null && (level.value < supply.range_V.from || level.value > supply.range_V.to)) {
      found.add({ at: at('levels', i), message: `${level.text} is outside the range of the supply in ${rigFile.file}`, accepted: `${formatQuantity(supply.range_V.from, 'voltage')} .. ${formatQuantity(supply.range_V.to, 'voltage')}` }, [[rigFile, ['supply', 'range']]]);
    }
  });
}

/** A point names known factors and levels; a complete one names every factor. */
function checkPoint(campaign: CampaignFile, point: Point, at: Path, found: Findings): void {
  const names = Object.keys(campaign.factors);
  for (const [name, level] of Object.entries(point)) {
    const factor = campaign.factors[name];
    if (factor === undefined) {
      known(name, names, [...at, name], 'factor', found);
    } else if (!factor.levels.some((l) => levelKey(l) === levelKey(level))) {
      found.add({ at: [...at, name], with: [['factors', name, 'levels']], message: `${level.text} is no level of ${name}`, accepted: factor.levels.map((l) => l.text).join(' | ') });
    }
  }
  const left = names.filter((n) => point[n] === undefined);
  if (left.length > 0) found.add({ at, with: [['factors']], message: `says nothing about ${left.join(', ')}`, accepted: 'a level for every factor' });
}

function checkPoints(campaign: CampaignFile, found: Findings): void {
  const { plan, baseline } = campaign.order;
  if (plan.kind === 'points') {
    const seen = new Set<string>();
    plan.points.forEach((point, i) => {
      const at: Path = ['order', 'plan', 'points', i];
      checkPoint(campaign, point, at, found);
      const key = Object.entries(point).map(([n, l]) => `${n}=${levelKey(l)}`).sort().join(';');
      if (seen.has(key)) found.add({ at, message: 'this combination stands twice', accepted: 'each combination once; repeats: says how often' });
      seen.add(key);
    });
  }
  if (baseline !== null) checkPoint(campaign, baseline, ['order', 'baseline'], found);
  if (campaign.choice !== null && campaign.choice.baseline !== null) checkPoint(campaign, campaign.choice.baseline, ['choice', 'baseline'], found);
}

function checkBaseline(campaign: CampaignFile, found: Findings): void {
  const { plan, baseline, baseline_every } = campaign.order;
  const example = `order.baseline: { ${Object.entries(campaign.factors).map(([n, f]) => `${n}: ${f.levels[0]?.text ?? ''}`).join(', ')} }`;
  if (baseline === null && plan.kind === 'one-at-a-time') found.add({ at: ['order', 'plan', 'kind'], with: [['order', 'baseline']], message: 'needs a baseline at which the other factors stay', accepted: example });
  if (baseline === null && baseline_every > 0) found.add({ at: ['order', 'baseline_every'], with: [['order', 'baseline']], message: 'needs a baseline to run', accepted: example });
  const within = campaign.choice?.constraints.findIndex((c) => c.kind === 'within') ?? -1;
  if (baseline === null && campaign.choice !== null && campaign.choice.baseline === null && within >= 0) {
    found.add({ at: ['choice', 'constraints', within], with: [['order', 'baseline']], message: 'within means near the baseline, and there is none', accepted: example });
  }
}

/** What re-mounting does can only be told from several mountings, or from an earlier study. */
function checkMountings(campaign: CampaignFile, found: Findings, rigFile: Loaded<Rig> | null): void {
  if (campaign.choice?.estimand !== 'over-mountings' || campaign.order.mountings > 1) return;
  const rig = rigFile?.usable;
  if (rigFile === null || rig === null || rig === undefined || rig.remount !== null) return;
  found.add({
    at: ['choice', 'estimand'], with: [['order', 'mountings']], message: `nothing tells what re-mounting changes: there is one mounting, and ${rigFile.file} has no remount study`,
    accepted: 'order: { mountings: 3 } or more, or remount: in the rig file',
  }, [[rigFile, ['remount']]]);
}

function checkTrips(campaign: CampaignFile, found: Findings): void {
  for (const key of ['retry_once', 'skip_setting'] as const) {
    campaign.on_trip[key].forEach((code, i) => {
      if (FINAL_TRIPS.includes(code)) found.add({ at: ['on_trip', key, i], message: `nothing goes on by itself after ${code}`, accepted: 'a trip of a limit' });
      if (campaign.on_trip[key].indexOf(code) !== i) found.add({ at: ['on_trip', key, i], message: `${code} stands twice`, accepted: 'each code once' });
    });
  }
}

function checkMetrics(campaign: CampaignFile, found: Findings, metrics: readonly string[] | null): void {
  for (const name of Object.keys(campaign.margins)) known(name, metrics, ['margins', name], 'metric', found, 'key');
  const choice = campaign.choice;
  if (choice === null) return;
  known(choice.objective.metric, metrics, ['choice', 'objective', choice.objective.sense], 'metric', found);
  choice.constraints.forEach((c, i) => {
    known(c.metric, metrics, ['choice', 'constraints', i, 'metric'], 'metric', found);
  });
}

function checkBetweenRuns(campaign: CampaignFile, found: Findings, rigFile: Loaded<Rig> | null): void {
  const rig = rigFile?.usable;
  if (rig === null || rig === undefined || rigFile === null) return;
  const b = campaign.between_runs;
  const has = (kind: string): boolean => rig.channels.some((c) => c.kind === kind);
  const channels: readonly [Loaded<unknown>, Path][] = [[rigFile, ['channels']]];
  if (b.zero_s > 0 && !has('thrust')) found.add({ at: ['between_runs', 'zero'], message: `${rigFile.file} has no thrust channel to take the zero of`, accepted: 'leave it out' }, channels);
  const parts = [['motor_temperature', b.cool_until?.motor_degC ?? null, rig.arm_when?.motor_below_degC ?? null, 'motor_temperature_below'], ['esc_temperature', b.cool_until?.esc_degC ?? null, rig.arm_when?.esc_below_degC ?? null, 'esc_temperature_below']] as const;
  for (const [kind, cool, arm, armKey] of parts) {
    const at: Path = ['between_runs', 'cool_until', kind];
    if (cool !== null && !has(kind)) found.add({ at, message: `${rigFile.file} has no ${kind} channel`, accepted: 'rest: with a time instead' }, channels);
    if (cool !== null && arm !== null && cool > arm) found.add({ at, message: `cooling ends at ${formatQuantity(cool, 'temperature')}, but ${rigFile.file} arms only below ${formatQuantity(arm, 'temperature')}`, accepted: `at most ${formatQuantity(arm, 'temperature')}` }, [[rigFile, ['arm_when', armKey]]]);
  }
  for (const [key, value] of [['pre_warm', b.pre_warm?.throttle ?? 0], ['start_check', b.start_check?.throttle ?? 0]] as const) {
    if (value > rig.limits.throttle_cap) found.add({ at: ['between_runs', key, 'throttle'], message: `${formatQuantity(value, 'ratio')} is above throttle_cap of the rig`, accepted: `at most ${formatQuantity(rig.limits.throttle_cap, 'ratio')}` }, [[rigFile, ['limits', 'throttle_cap']]]);
  }
}

function known(name: string, names: readonly string[] | null, at: Path, what: string, found: Findings, place: 'key' | 'value' = 'key'): void {
  if (names === null || names.includes(name)) return;
  const near = nearest(name, names);
  found.add({ at, message: `${name} is no ${what} known here${near === null ? '' : `; did you mean ${near}?`}`, accepted: names.length === 0 ? `no ${what} at all` : names.join(' | '), place });
}

function kindOf(level: Setting): string {
  return level.kind === 'quantity' ? DIMENSIONS[level.dimension].name : `a ${level.kind}`;
}
