// Raw traces: still pictures for print and for pages without scripts, packed samples for zooming.
import { decimate, deltas, stepFor } from './decimate';
import { draw, LARGE, Plot } from './draw';
import type { ReportExtras, Trace, TraceSeries } from './extras';
import { figure, type FigureNumbers } from './figure';
import type { Html} from './html';
import { html, NOTHING, scriptJson } from './html';
import { INK, SERIES } from './palette';
import { heading } from './show';

/** Points of one quantity in the page, and in a still picture. */
const ZOOM_POINTS = 40_000;
const STILL_POINTS = 420;
/** Times in the page are whole microseconds. */
const TIME_STEP_S = 1e-6;

/** The quantity of a still picture: the first of these that the trace has. */
const STILL = ['Speed', 'Thrust', 'Current'];

export function traceSection(extras: ReportExtras, simulated: boolean, numbers: FigureNumbers): Html {
  const traces = extras.traces.filter((t) => t.series.some((s) => s.t_s.length > 1));
  if (traces.length === 0) return html`<p>No raw traces are included. They are in the records, which any MCAP reader opens.</p>`;
  const still = figure(numbers, 'The runs as they were measured: no filter, lowest and highest sample of each stretch.', traces.map((t) => ({ title: `${t.label}: ${t.why}`, svg: picture(t, simulated) })), undefined, 'large');
  if (extras.zoom === null) return still;
  const tag = simulated ? html`<span class="tag">Simulated</span>` : NOTHING;
  return html`<p class="screen-only">Choose a run, drag across a chart to look closer, double-click to see all of it. Times count from the first row of the record.</p>
<div id="zoom" class="zoom screen-only" hidden>
<p class="controls"><label>Run <select id="zoom-run">${traces.map((t, i) => html`<option value="${i}">${t.label}: ${t.why} (${t.setting})</option>`)}</select></label> ${tag}
<span class="buttons"><button type="button" data-zoom="in">Closer</button><button type="button" data-zoom="out">Wider</button><button type="button" data-zoom="left">Earlier</button><button type="button" data-zoom="right">Later</button><button type="button" data-zoom="all">All</button></span></p>
<p id="zoom-note" class="note" role="status"></p><div id="zoom-charts" aria-label="Zoomable traces of the run chosen${simulated ? ', simulated' : ''}"></div></div>
<div class="still">${still}</div>
${traces.map((t, i) => html`<script type="application/json" id="trace-${i}">${packed(t, extras, simulated)}</script>`)}`;
}

function picture(trace: Trace, simulated: boolean): Html {
  const series = STILL.flatMap((name) => trace.series.filter((s) => s.name === name && s.t_s.length > 1))[0] ?? trace.series.find((s) => s.t_s.length > 1);
  if (series === undefined) return NOTHING;
  const { t, v } = decimate(series.t_s, series.value, STILL_POINTS);
  const data = t.map((x, i) => ({ x, y: v[i] }));
  const high = Math.max(...v);
  const low = Math.min(0, ...v);
  return draw({
    title: `${series.name} in run ${trace.run}`, description: `${series.name} in ${series.unit} over ${(t.at(-1) ?? 0).toFixed(1)} s, from ${Math.min(...v).toPrecision(4)} to ${high.toPrecision(4)}.`, simulated, width: LARGE, height: 168, left: 56,
    x: { label: 'time, s' }, y: { label: heading(series.name, series.unit), domain: [low, high * 1.04 || 1], ticks: 4 }, marks: [Plot.lineY(data, { x: 'x', y: 'y', stroke: INK, strokeWidth: 0.8 })],
  });
}

/** JSON of a trace, or an object that holds its gzip. */
function packed(trace: Trace, extras: ReportExtras, simulated: boolean): Html {
  const data = {
    run: trace.run, mark: simulated ? 'SIMULATED' : '', sha256: trace.sha256, segments: trace.segments.map((s) => [Math.round(s.t_s * 1e6) / 1e6, s.label]),
    series: trace.series.filter((s) => s.t_s.length > 1).map((s, i) => packedSeries(s, SERIES[i % SERIES.length].colour)),
  };
  return extras.pack === null ? scriptJson(data) : scriptJson({ gzip: extras.pack(JSON.stringify(data)) });
}

function packedSeries({ name, unit, t_s, value }: TraceSeries, colour: string) {
  const { t, v } = decimate(t_s, value, ZOOM_POINTS);
  const step = stepFor(v);
  return { name, unit, colour, all: t_s.length === t.length, step, t: deltas(t, TIME_STEP_S), v: deltas(v, step) };
}
