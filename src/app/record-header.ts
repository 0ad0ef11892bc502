// What a record says about its run.
import type { PlannedRun } from '../campaign';
import { boardLimits } from '../model/board-limits';
import { limitList } from '../model/limits';
import { isSimulated } from '../model/simulated';
import type { JsonObject, RecordAttachment, RunHeader } from '../record/header';
import { RECORD_FORMAT, YAML_MEDIA_TYPE } from '../record/header';
import type { ReadyCampaign, ReadyProtocol } from './prepare';
import { versions } from './version';

/** Device tick 0 of the simulated rig: 2026-01-01T00:00:00Z, the same in every run, so that records repeat to the byte. */
const TWIN_EPOCH_US = 1_767_225_600_000_000;

export interface HeaderInput {
  readonly ready: ReadyCampaign;
  readonly protocol: ReadyProtocol;
  readonly run: PlannedRun;
  readonly supply_V: number;
  readonly propeller: boolean;
  readonly seed: number | null;
}

/** The header of a run's record. Nothing in it depends on the wall clock, on paths or on the host's name. */
export function runHeader({ ready, protocol, run, supply_V, propeller, seed }: HeaderInput): RunHeader {
  const { rig, article, craft, campaign, calibrations, channels } = ready;
  const { spoolbench, wire, controller } = versions();
  return {
    format: RECORD_FORMAT,
    record_id: run.id,
    simulated: isSimulated(rig),
    protocol: { name: protocol.prepared.name, parameters: json(protocol.prepared.values) },
    settings: json(run.setting.levels),
    supply: { voltage_V: supply_V, kind: rig.supply.kind },
    rig: json(rig), article: json({ ...article, propeller: { ...article.propeller, mounted: propeller } }), craft: craft === null ? null : json(craft),
    calibration: calibrations.length === 0 ? null : json(Object.fromEntries(calibrations.map((c) => [c.channel, c]))),
    campaign: json({ name: campaign.name, run: run.index, label: run.label, repeat: run.repeat, block: run.block, mounting: run.mounting, kind: run.kind, setting: run.setting.id }),
    limits: json({ list: limitList(rig), board: boardLimits(rig, channels), proof: ready.proof }),
    mounting: json({ ...article.mounting, number: run.mounting }),
    environment: rig.environment === null ? null : json(rig.environment),
    versions: { spoolbench, wire, controller },
    seed,
    epoch_us: TWIN_EPOCH_US,
    row_period_us: Math.round(1e6 / rig.row_rate_Hz),
    channels,
  };
}

/** The bench's files as they were written. */
export function attachmentsOf(ready: ReadyCampaign): RecordAttachment[] {
  const utf8 = new TextEncoder();
  return ready.written.map(({ name, text }) => ({ name, media_type: YAML_MEDIA_TYPE, data: utf8.encode(text) }));
}

/** A validated value as plain JSON: `undefined` members left out. */
function json(value: unknown): JsonObject {
  return JSON.parse(JSON.stringify(value)) as JsonObject;
}
