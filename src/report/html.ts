// HTML as text in which everything that is filled in is escaped, unless it is HTML already.

/** Text that is HTML and may be put into HTML as it is. */
export class Html {
  constructor(readonly text: string) {}
  toString(): string {
    return this.text;
  }
}

/** What may stand in a template: HTML as it is, anything else as text; lists are joined; null and false leave nothing. */
export type Filling = Html | string | number | null | false | readonly Filling[];

const ENTITIES: Readonly<Record<string, string>> = { '&': '&amp;', '<': '&lt;', '>': '&gt;', '"': '&quot;', "'": '&#39;' };
// eslint-disable-next-line no-control-regex -- control characters are not allowed in HTML text
const CONTROL = /[\u0000-\u0008\u000b\u000c\u000e-\u001f\u007f-\u009f\ufffe\uffff]/g;

/** A name as text of HTML or of a quoted attribute. Control characters become a visible sign. */
export function escapeHtml(text: string): string {
  return text.replace(CONTROL, '\ufffd').replace(/[&<>"']/g, (c) => ENTITIES[c] ?? c);
}

function fill(value: Filling): string {
  if (value === null || value === false) return '';
  if (value instanceof Html) return value.text;
  if (typeof value === 'string') return escapeHtml(value);
  if (typeof value === 'number') return Number.isFinite(value) ? String(value) : '–';
  return value.map(fill).join('');
}

/** Tagged template: html`<b>${name}</b>`. */
export function html(parts: TemplateStringsArray, ...values: readonly Filling[]): Html {
  let text = parts[0];
  values.forEach((v, i) => { text += fill(v) + parts[i + 1]; });
  return new Html(text);
}

export const NOTHING = new Html('');

/** JSON for a script element: no tag can end or begin inside it. */
export function scriptJson(value: unknown): Html {
  return new Html(JSON.stringify(value).replace(/[<>&\u2028\u2029]/g, (c) => `\\u${c.charCodeAt(0).toString(16).padStart(4, '0')}`));
}
