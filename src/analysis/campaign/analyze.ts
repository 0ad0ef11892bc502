/** From the runs of a campaign to its results. Pure: the same input gives the same output. */
import type { Results, ResultMetric, ResultRun } from '../../model/results';
import { collect, keysOfInterest, unknownKeys } from './collect';
import { choose } from './choice';
import { checklistOf } from './choice-words';
import { protect } from './contrast';
import { curvesOf, stepsOf } from './curves';
import { flightOf } from './fly';
import { changeSentences, flightChanges } from './fly-change';
import type { CampaignInput, RunInput } from './input';
import { matchOf } from './match';
import { metricResult } from './metric';
import { overSpecimens, type Unified } from './units';
import { inSentence } from './words';

/** Analyses a campaign. Missing, cut-off and other unusable runs are named and left out; no usable run gives results without verdicts. */
export function analyzeCampaign(campaign: CampaignInput): Results {
  const input = overSpecimens(campaign);
  const columns = collect(input);
  const wanted = keysOfInterest(input);
  const metrics = protectedOverMetrics(columns.map((c) => metricResult(c, input, wanted.has(c.key))), input.confidence);
  const curves = curvesOf(input);
  const picked = choose(input, metrics);
  const match = choiceMatch(input, curves, picked?.chosen ?? null);
  const choice = picked === null ? null : { ...picked, checklist: checklistOf(input, picked, match) };
  const flight = flights(input, choice?.chosen ?? null);
  const unknown = unknownKeys(input, columns);
  const used = input.runs.filter((r) => r.status === 'used');
  return {
    spoolbench_results: 1, campaign: input.campaign, simulated: used.some((r) => r.metrics?.simulated === true), confidence: input.confidence,
    estimand: estimandOf(input, used), baseline: input.baseline, provenance: { ...input.provenance },
    factors: input.factors.map((f) => ({ name: f.name, levels: [...f.levels] })),
    settings: input.settings.map((s) => {
      const own = used.filter((r) => r.setting === s.id);
      return { id: s.id, text: s.text, levels: { ...s.levels }, desyncs: own.reduce((n, r) => n + (r.metrics?.desyncs ?? 0), 0), runs: own.length };
    }),
    answer: answerOf(input, choice?.sentences ?? null, metrics, used.length), metrics, curves, steps: stepsOf(input), choice, match, flight, closest: closestOf(used),
    runs: input.runs.map(resultRun), foreign: input.foreign.map((f) => ({ ...f })), notes: notesOf(input, unknown, used),
  };
}

/** What absolute values are about, as far as the runs can say. */
function estimandOf(input: Unified, used: readonly RunInput[]): string {
  const units = new Set(used.map((r) => r.mounting)).size;
  if (input.specimens) return units > 1 ? `averaged over specimens (${units} used)` : 'this specimen';
  if (input.estimand === 'this-mounting') return units > 1 ? `these ${units} mountings` : 'this mounting';
  return units > 1 || input.remount !== null ? 'averaged over re-mounts' : 'this mounting';
}

function choiceMatch(input: CampaignInput, curves: Results['curves'], chosen: string | null): Results['match'] {
  return chosen === null ? null : matchOf(curves.find((c) => c.setting === input.baseline), curves.find((c) => c.setting === chosen));
}

function protectedOverMetrics(metrics: readonly ResultMetric[], confidence: number): ResultMetric[] {
  const family = metrics.filter((m) => m.of_interest);
  const adjusted = protect(family.map((m) => m.contrasts), confidence);
  return metrics.map((m) => (m.of_interest ? { ...m, contrasts: adjusted[family.indexOf(m)] } : m));
}

function flights(input: CampaignInput, chosen: string | null): Results['flight'] {
  const { craft, baseline } = input;
  if (craft === null) return [];
  const ids = [...new Set([baseline, chosen].filter((s) => s !== null))];
  const all = ids.map((s) => flightOf(input, craft, s));
  const textOf = (id: string): string => input.settings.find((s) => s.id === id)?.text ?? id;
  return all.map((f, i) => (i === 0 ? f : { ...f, sentences: [...f.sentences, ...changeSentences(flightChanges(input, craft, all[0].setting, f.setting), textOf(all[0].setting), textOf(f.setting))] }));
}

function answerOf(input: CampaignInput, chosen: readonly string[] | null, metrics: readonly ResultMetric[], used: number): string[] {
  if (used === 0) return ['No run can be used, so there is no verdict.', ...input.runs.slice(0, 3).map((r) => `${r.id}: ${r.reason ?? r.status}.`)];
  if (chosen !== null) return [...chosen];
  const settled = metrics.filter((m) => m.of_interest).flatMap((m) => m.contrasts.filter((c) => c.verdict === 'better' || c.verdict === 'worse').map((c) => ({ m, c })));
  const text = (id: string): string => input.settings.find((s) => s.id === id)?.text ?? id;
  if (settled.length === 0) return [input.settings.length < 2 ? 'There is one setting alone: nothing is compared, and nothing is recommended.' : 'No objective is stated, and no metric of interest shows a settled difference.'];
  return ['No objective is stated, so nothing is recommended.', ...settled.slice(0, 2).map(({ m, c }) => `${text(c.setting)}: ${inSentence(m.title)} ${c.text} than ${text(c.against)}.`)];
}

/** The nearest that any run came to each limit. */
function closestOf(used: readonly RunInput[]): Results['closest'] {
  const nearest = new Map<string, Results['closest'][number]>();
  for (const run of used) {
    for (const { limit, ratio, value, bound, unit } of run.metrics?.closest ?? []) {
      if ((nearest.get(limit)?.ratio ?? -Infinity) < ratio && [ratio, value, bound].every(Number.isFinite)) nearest.set(limit, { limit, ratio, value, bound, unit, run: run.id });
    }
  }
  return [...nearest.values()].sort((a, b) => b.ratio - a.ratio);
}

const resultRun = (r: RunInput): ResultRun => ({
  id: r.id, index: r.index, label: r.label, setting: r.setting, repeat: r.repeat, mounting: r.mounting, block: r.block, kind: r.kind,
  status: r.status, reason: r.reason, file: r.file, sha256: r.sha256, desyncs: r.metrics?.desyncs ?? null, flags: [...(r.metrics?.flags ?? [])],
});

function notesOf(input: Unified, unknown: readonly string[], used: readonly RunInput[]): string[] {
  const notes = unknown.map((key) => `${key} is named by margins or choice, but no usable run gives it`);
  const versions = [...new Set(used.flatMap((r) => (r.metrics === null ? [] : [r.metrics.version])))];
  if (versions.length > 1) notes.push(`the records were made by versions ${versions.join(', ')}`);
  if (input.baseline === null) notes.push('no baseline is stated (order.baseline or choice.baseline), so there are no contrasts');
  if (input.estimand === 'over-mountings' && !input.specimens && used.length > 0 && input.remount === null && new Set(used.map((r) => r.mounting)).size < 2) notes.push('one mounting and no repeatability study of the rig: absolute values hold for this mounting, what another would read is not known');
  if (input.specimens) notes.push('specimens are a level of their own: each counts once, so differences are about the types as far as these specimens stand for them');
  if (input.factors.some((f) => f.specimen)) notes.push('a factor stands for specimens: its differences are those of these specimens, not of their types');
  const left = input.runs.filter((r) => r.status !== 'used').length;
  if (left > 0) notes.push(`${left} of ${input.runs.length} planned runs are not used; each is listed with its reason`);
  return notes;
}
