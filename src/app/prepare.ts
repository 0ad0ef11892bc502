// From a file on the command line to a plan that may be run: everything loaded, every contradiction found, nothing touched.
import { METRIC_NAMES } from '../analysis/metrics/catalogue';
import { CannotPlan, describeSetting, labelsFor, planCampaign, planInput, type CampaignPlan, type PlanInput, type ProtocolUse } from '../campaign';
import { basename, dirname, exists, isFolder, join, relative, resolve, workingFolder } from '../host/files';
import { channelFacts } from '../model/channel-facts';
import { checkCampaign } from '../model/check-campaign';
import { checkUnattended } from '../model/check-firmata';
import { checkNeeds, checkProtocolFile, checkSegments, type AskedAt } from '../model/check-protocol';
import type { ChannelFact } from '../model/channel';
import type { Article, Calibration, CampaignFile, Craft, Rig } from '../model/files';
import { indefinite, kindOfFile, loadFile, type Loaded } from '../model/load';
import { readParameters } from '../model/parameters';
import type { Path, Problem } from '../model/problem';
import { driveFacts } from '../protocols/facts';
import { BUILT_IN } from '../protocols/catalogue';
import { prepare, type PreparedProtocol, type Protocol } from '../protocols/protocol';
import { walk, type Walk } from '../protocols/walk';
import { checkLevels, checkTwin, SETTING_NAMES } from '../twin/check';
import { benchFolderOf, loadBench, readOrRefuse, refuse, type BenchFiles, type WrittenFile } from './bench-folder';
import { measuredCooling, type MeasuredCooling } from './cooling';
import { BadInput } from './errors';
import { withZeros } from './zeros';
import { proofNote, type ProofNote } from './rig-check/proven';
import { loadOwnProtocols } from './own-protocols';

/** A protocol of the campaign, ready to be played as often as wanted. */
export interface ReadyProtocol {
  readonly label: string;
  readonly prepared: PreparedProtocol;
  readonly walk: Walk;
  /** As written in the campaign. */
  readonly written: Readonly<Record<string, unknown>>;
}

/** Everything that a campaign needs, without problems. */
export interface ReadyCampaign {
  readonly folder: string;
  readonly rig: Rig;
  readonly article: Article;
  readonly craft: Craft | null;
  readonly calibrations: readonly Calibration[];
  readonly channels: readonly ChannelFact[];
  readonly campaign: CampaignFile;
  readonly protocols: ReadonlyMap<string, ReadyProtocol>;
  readonly plan: CampaignPlan;
  /** What a person would have to change, as the bench files say it is now. */
  readonly declared: Readonly<Record<string, string>>;
  /** How long cooling took in an earlier campaign of this name; null when nothing has been measured or nothing is waited for. */
  readonly cooling: MeasuredCooling | null;
  /** What the rig's last check proved; null when it has never been checked. */
  readonly proof: ProofNote | null;
  readonly written: readonly WrittenFile[];
  /** One protocol, asked for on the command line: no factors, no repeats. */
  readonly single: boolean;
}

export interface PrepareOptions {
  /** Parameters for a single protocol, as they would stand in a file: `low=20 %`. */
  readonly set?: readonly string[];
  /** Bench folder, when it cannot be told from the file. */
  readonly bench?: string;
  readonly repeats?: number;
  /** Parent folder of the records, for what earlier campaigns measured; records/ in the bench folder when left out. */
  readonly records?: string;
  /** Protocols in TypeScript of the bench folder, see {@link withOwnProtocols}. */
  readonly own?: readonly Protocol[];
}

/** The options together with the protocols that the bench folder of `target` holds in TypeScript. Throws BadInput. */
export async function withOwnProtocols<T extends PrepareOptions>(target: string, options: T): Promise<T & { own: readonly Protocol[] }> {
  const folder = options.bench ?? benchFolderOf(exists(target) ? target : workingFolder());
  return { ...options, own: [...(options.own ?? []), ...(await loadOwnProtocols(folder))] };
}

/** Bytes a row takes in a record, for estimates of disk: measured on the demo bench. */
const BYTES_PER_ROW = 11;

/**
 * Loads and checks what `target` names: a campaign file, a protocol file, or the name of a built-in protocol.
 * @throws BadInput with every problem in any of the files
 */
