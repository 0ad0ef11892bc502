// Small pure text helpers: file-safe slugs, a published 32-bit hash for shortening, canonical JSON.

const PRIME = 0x01000193;
const BASIS = 0x811c9dc5;

/** FNV-1a, 32 bits, of the UTF-16 units' low and high bytes when above ASCII. For short unique endings, never for trust. */
export function fnv1a(text: string): number {
  let hash = BASIS;
  for (let i = 0; i < text.length; i++) {
    const unit = text.charCodeAt(i);
    hash = Math.imul(hash ^ (unit & 0xff), PRIME);
    if (unit > 0x7f) hash = Math.imul(hash ^ (unit >>> 8), PRIME);
  }
  return hash >>> 0;
}

/** Eight hexadecimal digits of {@link fnv1a}. */
export function shortHash(text: string): string {
  return fnv1a(text).toString(16).padStart(8, '0');
}

const SPELT: readonly (readonly [RegExp, string])[] = [
  [/°/g, 'deg'],
  [/[µμ]/g, 'u'],
  [/[ΩΩ]/g, 'ohm'],
  [/%/g, 'pct'],
  [/\//g, 'per'],
  [/^\s*[-−]\s*(?=[\d.])/, 'minus'],
];

/**
 * A name that is safe in a file name on every system: letters, digits, `.`, `-`, `_`. "44 kHz" gives `44kHz`,
 * "-5 %" gives `minus5pct`. A text with nothing left in it gets its hash.
 */
export function slug(text: string): string {
  let out = text;
  for (const [pattern, spelling] of SPELT) out = out.replace(pattern, spelling);
  out = out
    .normalize('NFKD')
    .replace(/[\u0300-\u036f]/g, '')
    .replace(/(?<=\d)\s+(?=[A-Za-z])/g, '')
    .replace(/[^A-Za-z0-9._-]+/g, '-')
    .replace(/^[-.]+|[-.]+$/g, '');
  return out === '' ? shortHash(text) : out;
}

/** Cuts a slug that is too long for a file name and ends it with its hash, so that two long ones stay different. */
export function bounded(text: string, longest: number): string {
  return text.length <= longest ? text : `${text.slice(0, longest - 9)}~${shortHash(text)}`;
}

/** Slugs of several texts, made different from each other even where a file system ignores case. */
export function distinctSlugs(texts: readonly string[]): string[] {
  const plain = texts.map(slug);
  const count = new Map<string, number>();
  for (const s of plain) count.set(s.toLowerCase(), (count.get(s.toLowerCase()) ?? 0) + 1);
  return plain.map((s, i) => (count.get(s.toLowerCase()) === 1 ? s : `${s}.${shortHash(texts[i])}`));
}

/** A record's own entry; a factor may be called `constructor`. */
export function own<T>(record: Readonly<Record<string, T>>, key: string): T | undefined {
  return Object.hasOwn(record, key) ? record[key] : undefined;
}

/**
 * JSON with the keys of every object in code-unit order and nothing undefined: the same value gives the same text.
 * @throws TypeError for what JSON cannot hold, naming the place.
 */
export function canonicalJson(value: unknown): string {
  switch (typeof value) {
    case 'string': return JSON.stringify(value);
    case 'boolean': return value ? 'true' : 'false';
    case 'number':
      if (!Number.isFinite(value)) throw new Unfit(String(value));
      return JSON.stringify(value);
    case 'object': break;
    default: throw new Unfit(`a ${typeof value}`);
  }
  if (value === null) return 'null';
  if (Array.isArray(value)) return `[${value.map((v, i) => placed(v ?? null, `[${i}]`)).join(',')}]`;
  const record = value as Record<string, unknown>;
  const parts: string[] = [];
  for (const key of Object.keys(record).sort()) {
    if (record[key] !== undefined) parts.push(`${JSON.stringify(key)}:${placed(record[key], key)}`);
  }
  return `{${parts.join(',')}}`;
}

/** The place is put together only when something is wrong. */
class Unfit extends TypeError {
  constructor(readonly what: string, readonly where = '') {
    super(`${where === '' ? 'The value' : where} is ${what}, which a plan cannot hold.`);
  }
}

function placed(value: unknown, place: string): string {
  try {
    return canonicalJson(value);
  } catch (e) {
    if (!(e instanceof Unfit)) throw e;
    throw new Unfit(e.what, e.where === '' || e.where.startsWith('[') ? `${place}${e.where}` : `${place}.${e.where}`);
  }
}
