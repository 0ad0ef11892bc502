// The plan as it is frozen beside the records, and what has changed against it when a campaign is taken up again.
import type { CampaignPlan, Estimate } from './plan';
import { canonicalJson, own } from './text';

export type Json = null | boolean | number | string | readonly Json[] | { readonly [key: string]: Json };

/** A text's digest, e.g. SHA-256 in hexadecimal; handed in because this folder does no cryptography. */
export type Hash = (text: string) => string;

/** What makes a campaign the same campaign. The fingerprint covers all of it. */
export interface PlanIdentity {
  readonly campaign: string;
  readonly seed: number;
  readonly settings: Readonly<Record<string, Json>>;
  readonly protocols: Readonly<Record<string, Json>>;
  readonly runs: readonly FrozenRun[];
  /** Everything else that results rest on, by name: `rig`, `calibration`, `limits`, `article`, protocol files … */
  readonly bench: Readonly<Record<string, Json>>;
}

export interface FrozenRun {
  readonly id: string;
  readonly kind: 'cell' | 'baseline';
  readonly label: string;
  readonly setting: string;
  readonly repeat: number;
  readonly mounting: number;
  readonly block: number;
}

/** The content of campaign.json. Versions and estimates are kept but do not make another plan. */
export interface FrozenPlan {
  readonly spoolbench: 1;
  readonly fingerprint: string;
  readonly plan: PlanIdentity;
  readonly versions: Readonly<Record<string, string>>;
  readonly estimate: Estimate;
  /** Seconds that each run takes with what comes before it, in order: lets another terminal tell the time left. */
  readonly takes_s: readonly number[];
}

/**
 * Freezes a plan together with what the results rest on.
 * @throws TypeError when `bench` holds something that JSON cannot.
 */
export function freezePlan(plan: CampaignPlan, bench: Readonly<Record<string, Json>>, versions: Readonly<Record<string, string>>, hash: Hash): FrozenPlan {
  const identity: PlanIdentity = {
    campaign: plan.campaign, seed: plan.seed,
    settings: Object.fromEntries(plan.runs.map((r) => [r.setting.id, Object.fromEntries(Object.entries(r.setting.levels).map(([name, l]) => [name, l.text]))])),
    protocols: Object.fromEntries(plan.runs.map((r) => [r.label, { protocol: r.protocol, params: r.params as Json }])),
    runs: plan.runs.map(({ id, kind, label, setting, repeat, mounting, block }) => ({ id, kind, label, setting: setting.id, repeat, mounting, block })),
    bench,
  };
  return {
    spoolbench: 1, fingerprint: hash(canonicalJson(identity)), plan: identity, versions, estimate: plan.estimate,
    takes_s: plan.runs.map((r) => Math.round((r.before_s + r.duration_s) * 1000) / 1000),
  };
}

export type Thawed = { readonly ok: true; readonly frozen: FrozenPlan } | { readonly ok: false; readonly problem: string };

/** Reads campaign.json back; refuses one that was cut off, edited, or written by a later format. */
export function thawPlan(text: string, hash: Hash): Thawed {
  let value: unknown;
  try {
    value = JSON.parse(text);
  } catch (cause) {
    return { ok: false, problem: `The frozen plan is no JSON (${String((cause as Error).message)}): it was cut off or edited. Start a new campaign.` };
  }
  const frozen = value as Partial<FrozenPlan> | null;
  if (frozen?.spoolbench !== 1) return { ok: false, problem: `The frozen plan has format ${JSON.stringify(frozen?.spoolbench ?? null)}; this program reads 1.` };
  if (typeof frozen.plan !== 'object' || !Array.isArray(frozen.plan.runs) || typeof frozen.fingerprint !== 'string' || !Array.isArray(frozen.takes_s)) {
    return { ok: false, problem: 'The frozen plan lacks its runs, times or fingerprint. Start a new campaign.' };
  }
  const now = hash(canonicalJson(frozen.plan));
  if (now !== frozen.fingerprint) {
    return { ok: false, problem: `The frozen plan was edited: its fingerprint is ${now}, it was frozen with ${frozen.fingerprint}. Put it back or start a new campaign.` };
  }
  return { ok: true, frozen: frozen as FrozenPlan };
}

