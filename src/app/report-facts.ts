// The bench as a record describes it, as tables of a report.
import type { FactTable } from '../report';
import type { Json, JsonObject, RunHeader } from '../record/header';
import { formatNumber, formatQuantity, type Dimension } from '../units';

type Row = FactTable['rows'][number];

/** Dimensions that a key's ending stands for, so that a value is shown in the unit that people read. */
const ENDINGS: readonly (readonly [ending: string, dimension: Dimension | null, unit: string])[] = [
  ['_rpm_per_V', 'kv', ''], ['_K_per_s', 'temperature_rate', ''], ['_degC', 'temperature', ''], ['_ohm', 'resistance', ''], ['_rpm', 'speed', ''], ['_kg', 'mass', ''], ['_Wh', 'energy', ''], ['_Hz', 'frequency', ''],
  ['_Pa', 'pressure', ''], ['_us', null, 'µs'], ['_A', 'current', ''], ['_V', 'voltage', ''], ['_W', 'power', ''], ['_N', 'force', ''], ['_m', 'length', ''], ['_s', 'time', ''],
];
/** Keys that hold a share without saying so; `tick` and the like are spelled with their unit. */
const SHARES = new Set(['throttle_cap', 'idle', 'bump', 'sag', 'usable', 'installed_loss', 'humidity']);
/** Bounds of the limits that hold shares. */
const SHARED_BOUNDS: Readonly<Record<string, string>> = { supply_sag: 'below', mismatch: 'thrust' };

/** Tables of rig, article, channels, limits, calibration and environment. What nobody stated is said so. */
export function factsOfHeader(header: RunHeader): FactTable[] {
  const { rig, article, calibration, environment, seed, mounting } = header;
  const { channels: _channels, limits: _limits, name: _name, environment: _environment, ...bench } = rig;
  return [
    { title: `Rig ${textOf(rig.name)}`, rows: [...flat(bench), ...(seed === null ? [] : [{ name: 'seed of the rig', value: String(seed) }])] },
    { title: `Article ${textOf(article.name)}`, rows: articleRows(article, mounting !== null) },
    { title: 'Channels', rows: header.channels.map((c): Row => ({ name: c.kind.replaceAll('_', ' '), value: channelText(c) })) },
    { title: 'Limits', rows: flat(objectIn(rig.limits) ?? {}) },
    { title: 'Calibration', rows: calibration === null ? [{ name: 'calibration', value: 'none stored; the gains and uncertainties of the rig file hold' }] : flat(calibration) },
    { title: 'Environment', rows: environmentRows(environment ?? objectIn(rig.environment)) },
    ...(mounting === null ? [] : [{ title: 'Mounting', rows: flat(mounting) }]),
  ];
}

/** What stays the same through the campaign: not the propeller's being on or off, and the mounting only once. */
function articleRows(article: JsonObject, hasMounting: boolean): Row[] {
  const { name: _name, propeller, mounting, ...rest } = article;
  const blades = objectIn(propeller);
  return flat({ ...rest, ...(blades === null ? {} : { propeller: without(blades, 'mounted') }), ...(hasMounting ? {} : { mounting }) });
}

const environmentRows = (environment: JsonObject | null): Row[] =>
  (environment === null ? [{ name: 'air', value: 'temperature, pressure and humidity are not stated' }] : flat(environment));

function channelText(c: RunHeader['channels'][number]): string {
  const parts = [`every ${formatQuantity(c.period_us / 1e6, 'time')}`, `gain ±${formatNumber(100 * c.u_gain, 3)} %`];
  if (c.u_offset > 0) parts.push(`offset ±${offsetText(c)}`);
  if (c.filter_Hz !== null) parts.push(`filter ${formatQuantity(c.filter_Hz, 'frequency')}`);
  if (c.averaged > 1) parts.push(`${c.averaged} averaged`);
  if (c.placement !== null) parts.push(c.placement);
  return parts.join(', ');
}

/** An offset in the channel's unit: a difference of temperatures is in kelvin, a force in what people read. */
function offsetText({ column, u_offset }: RunHeader['channels'][number]): string {
  const [, dimension] = ENDINGS.find(([e]) => column.endsWith(e)) ?? [];
  if (dimension === undefined || dimension === null) return formatNumber(u_offset, 3);
  return formatQuantity(u_offset, dimension === 'temperature' ? 'temperature_difference' : dimension, { digits: 3 });
}

/** Leaves of a nested object, one row each; null is left out, a bound of several numbers stays in one row. */
function flat(object: JsonObject, path: readonly string[] = []): Row[] {
  return Object.entries(object).flatMap(([key, value]): Row[] => {
    if (value === null || value === undefined) return [];
    const inner = objectIn(value);
    if (inner === null) return [row([...path, key], value)];
    if (typeof inner.text === 'string') return [row([...path, key], inner.text)];
    const bounds = spanOf(key, inner);
    if (bounds !== null) return [{ name: [...path, bounds.name].map(plain).join(', '), value: bounds.value }];
    const share = SHARED_BOUNDS[key];
    const leaves = Object.entries(inner).filter(([, v]) => v !== null && v !== undefined);
    if (leaves.length > 0 && leaves.length <= 3 && leaves.every(([, v]) => typeof v === 'number')) {
      return [{ name: [...path, key].map(plain).join(', '), value: leaves.map(([k, v]) => { const r = k === share ? { name: plain(k), value: percent(v as number) } : row([k], v as number); return `${r.name} ${r.value}`; }).join(', ') }];
    }
    return flat(inner, [...path, key]);
  });
}

/** `range_V: { from, to }` as one row; null for anything else. */
function spanOf(key: string, { from, to, ...rest }: JsonObject): Row | null {
  if (typeof from !== 'number' || typeof to !== 'number' || Object.keys(rest).length > 0) return null;
  const [low, high] = [row([key], from), row([key], to)];
  return { name: high.name, value: `${low.value} to ${high.value}` };
}

function row(path: readonly string[], value: Json): Row {
  const key = path[path.length - 1] ?? '';
  const name = (last: string): string => [...path.slice(0, -1), last].map(plain).join(', ');
  if (typeof value !== 'number') return { name: name(key), value: textOf(value) };
  if (SHARES.has(key)) return { name: name(key), value: percent(value) };
  const ending = ENDINGS.find(([e]) => key.endsWith(e));
  if (ending === undefined) return { name: name(key), value: formatNumber(value, 6) };
  const [end, dimension, unit] = ending;
  return { name: name(key.slice(0, -end.length)), value: dimension === null ? `${formatNumber(value, 6)} ${unit}` : formatQuantity(value, dimension, { digits: 5 }) };
}

const percent = (share: number): string => formatQuantity(share, 'ratio', { digits: 4 });
const plain = (key: string): string => key.replaceAll('_', ' ');

function textOf(value: Json | undefined): string {
  if (typeof value === 'string') return value;
  if (Array.isArray(value)) return value.length === 0 ? 'none' : value.map((v: Json) => textOf(v)).join(', ');
  if (typeof value === 'boolean') return value ? 'yes' : 'no';
  return value === undefined ? '' : JSON.stringify(value);
}

const objectIn = (value: Json | undefined): JsonObject | null => (typeof value === 'object' && value !== null && !Array.isArray(value) ? (value as JsonObject) : null);
const without = (object: JsonObject, key: string): JsonObject => Object.fromEntries(Object.entries(object).filter(([k]) => k !== key));
