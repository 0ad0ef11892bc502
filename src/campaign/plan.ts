// The plan: every run of a campaign in its order, what changes before it and by whom, how long it all takes.
import { CannotPlan, settingsOf, type Applier, type Factor, type Setting } from './design';
import { orderRuns, type Cell, type CostlyCondition, type OrderedRun } from './order';
import { MOUNTING, PROPELLER, SUPPLY, type ChangeTimes, type PlanInput, type ProtocolUse } from './plan-input';
import { inputProblems } from './plan-problems';
import { own, slug } from './text';

/** Something that must be so before a run. */
export interface Wanted {
  /** A factor, `propeller_mounted`, `supply_voltage` or `mounting_number`. */
  readonly name: string;
  readonly to: string;
  /** SI value, null for a name. */
  readonly value: number | null;
  readonly by: Applier;
  /** One change takes this long, s. */
  readonly takes_s: number;
}

/** A condition that has to change before a run; `from` is null when nobody knows what is in place. */
export interface Change extends Wanted {
  readonly from: string | null;
}

export interface PlannedRun {
  /** From 1. */
  readonly index: number;
  /** `0007-thrust-curve-switching_frequency-44kHz`: stem of the record's file name. */
  readonly id: string;
  readonly kind: 'cell' | 'baseline';
  readonly protocol: string;
  readonly label: string;
  readonly params: Readonly<Record<string, unknown>>;
  readonly setting: Setting;
  readonly repeat: number;
  readonly mounting: number;
  /** Randomised block. */
  readonly block: number;
  /** Runs of one stretch follow each other without hands. */
  readonly stretch: number;
  readonly conditions: readonly Wanted[];
  readonly changes: readonly Change[];
  /** A person has to do something before this run. */
  readonly needsHands: boolean;
  readonly duration_s: number;
  /** Changes and the pause before the run. */
  readonly before_s: number;
  readonly bytes: number;
}

/** Runs that the bench makes alone, and what a person does before them. */
export interface Stretch {
  readonly stretch: number;
  readonly first: number;
  readonly last: number;
  /** From the campaign's start to the moment that hands are needed, s. */
  readonly starts_s: number;
  readonly hands: readonly Change[];
  readonly hands_s: number;
  readonly alone_s: number;
}

export interface Estimate {
  readonly runs: number;
  readonly blocks: number;
  /** Runs and changes that need nobody; hands; their sum, which is the finishing time counted from the start. */
  readonly bench_s: number;
  readonly hands_s: number;
  readonly total_s: number;
  readonly disk_bytes: number;
  readonly stretches: readonly Stretch[];
}

export interface CampaignPlan {
  readonly campaign: string;
  readonly seed: number;
  readonly settings: readonly Setting[];
  /** In how many mountings everything is run. */
  readonly mountings: number;
  readonly runs: readonly PlannedRun[];
  readonly estimate: Estimate;
}

/**
 * Plans a campaign.
 * @throws CannotPlan with every problem of factors, points, protocols and baseline; RangeError for impossible counts.
 */
export function planCampaign(input: PlanInput): CampaignPlan {
  const problems = inputProblems(input);
  if (problems.length > 0) throw new CannotPlan(problems);
  const settings = settingsOf(input.factors, input.design);
  const pairs = settings.flatMap((setting) => input.protocols.map((use) => ({ setting, use, wanted: wantedFor(input, setting, use) })));
  const costly = input.shuffle === 'all' ? [] : costlyConditions(pairs.flatMap((p) => p.wanted), input.factors);
  const cells: Cell[] = pairs.map((p) => ({ needs: costly.map((c) => p.wanted.find((w) => w.name === c.name)?.to ?? null) }));
  const order = orderRuns({
    cells, costly, repeats: input.repeats, mountings: input.mountings, visits: input.visits, seed: input.seed,
    shuffle: input.shuffle, baselineEvery: input.baselineEvery, inPlace: costly.map((c) => own(input.inPlace, c.name) ?? null),
  });
  const baselines = new Baselines(input, costly);
  const runs = walk(input, order, (o) => (o.cell === null ? baselines.under(o) : pairs[o.cell]));
  return { campaign: input.campaign, seed: input.seed, settings, mountings: input.mountings, runs, estimate: estimate(runs) };
}

interface Pair {
  readonly setting: Setting;
  readonly use: ProtocolUse;
  readonly wanted: readonly Wanted[];
}

/** What must be so for a protocol at a setting, apart from the mounting. */
function wantedFor(input: PlanInput, setting: Setting, use: ProtocolUse): Wanted[] {
  const out: Wanted[] = [];
  const add = (name: string, to: string, value: number | null, by: Applier, takes_s = timeOf(input.times, by)): void => {
    out.push({ name, to, value, by, takes_s });
  };
  if (use.propeller !== 'any') add(PROPELLER, use.propeller, null, input.by.propeller);
  let voltage = use.supply_V ?? input.nominal_V;
  for (const factor of input.factors) {
    const level = setting.levels[factor.name];
    if (factor.apply !== 'supply') add(factor.name, level.text, level.value, factor.apply, factor.takes_s);
    else if (use.supply_V === null && level.value !== null) voltage = level.value;
  }
  add(SUPPLY, `${voltage} V`, voltage, input.by.supply);
  return out;
}

function timeOf(times: ChangeTimes, by: Applier): number {
  switch (by) {
    case 'rig': return times.rig_s;
    case 'supply': return times.supply_s;
    case 'command': return times.command_s;
    case 'operator': return times.operator_s;
  }
}