export interface PlanDifference {
  /** `runs`, `settings`, `protocols`, `seed`, `campaign`, or the name under `bench` (`rig`, `calibration`, `limits` …). */
  readonly section: string;
  /** Place inside the section, e.g. `channels.current.gain`; empty for the section itself. */
  readonly where: string;
  /** Canonical JSON, null where there was (is) nothing. */
  readonly was: string | null;
  readonly now: string | null;
}

const PER_SECTION = 20;

/** Everything that differs, at most 20 places a section (the last then tells how many more). Empty = same campaign. */
export function diffPlans(was: FrozenPlan, now: FrozenPlan): PlanDifference[] {
  if (was.fingerprint === now.fingerprint) return [];
  const out: PlanDifference[] = [];
  const compare = (section: string, a: Json | undefined, b: Json | undefined): void => {
    const found: PlanDifference[] = [];
    walk(section, '', a, b, found);
    out.push(...found.slice(0, PER_SECTION));
    const more = found.length - PER_SECTION;
    if (more > 0) out.push({ section, where: `and ${more} more`, was: null, now: null });
  };
  compare('campaign', was.plan.campaign, now.plan.campaign);
  compare('seed', was.plan.seed, now.plan.seed);
  compare('settings', was.plan.settings, now.plan.settings);
  compare('protocols', was.plan.protocols, now.plan.protocols);
  out.push(...diffRuns(was.plan.runs, now.plan.runs));
  for (const name of new Set([...Object.keys(was.plan.bench), ...Object.keys(now.plan.bench)])) compare(name, own(was.plan.bench, name), own(now.plan.bench, name));
  return out;
}

/** Another order changes nearly every run: tell the count and the first place, not ten thousand lines. */
function diffRuns(was: readonly FrozenRun[], now: readonly FrozenRun[]): PlanDifference[] {
  const out: PlanDifference[] = [];
  if (was.length !== now.length) out.push({ section: 'runs', where: 'count', was: String(was.length), now: String(now.length) });
  const longest = Math.max(was.length, now.length);
  for (let i = 0; i < longest; i++) {
    const a = i < was.length ? canonicalJson(was[i]) : null;
    const b = i < now.length ? canonicalJson(now[i]) : null;
    if (a !== b) return [...out, { section: 'runs', where: `first different run: ${i + 1}`, was: was[i]?.id ?? null, now: now[i]?.id ?? null }];
  }
  return out;
}

function walk(section: string, where: string, a: Json | undefined, b: Json | undefined, out: PlanDifference[]): void {
  if (a === b) return;
  if (isObject(a) && isObject(b)) {
    for (const key of [...new Set([...Object.keys(a), ...Object.keys(b)])].sort()) walk(section, where === '' ? key : `${where}.${key}`, own(a, key), own(b, key), out);
    return;
  }
  if (Array.isArray(a) && Array.isArray(b)) {
    for (let i = 0; i < Math.max(a.length, b.length); i++) walk(section, `${where}[${i}]`, (a as readonly Json[])[i], (b as readonly Json[])[i], out);
    return;
  }
  const was = a === undefined ? null : canonicalJson(a);
  const now = b === undefined ? null : canonicalJson(b);
  if (was !== now) out.push({ section, where, was, now });
}

function isObject(value: Json | undefined): value is Readonly<Record<string, Json>> {
  return typeof value === 'object' && value !== null && !Array.isArray(value);
}

/** One line a difference: `rig channels.current.gain: was "10 mA", is "11 mA"`. */
export function describeDifference(d: PlanDifference): string {
  const place = d.where === '' ? d.section : `${d.section} ${d.where}`;
  if (d.was === null && d.now === null) return place;
  return `${place}: was ${d.was ?? 'absent'}, is ${d.now ?? 'absent'}`;
}