export function prepareCampaign(target: string, options: PrepareOptions = {}): ReadyCampaign {
  const asked = askFor(target, options);
  const bench = loadBench(asked.folder, options.own ?? [], asked.rigPath, asked.articlePath);
  const problems = [...bench.problems, ...asked.loaded.problems, ...benchProblems(bench)];
  const rigSettings = bench.rig.usable?.link.kind === 'twin' ? SETTING_NAMES : null;
  problems.push(...checkCampaign(asked.loaded, { rig: bench.rig, protocols: bench.catalogue.names, metrics: METRIC_NAMES, rigSettings }));
  problems.push(...levelProblems(asked.loaded, rigSettings !== null));
  const protocols = readyProtocols(asked.loaded, bench, asked.single, problems);
  refuse(problems);
  const { rig, article, campaign } = { rig: need(bench.rig), article: need(bench.article), campaign: need(asked.loaded) };
  const uses = campaign.protocols.map((_, i) => protocolUse(protocols[i], rig));
  const cooling = campaign.between_runs.cool_until === null ? null : measuredCooling(options.records ?? join(asked.folder, 'records'), campaign.name);
  const input = planInput(campaign, rig, article, uses, cooling?.mean_s);
  const plan = planOrRefuse(input, asked.loaded.file);
  refuse(checkUnattended(bench.rig, plan.runs.length));
  return {
    folder: asked.folder, rig, article, craft: bench.craft?.value ?? null, campaign, single: asked.single,
    calibrations: bench.calibrations.map(need), channels: channelFacts(rig, bench.calibrations.map(need)),
    protocols: new Map(protocols.map((p) => [p.label, p])),
    proof: proofNote(asked.folder, rig),
    plan, declared: declaredByHand(plan, input.inPlace), cooling,
    written: [...bench.written, { name: asked.name, text: asked.text }],
  };
}

interface Asked {
  readonly folder: string;
  readonly rigPath: string;
  readonly articlePath: string;
  readonly loaded: Loaded<CampaignFile>;
  readonly name: string;
  readonly text: string;
  readonly single: boolean;
}

function askFor(target: string, options: PrepareOptions): Asked {
  if (!exists(target)) return askByName(target, options);
  if (isFolder(target)) throw new BadInput([`${target}: this is a folder; name a campaign or a protocol file in it, such as ${join(target, 'campaigns', 'NAME.yaml')}`]);
  const text = readOrRefuse(target);
  const kind = kindOfFile(text);
  if (kind === 'protocol') {
    const folder = options.bench ?? benchFolderOf(target);
    const file = loadFile('protocol', relative(workingFolder(), target), text);
    refuse(file.problems);
    return askForOne(need(file).name, folder, options);
  }
  if (kind !== null && kind !== 'campaign') throw new BadInput([`${target}: this is ${indefinite(kind)} file; accepted: a campaign file or a protocol file`]);
  if ((options.set?.length ?? 0) > 0) throw new BadInput([`${target}: --set is for a single protocol; in a campaign, write the parameters into the file`]);
  const loaded = loadFile('campaign', relative(workingFolder(), target), text);
  const folder = options.bench ?? benchFolderOf(target);
  const near = (path: string | undefined, usual: string): string => (path === undefined ? join(folder, usual) : beside(target, folder, path));
  return {
    folder, loaded, text, single: false, name: relative(folder, resolve(target)),
    rigPath: near(loaded.usable?.rig, 'rig.yaml'), articlePath: near(loaded.usable?.article, 'article.yaml'),
  };
}

/** A path in a campaign file is relative to that file or to the bench folder. */
function beside(file: string, folder: string, path: string): string {
  const near = resolve(dirname(file), path);
  return exists(near) ? near : join(folder, path);
}

function askByName(name: string, options: PrepareOptions): Asked {
  const known = [...BUILT_IN, ...(options.own ?? [])].map((p) => p.name);
  if (!known.includes(name)) throw new BadInput([`${name}: there is no such file, and no built-in protocol and none in TypeScript of that name; accepted: a campaign or protocol file, or ${known.join(', ')}`]);
  return askForOne(name, options.bench ?? benchFolderOf(workingFolder()), options);
}

/** A campaign of one protocol, written as a file would be, so that problems have a place and the record keeps it. */
function askForOne(name: string, folder: string, options: PrepareOptions): Asked {
  const parameters = (options.set ?? []).map((assignment) => {
    const at = assignment.indexOf('=');
    if (at <= 0) throw new BadInput([`--set ${assignment}: accepted: NAME=VALUE, such as --set "low=20 %"`]);
    return `${assignment.slice(0, at).trim()}: ${assignment.slice(at + 1).trim()}`;
  });
  const text = [
    'spoolbench: 1', `campaign: ${name}`, 'rig: rig.yaml', 'article: article.yaml', 'protocols:',
    parameters.length === 0 ? `  - ${name}` : `  - ${name}:\n${parameters.map((p) => `      ${p}`).join('\n')}`,
    `repeats: ${options.repeats ?? 1}`, 'between_runs: { zero: 1 s }', '',
  ].join('\n');
  const loaded = loadFile('campaign', 'command line', text);
  return { folder, rigPath: join(folder, 'rig.yaml'), articlePath: join(folder, 'article.yaml'), loaded, name: `${basename(name)}.campaign.yaml`, text, single: true };
}