/** Conditions worth keeping together: hard factors, and what else needs hands. Only where values differ. */
function costlyConditions(wanted: readonly Wanted[], factors: readonly Factor[]): CostlyCondition[] {
  const values = new Map<string, Set<string>>();
  const costs = new Map<string, number>();
  for (const w of wanted) {
    if (!(factors.find((f) => f.name === w.name)?.hard ?? w.by === 'operator')) continue;
    const seen = values.get(w.name) ?? new Set<string>();
    values.set(w.name, seen.add(w.to));
    // Hands always outweigh a program, however long it takes: a person has to come.
    costs.set(w.name, w.by === 'operator' ? 1e6 + w.takes_s : Math.max(1, w.takes_s));
  }
  return [...values].filter(([, seen]) => seen.size > 1).map(([name]) => ({ name, cost: costs.get(name) ?? 1 }));
}

/** Makes the baseline run that fits the conditions in place: hard factors stay as the block has them. */
class Baselines {
  private readonly made = new Map<string, Pair>();
  constructor(private readonly input: PlanInput, private readonly costly: readonly CostlyCondition[]) {}

  under(run: OrderedRun): Pair {
    const key = run.under.join('\u0000');
    const made = this.made.get(key) ?? this.make(run);
    this.made.set(key, made);
    return made;
  }

  private make(run: OrderedRun): Pair {
    const held = new Map(this.costly.map((c, i) => [c.name, run.under[i]]));
    const levelOf = (f: Factor): string => {
      const bySupply = f.apply === 'supply' ? f.levels.find((l) => `${l.value} V` === held.get(SUPPLY))?.text : undefined;
      return held.get(f.name) ?? bySupply ?? own(this.input.baseline, f.name) ?? f.levels[0].text;
    };
    const point = Object.fromEntries(this.input.factors.map((f) => [f.name, levelOf(f)]));
    const [setting] = settingsOf(this.input.factors, { kind: 'points', points: [point] });
    const fits = (w: Wanted): boolean => (held.get(w.name) ?? w.to) === w.to;
    for (const use of this.input.protocols) {
      const wanted = wantedFor(this.input, setting, use);
      if (wanted.every(fits)) return { setting, use, wanted };
    }
    throw new Error(`No protocol can make a baseline run under ${[...held].map(([n, v]) => `${n} ${v}`).join(', ')}.`);
  }
}

/** Follows the conditions from run to run. */
function walk(input: PlanInput, order: readonly OrderedRun[], pairOf: (run: OrderedRun) => Pair): PlannedRun[] {
  const present: Record<string, string> = { ...input.inPlace };
  if (input.mountings > 1 && present[MOUNTING] === undefined) present[MOUNTING] = '1';
  const width = Math.max(4, String(order.length).length);
  const stems = new Map(input.protocols.map((use) => [use.label, slug(use.label)]));
  let stretch = 1;
  return order.map((o, i) => {
    const pair = pairOf(o);
    const conditions = input.mountings > 1 ? [mountingWanted(input, o.mounting), ...pair.wanted] : pair.wanted;
    const changes = changesFor(present, conditions);
    for (const c of changes) present[c.name] = c.to;
    const needsHands = changes.some((c) => c.by === 'operator');
    if (needsHands && i > 0) stretch++;
    const stem = stems.get(pair.use.label) ?? pair.use.label;
    const name = o.cell === null ? `baseline-${stem}` : stem;
    return {
      index: i + 1, id: `${String(i + 1).padStart(width, '0')}-${name}-${pair.setting.id}`, kind: o.cell === null ? 'baseline' : 'cell',
      protocol: pair.use.protocol, label: pair.use.label, params: pair.use.params, setting: pair.setting,
      repeat: o.repeat, mounting: o.mounting, block: o.block, stretch, conditions, changes, needsHands,
      duration_s: pair.use.duration_s, before_s: input.times.between_s + sum(changes, (c) => c.takes_s), bytes: pair.use.bytes,
    };
  });
}

function mountingWanted(input: PlanInput, mounting: number): Wanted {
  return { name: MOUNTING, to: String(mounting), value: mounting, by: input.by.mounting, takes_s: input.times.remount_s };
}

/** What has to change so that every wanted condition holds. */
export function changesFor(present: Readonly<Record<string, string | undefined>>, wanted: readonly Wanted[]): Change[] {
  return wanted.filter((w) => own(present, w.name) !== w.to).map((w) => ({ ...w, from: own(present, w.name) ?? null }));
}

/** Adds up time, hands and disk of runs in their order. */
export function estimate(runs: readonly PlannedRun[]): Estimate {
  const stretches: { -readonly [K in keyof Stretch]: Stretch[K] }[] = [];
  const blocks = new Set<number>();
  let now_s = 0;
  let hands_s = 0;
  for (const run of runs) {
    blocks.add(run.block);
    const hands = run.changes.filter((c) => c.by === 'operator');
    const byHand_s = sum(hands, (c) => c.takes_s);
    let current = stretches[stretches.length - 1];
    if (current?.stretch !== run.stretch) {
      current = { stretch: run.stretch, first: run.index, last: run.index, starts_s: now_s, hands, hands_s: byHand_s, alone_s: 0 };
      stretches.push(current);
    }
    current.last = run.index;
    current.alone_s += run.before_s - byHand_s + run.duration_s;
    hands_s += byHand_s;
    now_s += run.before_s + run.duration_s;
  }
  return {
    runs: runs.length, blocks: blocks.size, bench_s: now_s - hands_s, hands_s, total_s: now_s, disk_bytes: sum(runs, (r) => r.bytes), stretches,
  };
}

function sum<T>(items: readonly T[], of: (item: T) => number): number {
  let total = 0;
  for (const item of items) total += of(item);
  return total;
}
