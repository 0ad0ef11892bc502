// From a campaign folder to what its analysis needs. One record in memory at a time.
import type { CampaignInput, FactorInput, RunInput, SettingInput } from '../analysis/campaign/input';
import { selectRecords, type RecordNote } from '../analysis/campaign/select';
import { runMetrics, type RunMetrics } from '../analysis/metrics/run-metrics';
import { settingsOf, type FrozenPlan } from '../campaign';
import { exists, join, list } from '../host/files';
import type { CampaignFile, Craft, Rig } from '../model/files';
import { kindOfFile, loadFile } from '../model/load';
import { readRecordAndSum } from '../record/file-reader';
import type { JsonObject, RunHeader } from '../record/header';
import type { RunRecord } from '../record/reader';
import { readCampaignFolder } from './campaign-files';
import { BadInput } from './errors';
import { NothingToAnalyze, runDataOf } from './run-data';

const RUNS = 'runs';

/** What one file gave: its description, its metrics when it is whole, and the bench files of the first readable one. */
interface Read {
  readonly note: RecordNote;
  readonly sha256: string;
  readonly metrics: RunMetrics | null;
}

export interface CampaignInputOptions {
  /** Campaign file to take margins and choice from, as text, instead of the one that the records hold. */
  readonly campaignText?: { readonly file: string; readonly text: string };
  readonly craft?: Craft;
}

/**
 * Reads every record of a campaign folder and computes its metrics.
 * @throws BadInput when the folder is no campaign's, or the campaign file given has problems
 */
export function campaignInput(folder: string, options: CampaignInputOptions = {}): CampaignInput {
  const { frozen } = readCampaignFolder(folder);
  const runsFolder = join(folder, RUNS);
  const files = exists(runsFolder) ? list(runsFolder).filter((f) => f.endsWith('.mcap')).sort() : [];
  const planned = new Set(frozen.plan.runs.map((r) => r.id));
  let bench: { header: RunHeader; campaign: CampaignFile | null } | null = null;
  const reads = files.map((file) => {
    const { read, record } = readOne(join(runsFolder, file), `${RUNS}/${file}`, planned);
    const header = record?.header ?? null;
    if (bench === null && record !== null && header !== null && read.note.campaign === frozen.plan.campaign) bench = { header, campaign: campaignIn(record) };
    return read;
  });
  const known = bench as { header: RunHeader; campaign: CampaignFile | null } | null;
  const campaign = options.campaignText === undefined ? known?.campaign ?? null : loadedOrRefused(options.campaignText);
  const settings = settingInputs(frozen, campaign);
  const rig = (known?.header.rig ?? null) as Rig | null;
  return {
    campaign: frozen.plan.campaign, confidence: campaign?.choice?.confidence ?? 0.95, factors: factorInputs(campaign, settings), settings,
    labels: labelsIn(frozen, campaign), ...runsOf(frozen, reads), baseline: baselineOf(campaign, settings),
    margins: campaign?.margins ?? {}, choice: campaign?.choice ?? null, estimand: campaign?.choice?.estimand ?? 'this-mounting',
    craft: options.craft ?? ((known?.header.craft ?? null) as Craft | null), remount: rig?.remount ?? null, provenance: provenanceOf(frozen, known?.header ?? null),
  };
}

function readOne(path: string, name: string, planned: ReadonlySet<string>): { read: Read; record: RunRecord | null } {
  const unreadable = (problem: string, sha256 = ''): { read: Read; record: null } => ({
    read: { note: { file: name, record_id: null, campaign: null, version: null, status: 'unreadable', outcome: null, problem }, sha256, metrics: null }, record: null,
  });
  let record: RunRecord;
  let sha256: string;
  try {
    ({ record, sha256 } = readRecordAndSum(path));
  } catch (error) {
    return unreadable(error instanceof Error ? error.message : String(error));
  }
  const { header, end, outcome } = record;
  if (header === null) return unreadable(end.detail, sha256);
  const note: RecordNote = {
    file: name, record_id: header.record_id, campaign: textIn(header.campaign, 'name'), version: header.versions.spoolbench, status: end.status,
    outcome: outcome?.outcome ?? null, problem: end.status === 'complete' ? (outcome?.outcome === 'done' ? '' : outcome?.detail ?? '') : end.detail,
  };
  const good = end.status === 'complete' && outcome?.outcome === 'done' && planned.has(header.record_id);
  try {
    return { read: { note, sha256, metrics: good ? runMetrics(runDataOf(record)) : null }, record };
  } catch (error) {
    if (error instanceof NothingToAnalyze) return { read: { note: { ...note, status: 'damaged', problem: error.message }, sha256, metrics: null }, record };
    throw error;
  }
}

function runsOf(frozen: FrozenPlan, reads: readonly Read[]): Pick<CampaignInput, 'runs' | 'foreign'> {
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
function campaignIn(record: RunRecord): CampaignFile | null {
  const utf8 = new TextDecoder();
  for (const { name, data } of record.attachments) {
    const text = utf8.decode(data);
    if (kindOfFile(text) === 'campaign') return loadFile('campaign', name, text).value;
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

function textIn(object: JsonObject | null, key: string): string | null {
  const value = object?.[key];
  return typeof value === 'string' ? value : null;
}
