// From a campaign folder to what its analysis needs. One record in memory at a time.
import type { CampaignInput, FactorInput, RunInput, SettingInput } from '../analysis/campaign/input';
import { selectRecords } from '../analysis/campaign/select';
import { settingsOf, type FrozenPlan } from '../campaign';
import { join } from '../host/files';
import type { Crew } from '../host/threads';
import type { CampaignFile, Craft, Rig } from '../model/files';
import { kindOfFile, loadFile } from '../model/load';
import type { JsonObject, RecordAttachment, RunHeader } from '../record/header';
import { readCampaignFolder } from './campaign-files';
import { BadInput } from './errors';
import { readRun } from './record-run';
import { recordsIn, RUNS } from './run-crew';
import { readOneRun, textIn, type RunFile, type RunRead } from './run-reads';
import { readRunsOnThreads } from './run-threads';

export interface CampaignInputOptions {
  /** Campaign file to take margins and choice from, as text, instead of the one that the records hold. */
  readonly campaignText?: { readonly file: string; readonly text: string };
  readonly craft?: Craft;
  /** Threads that were started beforehand. */
  readonly crew?: Crew;
}

/**
 * Reads every record of a campaign folder and computes its metrics, one record in memory at a time.
 * @throws BadInput when the folder is no campaign's, or the campaign file given has problems
 */
export function campaignInput(folder: string, options: CampaignInputOptions = {}): CampaignInput {
  const { frozen, files, planned } = runFilesOf(folder);
  const ids = new Set(planned);
  return inputFrom(folder, frozen, files.map((file) => readOneRun(file, ids)), options);
}

/** {@link campaignInput}, its records read by threads. */
export async function campaignInputOnThreads(folder: string, options: CampaignInputOptions = {}): Promise<CampaignInput> {
  const { frozen, files, planned } = runFilesOf(folder);
  return inputFrom(folder, frozen, await readRunsOnThreads(files, planned, options.crew), options);
}

function runFilesOf(folder: string): { frozen: FrozenPlan; files: RunFile[]; planned: string[] } {
  const { frozen } = readCampaignFolder(folder);
  return { frozen, files: recordsIn(folder).map((f) => ({ path: join(folder, RUNS, f), name: `${RUNS}/${f}` })), planned: frozen.plan.runs.map((r) => r.id) };
}

/** The header and the campaign file of the first record that belongs to the campaign and can be read. */
function benchOf(folder: string, frozen: FrozenPlan, reads: readonly RunRead[]): { header: RunHeader; campaign: CampaignFile | null } | null {
  const first = reads.find((r) => r.note.record_id !== null && r.note.campaign === frozen.plan.campaign);
  if (first === undefined) return null;
  const { header, attachments } = readRun(join(folder, first.note.file));
  return header === null ? null : { header, campaign: campaignIn(attachments) };
}

function inputFrom(folder: string, frozen: FrozenPlan, reads: readonly RunRead[], options: CampaignInputOptions): CampaignInput {
  const known = benchOf(folder, frozen, reads);
  const campaign = options.campaignText === undefined ? known?.campaign ?? null : loadedOrRefused(options.campaignText);
  const settings = settingInputs(frozen, campaign);
  const rig = (known?.header.rig ?? null) as Rig | null;
  return {
    campaign: frozen.plan.campaign, confidence: campaign?.choice?.confidence ?? 0.95, factors: factorInputs(campaign, settings), settings,
    labels: labelsIn(frozen, campaign), ...runsOf(frozen, reads), baseline: baselineOf(campaign, settings),
    margins: campaign?.margins ?? {}, choice: campaign?.choice ?? null, estimand: campaign?.choice?.estimand ?? 'over-mountings', // as far as the runs and the rig tell
    craft: options.craft ?? ((known?.header.craft ?? null) as Craft | null), remount: rig?.remount ?? null, provenance: provenanceOf(frozen, known?.header ?? null),
  };
}

function runsOf(frozen: FrozenPlan, reads: readonly RunRead[]): Pick<CampaignInput, 'runs' | 'foreign'> {
  const { runs, campaign, protocols } = frozen.plan;
  const selection = selectRecords(runs.map((r) => r.id), reads.map((r) => r.note), { campaign, version: frozen.versions.spoolbench ?? '' });
  const byFile = new Map(reads.map((r) => [r.note.file, r]));
  return {
    foreign: selection.foreign,
    runs: runs.map((r, i): RunInput => {
      const { file, status, reason } = selection.runs[i];
      const read = file === null ? undefined : byFile.get(file);
      return {
        id: r.id, index: i + 1, label: r.label, protocol: textIn(protocols[r.label] as JsonObject | undefined ?? null, 'protocol') ?? r.label, setting: r.setting,
        repeat: r.repeat, mounting: r.mounting, block: r.block, kind: r.kind, file, sha256: read?.sha256 ?? null, metrics: status === 'used' ? read?.metrics ?? null : null, status, reason,
      };
    }),
  };
}