function benchProblems(bench: BenchFiles): Problem[] {
  const twin = bench.rig.value !== null && bench.article.value !== null ? checkTwin(bench.rig, bench.article) : [];
  return [...twin, ...bench.protocols.flatMap((file) => checkProtocolFile(file, bench.rig))];
}

/** Levels that the simulated rig cannot take: what the rig sets itself, and settings of its ESC that a person or a program is said to set. */
function levelProblems(loaded: Loaded<CampaignFile>, onTwin: boolean): Problem[] {
  if (!onTwin) return [];
  const followed = (name: string, apply: string): boolean => apply !== 'supply' && SETTING_NAMES.some((n) => n === name);
  const factors = Object.entries(loaded.usable?.factors ?? {}).filter(([name, f]) => f.apply === 'rig' || followed(name, f.apply));
  return factors.flatMap(([name, factor]) => checkLevels(name, factor.levels).map((p) => loaded.source.problem(['factors', name, 'levels', p.level], p.message, p.accepted)));
}

function readyProtocols(loaded: Loaded<CampaignFile>, bench: BenchFiles, single: boolean, problems: Problem[]): ReadyProtocol[] {
  const uses = loaded.usable?.protocols ?? [];
  const article = bench.article.usable;
  if (article === null) return [];
  const labels = labelsFor(uses.map((u) => u.protocol));
  const ready: ReadyProtocol[] = [];
  uses.forEach((use, i) => {
    const protocol = bench.catalogue.find(use.protocol);
    if (protocol === undefined) return;
    const at: AskedAt = { loaded, path: ['protocols', i] };
    const inside = (path: Path): Path => (path.length === 0 ? at.path : [...at.path, use.protocol, ...path]);
    const complain = (p: { path: Path; message: string; accepted: string }): void => {
      problems.push(loaded.source.problem(inside(p.path), `${use.protocol}: ${p.message}`, p.accepted));
    };
    const read = readParameters(protocol.parameters, use.parameters);
    if (!read.ok) return read.problems.forEach(complain);
    const made = prepare(protocol, read.value, driveFacts(article));
    if (!made.ok) return made.problems.forEach(complain);
    const walked = walk(made.value.steps());
    for (const p of walked.problems) complain({ path: [], message: `segment ${p.ordinal} "${p.label}": ${p.message}`, accepted: '' });
    const onTwin = bench.rig.usable?.link.kind === 'twin';
    problems.push(
      ...checkNeeds(use.protocol, made.value.needs, bench.rig, bench.article, at, { propeller: onTwin && !single, supply: onTwin || bench.rig.usable?.supply.kind === 'scpi' }),
      // What is played is what counts against longest_run: the rests for the zero of the load cell belong to it.
      ...checkSegments(walk(withZeros(made.value.steps(), loaded.usable?.between_runs.zero_s ?? 0)).segments.map((w) => w.segment), bench.rig, at),
    );
    ready.push({ label: labels[i], prepared: made.value, walk: walked, written: use.parameters });
  });
  return ready;
}

function protocolUse(ready: ReadyProtocol, rig: Rig): ProtocolUse {
  const { needs } = ready.prepared;
  return {
    label: ready.label, protocol: ready.prepared.name, params: ready.written, propeller: needs.propeller, supply_V: needs.supply_V,
    duration_s: ready.walk.duration_s, bytes: Math.round(20_000 + ready.walk.duration_s * rig.row_rate_Hz * BYTES_PER_ROW),
  };
}

/** Of what the files declare to be in place, the conditions that a person would have to change. */
function declaredByHand(plan: CampaignPlan, inPlace: Readonly<Record<string, string>>): Record<string, string> {
  const byHand = new Set(plan.runs.flatMap((r) => r.conditions.filter((c) => c.by === 'operator').map((c) => c.name)));
  return Object.fromEntries(Object.entries(inPlace).filter(([name]) => byHand.has(name)));
}

function planOrRefuse(input: PlanInput, file: string): CampaignPlan {
  try {
    return planCampaign(input);
  } catch (error) {
    if (error instanceof CannotPlan) throw new BadInput(error.problems.map((p) => `${file}: ${p}`), { cause: error });
    throw error;
  }
}

/** The value of a file that is known to have no problem. */
function need<T>(loaded: Loaded<T>): T {
  if (loaded.value === null) throw new Error(`${loaded.file} was used although it has problems`);
  return loaded.value;
}

export { describeSetting };
