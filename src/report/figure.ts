// Panels side by side with one legend and one caption: the figure of a paper.
import { html, NOTHING, type Html } from './html';
import { INK, type Marker, type SeriesStyle } from './palette';

/** Counts the figures of a report. */
export class FigureNumbers {
  private n = 0;
  next(): number {
    this.n += 1;
    return this.n;
  }
}

const SHAPES: Readonly<Record<Marker, string>> = {
  circle: 'M17 7m-3.2 0a3.2 3.2 0 1 0 6.4 0a3.2 3.2 0 1 0 -6.4 0', square: 'M14 4h6v6h-6z', triangle: 'M17 3.2l3.9 6.8h-7.8z',
  diamond: 'M17 2.8l4 4.2l-4 4.2l-4 -4.2z', cross: 'M14 4l6 6m0 -6l-6 6', star: 'M17 3v8m-3.5 -6l7 4m0 -4l-7 4',
};

/** A line with its marker, as in the panels. */
export function sample({ colour, dash, marker }: SeriesStyle): Html {
  const open = marker === 'cross' || marker === 'star';
  return html`<svg class="key" width="34" height="14" viewBox="0 0 34 14" aria-hidden="true"><path d="M0 7H34" stroke="${colour}" stroke-width="2" stroke-dasharray="${dash}" fill="none"></path><path d="${SHAPES[marker]}" fill="${open ? 'none' : colour}" stroke="${colour}" stroke-width="${open ? 1.8 : 1}"></path></svg>`;
}

export type LegendEntry = { readonly name: string; readonly style: SeriesStyle };

/** The legend under a heading; nothing when there is a single line. */
export function legend(about: string, entries: readonly LegendEntry[]): Html {
  if (entries.length < 2) return NOTHING;
  return html`<p class="legend">${about === '' ? '' : html`<span class="about">${about}</span>`}${entries.map((e) => html`<span class="entry">${sample(e.style)} ${e.name}</span>`)}</p>`;
}

/** More panels than a page of A4 holds, by their size: such a figure breaks between its rows, with its caption above them. */
const ONE_PAGE = { small: 12, large: 4, wide: 1 } as const;

/** A panel: its heading, a key of its own where panels do not share one, the chart. */
export type FigurePanel = { readonly title: string; readonly svg: Html; readonly key?: Html };

/** A figure. On paper one of a few panels is never torn apart. */
export function figure(numbers: FigureNumbers, caption: Html | string, panels: readonly FigurePanel[], key: Html = NOTHING, size: keyof typeof ONE_PAGE = 'small'): Html {
  const long = panels.length > ONE_PAGE[size];
  const text = html`<figcaption><b>Figure ${numbers.next()}.</b> ${caption}</figcaption>`;
  return html`<figure class="${size}${long ? ' long' : ''}">${long ? text : ''}${key}<div class="panels">${panels.map((p) => html`<div class="panel">${p.title === '' ? '' : html`<h4>${p.title}</h4>`}${p.key ?? ''}${p.svg}</div>`)}</div>${long ? '' : text}</figure>`;
}

/** A legend entry drawn in ink, for marks that are the same in every panel. */
export const inkStyle = (marker: Marker): SeriesStyle => ({ colour: INK, dash: '', marker });
