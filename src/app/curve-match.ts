// Use case: the throttle that makes one drivetrain or setting feel like another.
import { analyzeCampaign } from '../analysis/campaign/analyze';
import { curvesOf } from '../analysis/campaign/curves';
import type { CampaignInput } from '../analysis/campaign/input';
import { matchCurves, MATCHED, type CurveMatch, type Matched, type MatchedCurve } from '../analysis/campaign/match-curves';
import { runMetrics } from '../analysis/metrics/run-metrics';
import { isFolder } from '../host/files';
import { readRecord } from '../record/file-reader';
import { campaignInputOnThreads } from './campaign-input';
import { BadInput } from './errors';
import { NothingToAnalyze, runDataOf } from './run-data';
import { inputErrors } from './records';
import { findSetting } from './find-setting';

export const MATCHED_BY = Object.keys(MATCHED) as readonly Matched[];
export type { Matched };

/** A record, or a campaign folder with one of its settings. */
export interface CurvePlace {
  readonly path: string;
  /** Setting as it is shown or written; left out: the baseline for the old one, the chosen setting for the new one. */
  readonly setting?: string;
}

export interface NamedCurve {
  readonly path: string;
  /** Setting in words; null for a record. */
  readonly setting: string | null;
  readonly runs: number;
  readonly simulated: boolean;
}

export type ThrottleMap = CurveMatch & { readonly from: NamedCurve; readonly to: NamedCurve; readonly by: Matched; readonly simulated: boolean };

/**
 * Finds the new throttle for each old one.
 * @throws BadInput when a place holds no curve up to full throttle, or the setting is not in the campaign
 */
export async function matchPlaces(from: CurvePlace, to: CurvePlace, by: Matched, rows: number): Promise<ThrottleMap> {
  if (!(Number.isInteger(rows) && rows >= 3 && rows <= 1001)) throw new BadInput([`--rows ${rows}: accepted: a whole number from 3 to 1001`]);
  const read = new Map<string, CampaignInput>();
  const a = await curveAt(from, 'old', read);
  const b = await curveAt(to, 'new', read);
  if (a.named.path === b.named.path && a.named.setting === b.named.setting) {
    throw new BadInput([`${from.path}: the old and the new curve are the same one${a.named.setting === null ? '' : ` (${a.named.setting})`}; name two settings with --from and --to`]);
  }
  const match = matchCurves(a.curve, b.curve, by, rows);
  if (!match.ok) throw new BadInput([`${from.path}, ${to.path}: ${match.reason}`]);
  return { ...match, from: a.named, to: b.named, by, simulated: a.named.simulated || b.named.simulated };
}

interface Found { readonly curve: MatchedCurve; readonly named: NamedCurve }

/** `read`: campaigns that were read already, by path. */
async function curveAt(place: CurvePlace, side: 'old' | 'new', read: Map<string, CampaignInput>): Promise<Found> {
  if (!isFolder(place.path)) return ofRecord(place, side);
  const input = read.get(place.path) ?? await campaignInputOnThreads(place.path);
  read.set(place.path, input);
  return ofCampaign(place, side, input);
}

function ofRecord({ path, setting }: CurvePlace, side: 'old' | 'new'): Found {
  if (setting !== undefined) throw new BadInput([`--${side === 'old' ? 'from' : 'to'} ${setting}: ${path} is one record and has no settings to choose from`]);
  const record = inputErrors(path, () => readRecord(path));
  const why = record.end.status !== 'complete' ? `the record is ${record.end.status}: ${record.end.detail}` : record.outcome?.outcome !== 'done' ? `the run ended as ${record.outcome?.outcome ?? 'nothing'}` : null;
  if (why !== null) throw new BadInput([`${path}: ${why}; a whole run is needed`]);
  try {
    const { curve, simulated, protocol } = runMetrics(runDataOf(record));
    if (curve === null) throw new BadInput([`${path}: a run of ${protocol} has no curve over throttle; a run of thrust-curve or staircase gives one`]);
    const single = (values: readonly number[] | null): MatchedCurve['thrust_N'] => (values === null ? null : { mean: [...values], u: values.map(() => null) });
    const { thrust_N, speed_rpm, power_W } = curve.values;
    return { curve: { throttle: [...curve.throttle], thrust_N: single(thrust_N), speed_rpm: single(speed_rpm), power_W: single(power_W) }, named: { path, setting: null, runs: 1, simulated } };
  } catch (error) {
    if (error instanceof NothingToAnalyze) throw new BadInput([`${path}: ${error.message}`], { cause: error });
    throw error;
  }
}

function ofCampaign({ path, setting }: CurvePlace, side: 'old' | 'new', input: CampaignInput): Found {
  const id = setting === undefined ? usual(path, input, side) : findSetting(path, input.settings, setting).id;
  const text = input.settings.find((s) => s.id === id)?.text ?? id;
  const curve = curvesOf(input).find((c) => c.setting === id);
  if (curve === undefined) throw new BadInput([`${path}: no usable run of ${text} has a curve over throttle; a run of thrust-curve or staircase gives one`]);
  return { curve, named: { path, setting: text, runs: curve.runs, simulated: input.runs.some((r) => r.metrics?.simulated === true) } };
}

/** The baseline for the old one; for the new one what the campaign chose. */
function usual(path: string, input: CampaignInput, side: 'old' | 'new'): string {
  if (side === 'old') {
    if (input.baseline !== null) return input.baseline;
    throw new BadInput([`${path}: the campaign states no baseline; name the old setting with --from`]);
  }
  const { choice, settings } = { choice: analyzeCampaign(input).choice, settings: input.settings };
  if (choice?.chosen !== null && choice?.chosen !== undefined) return choice.chosen;
  if (settings.length === 1) return settings[0].id;
  throw new BadInput([`${path}: the campaign chooses no setting; name the new one with --to; accepted: ${settings.map((s) => s.text).join(' | ')}`]);
}
