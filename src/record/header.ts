// What a record says about its run before the first sample, and how that is stored: one metadata entry a key, as JSON.
import type { ChannelFact } from '../model/channel';
import { BadHeader } from './errors';

export type Json = null | boolean | number | string | readonly Json[] | JsonObject;
/** `undefined` members are left out, as JSON does. */
export interface JsonObject {
  readonly [key: string]: Json | undefined;
}

/** Version of the record layout described in docs/record.md. */
export const RECORD_FORMAT = 1;

export interface RunHeader {
  readonly format: typeof RECORD_FORMAT;
  readonly record_id: string;
  /** True when no hardware was involved. */
  readonly simulated: boolean;
  readonly protocol: { readonly name: string; readonly parameters: JsonObject };
  /** Levels of the factors in this run, e.g. `{ switching_frequency: 44000 }`. */
  readonly settings: JsonObject;
  readonly supply: JsonObject | null;
  /** The validated bench files, in SI units. */
  readonly rig: JsonObject;
  readonly article: JsonObject;
  readonly craft: JsonObject | null;
  readonly calibration: JsonObject | null;
  readonly campaign: JsonObject | null;
  /** Limits as they were compiled for this run. */
  readonly limits: JsonObject;
  readonly mounting: JsonObject | null;
  /** Ambient conditions as far as they are known. */
  readonly environment: JsonObject | null;
  readonly versions: { readonly spoolbench: string; readonly wire: number; readonly controller: string };
  readonly seed: number | null;
  /** Microseconds from 1970-01-01 UTC to device tick 0. Fixed on the twin, so that records repeat byte for byte. */
  readonly epoch_us: number;
  /** Time between two telemetry rows at full rate, microseconds. */
  readonly row_period_us: number;
  readonly channels: readonly ChannelFact[];
}

/** Every header key, in the order in which it is written. */
export const HEADER_KEYS = [
  'format', 'record_id', 'simulated', 'protocol', 'settings', 'supply', 'rig', 'article', 'craft', 'calibration', 'campaign', 'limits',
  'mounting', 'environment', 'versions', 'seed', 'epoch_us', 'row_period_us', 'channels',
] as const satisfies readonly (keyof RunHeader)[];

/** A file kept inside the record exactly as it was written. */
export interface RecordAttachment {
  readonly name: string;
  readonly media_type: string;
  readonly data: Uint8Array;
}

/** Media type of the YAML files. RFC 9512. */
export const YAML_MEDIA_TYPE = 'application/yaml';

/** The header as name/JSON pairs. Throws {@link BadHeader} for what JSON cannot hold or a reader could not use. */
export function headerEntries(header: RunHeader): [key: string, json: string][] {
  checkHeader(header);
  return HEADER_KEYS.map((key) => [key, strictJson(key, header[key])]);
}

/** What each key held last: the records of a campaign say mostly the same. */
const lately = new Map<string, { readonly json: string; readonly value: unknown }>();

function parsed(key: string, json: string): unknown {
  const before = lately.get(key);
  if (before?.json === json) return before.value;
  const value: unknown = JSON.parse(json);
  lately.set(key, { json, value });
  return value;
}

/**
 * Header from its name/JSON pairs; null while keys are missing. Unknown keys are left alone. Headers that say the same share their values.
 * Throws {@link BadHeader} when a key is present and unusable.
 */
export function headerFrom(entries: ReadonlyMap<string, string>): RunHeader | null {
  if (HEADER_KEYS.some((key) => !entries.has(key))) return null;
  const found: Record<string, unknown> = {};
  for (const key of HEADER_KEYS) {
    try {
      found[key] = parsed(key, entries.get(key) ?? '');
    } catch (cause) {
      throw new BadHeader(`record header: ${key} is not JSON`, { cause });
    }
  }
  const header = found as unknown as RunHeader;
  checkHeader(header);
  return header;
}

function checkHeader(header: RunHeader): void {
  const format: unknown = header.format;
  if (format !== RECORD_FORMAT) throw new BadHeader(`record header: format is ${String(format)}; this version reads and writes format ${RECORD_FORMAT}`);
  if (!Number.isSafeInteger(header.epoch_us) || header.epoch_us < 0) throw new BadHeader(`record header: epoch_us is ${header.epoch_us}; accepted: whole microseconds since 1970`);
  if (!(Number.isSafeInteger(header.row_period_us) && header.row_period_us > 0)) throw new BadHeader(`record header: row_period_us is ${header.row_period_us}; accepted: whole microseconds above 0`);
  const listed: unknown = header.channels;
  if (!Array.isArray(listed) || listed.length > 8) throw new BadHeader('record header: channels must be a list of at most 8');
  (listed as ChannelFact[]).forEach((c, i) => {
    if (c.id !== i) throw new BadHeader(`record header: channel ${i} (${c.column}) has id ${c.id}; ids are positions in the row`);
    if (!(c.period_us > 0)) throw new BadHeader(`record header: channel ${c.column} has a period of ${c.period_us} µs; accepted: above 0`);
  });
}

function strictJson(where: string, value: unknown): string {
  const text = JSON.stringify(value, (key, v: unknown) => {
    if (typeof v === 'number' && !Number.isFinite(v)) {
      throw new BadHeader(`record header: ${where}${key === '' ? '' : `, at ${key}`}: ${v} is not a finite number; leave the key out or write null`);
    }
    return v;
  }) as string | undefined;
  if (text === undefined) throw new BadHeader(`record header: ${where} is missing`);
  return text;
}
