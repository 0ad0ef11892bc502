// One small chart as SVG text: marks are drawn by Plot on a document of linkedom; title, description and the word
// "simulated" are put in here, so that no chart can go without them.
import * as Plot from '@observablehq/plot';
import { parseHTML } from 'linkedom';
import { Html } from './html';
import { INK, RULE, SIMULATED_INK } from './palette';

export type Mark = Plot.Markish;

export type Axis = {
  readonly label: string;
  readonly domain?: readonly [number, number];
  /** About how many ticks. */
  readonly ticks?: number;
  readonly format?: (value: number) => string;
};

export type Chart = {
  /** Read out by screen readers and shown on pointing. */
  readonly title: string;
  /** One or two sentences: what is drawn and what it shows. */
  readonly description: string;
  readonly simulated: boolean;
  readonly width?: number;
  readonly height?: number;
  readonly left?: number;
  readonly right?: number;
  readonly x: Axis;
  readonly y: Axis | { readonly label: string; readonly bands: readonly string[]; readonly name: (id: string) => string };
  readonly marks: readonly Mark[];
};

// Small enough for three side by side on A4 with letters of 7 pt, and large letters on a phone.
const WIDTH = 262;
const HEIGHT = 200;
/** Width of a chart that needs room for names: two of them side by side on A4. */
export const LARGE = 344;
const FONT = 'system-ui, "Segoe UI", "Helvetica Neue", Arial, "Liberation Sans", sans-serif';
let number = 0;

type Node = { setAttribute(name: string, value: string): void; prepend(...nodes: unknown[]): void; append(...nodes: unknown[]): void; textContent: string | null; outerHTML: string };
type Doc = { createElementNS(namespace: string, name: string): Node; documentElement: unknown };
// linkedom's types need the browser's; what is used of them is named here.
const { document: page } = parseHTML('<!doctype html><html><body></body></html>') as unknown as { readonly document: Doc };
const SVG = 'http://www.w3.org/2000/svg';

/** Starts the numbering of charts over, so that the same results give the same text. */
export function restartNumbers(): void {
  number = 0;
}

/** Draws a chart. */
export function draw(chart: Chart): Html {
  const { width = WIDTH, height = HEIGHT, left = 44, right = 12, x, y } = chart;
  const banded = 'bands' in y;
  const svg = Plot.plot({
    document: page as never, className: 'sb', width, height, marginLeft: left, marginRight: right, marginTop: 26, marginBottom: 38,
    style: { fontFamily: FONT, fontSize: '11px', color: INK, background: 'none', overflow: 'visible' },
    x: { ...scale(x), nice: x.domain === undefined },
    y: banded ? { type: 'band', domain: [...y.bands], label: null, padding: 0.2 } : { ...scale(y), nice: y.domain === undefined },
    marks: [
      Plot.frame({ stroke: RULE }),
      Plot.axisX({ label: null, tickSize: 3, tickPadding: 3, stroke: INK, ...ticks(x) }),
      banded ? Plot.axisY({ label: null, tickSize: 0, tickFormat: y.name, fontSize: 10.5 } as never) : Plot.axisY({ label: null, tickSize: 3, tickPadding: 3, ...ticks(y) }),
      banded ? null : Plot.gridY({ stroke: RULE, strokeOpacity: 0.7, ...(y.ticks === undefined ? {} : { ticks: y.ticks }) }),
      Plot.gridX({ stroke: RULE, strokeOpacity: banded ? 0.7 : 0.35, ...(x.ticks === undefined ? {} : { ticks: x.ticks }) }),
      ...chart.marks,
    ],
  }) as unknown as Node;
  return new Html(dressed(svg, chart, width, height));
}

const scale = ({ domain }: Axis) => (domain === undefined ? {} : { domain: [...domain] });
const ticks = ({ ticks: n = 5, format }: Axis) => ({ ticks: n, ...(format === undefined ? {} : { tickFormat: format }) });

/** Title, description, axis labels and the mark of twin data. */
function dressed(svg: Node, { title, description, simulated, x, y }: Chart, width: number, height: number): string {
  const id = `c${++number}`;
  const node = (name: string, text: string, attributes: Readonly<Record<string, string | number>>): Node => {
    const made = page.createElementNS(SVG, name);
    for (const [key, value] of Object.entries(attributes)) made.setAttribute(key, String(value));
    made.textContent = text;
    return made;
  };
  const mark = simulated ? ' (simulated)' : '';
  svg.setAttribute('role', 'img');
  svg.setAttribute('aria-labelledby', `${id}t ${id}d`);
  svg.setAttribute('xmlns', SVG);
  svg.prepend(node('title', `${title}${mark}`, { id: `${id}t` }), node('desc', `${description}${simulated ? ' Simulated data.' : ''}`, { id: `${id}d` }));
  svg.append(
    node('text', y.label, { x: 4, y: 14, fill: INK, 'font-weight': 600, 'text-anchor': 'start' }),
    node('text', x.label, { x: width - 12, y: height - 5, fill: INK, 'text-anchor': 'end' }),
  );
  if (simulated) svg.append(node('text', 'SIMULATED', { x: 4, y: height - 5, fill: SIMULATED_INK, 'font-size': 9, 'font-weight': 700, 'letter-spacing': 1, 'text-anchor': 'start' }));
  // Plot writes a style element with rules for pages of many kinds; the page's own style sheet says what is needed, once.
  return svg.outerHTML.replace(/<style>[\s\S]*?<\/style>/, '');
}
export { Plot };