/** The campaign file as it was written, out of a record's attachments. */
function campaignIn(attachments: readonly RecordAttachment[]): CampaignFile | null {
  const utf8 = new TextDecoder();
  for (const { name, data } of attachments) {
    const text = utf8.decode(data);
    // A file of the kind says its name; to read all the others as YAML takes a tenth of a second.
    if (text.includes('campaign') && kindOfFile(text) === 'campaign') return loadFile('campaign', name, text).value;
  }
  return null;
}

function loadedOrRefused({ file, text }: { file: string; text: string }): CampaignFile {
  const loaded = loadFile('campaign', file, text);
  if (loaded.value === null || loaded.problems.length > 0) throw new BadInput([`${file}: this campaign file cannot be used; \`spoolbench plan\` lists its problems`]);
  return loaded.value;
}

/** Settings in the order of the design, which the shuffled plan does not show; settings that it does not list come last. */
function settingInputs(frozen: FrozenPlan, campaign: CampaignFile | null): SettingInput[] {
  const all = Object.entries(frozen.plan.settings).map(([id, levels]): SettingInput => {
    const texts = Object.fromEntries(Object.entries((levels ?? {}) as Record<string, unknown>).map(([f, l]) => [f, String(l)]));
    return { id, levels: texts, text: Object.keys(texts).length === 0 ? 'as it is' : Object.values(texts).join(', ') };
  });
  if (campaign === null) return all;
  const factors = Object.entries(campaign.factors).map(([name, f]) => ({ name, apply: f.apply, levels: f.levels.map((l) => ({ text: l.text, value: l.kind === 'word' ? null : l.value })) }));
  const order = settingsOf(factors, { kind: 'full' }).map((s) => s.id);
  const rank = (id: string): number => { const at = order.indexOf(id); return at < 0 ? order.length : at; };
  return all.sort((a, b) => rank(a.id) - rank(b.id));
}

function factorInputs(campaign: CampaignFile | null, settings: readonly SettingInput[]): FactorInput[] {
  if (campaign === null) {
    const names = [...new Set(settings.flatMap((s) => Object.keys(s.levels)))];
    return names.map((name) => { const levels = [...new Set(settings.flatMap((s) => s.levels[name] ?? []))]; return { name, levels, order: levels.map((_, i) => i), specimen: false }; });
  }
  return Object.entries(campaign.factors).map(([name, f]): FactorInput => {
    const sizes = f.levels.map((l) => (l.kind === 'word' ? null : l.value));
    const sorted = sizes.every((v) => v !== null) ? [...sizes].sort((a, b) => a - b) : null;
    return { name, levels: f.levels.map((l) => l.text), order: sizes.map((v, i) => (sorted === null || v === null ? i : sorted.indexOf(v))), specimen: f.specimen };
  });
}

function labelsIn(frozen: FrozenPlan, campaign: CampaignFile | null): string[] {
  const all = Object.keys(frozen.plan.protocols);
  const order = campaign?.protocols.map((p) => p.protocol) ?? [];
  const rank = (label: string): number => { const at = order.indexOf(label); return at < 0 ? order.findIndex((o) => label.startsWith(`${o}-`)) + 0.5 : at; };
  return all.sort((a, b) => rank(a) - rank(b));
}

/** The stated baseline; the first setting where the campaign states none but has several. */
function baselineOf(campaign: CampaignFile | null, settings: readonly SettingInput[]): string | null {
  const point = campaign?.choice?.baseline ?? campaign?.order.baseline ?? null;
  if (point === null) return settings[0]?.id ?? null;
  const same = (s: SettingInput): boolean => Object.entries(point).every(([factor, level]) => {
    const written = campaign?.factors[factor]?.levels.find((l) => l.kind === level.kind && (l.kind === 'word' || level.kind === 'word' ? l.text === level.text : l.value === level.value));
    return s.levels[factor] === (written?.text ?? level.text);
  });
  return settings.find(same)?.id ?? null;
}

function provenanceOf(frozen: FrozenPlan, header: RunHeader | null): CampaignInput['provenance'] {
  return {
    fingerprint: frozen.fingerprint, order_seed: frozen.plan.seed, spoolbench: frozen.versions.spoolbench ?? null, wire: frozen.versions.wire ?? null, controller: frozen.versions.controller ?? null,
    rig: textIn(header?.rig ?? null, 'name'), article: textIn(header?.article ?? null, 'name'), rig_seed: header?.seed ?? null,
  };
}
