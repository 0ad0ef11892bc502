// The whole report: one page that needs nothing else.
import type { Results } from '../model/results';
import { chosenFigures } from './charts/chosen';
import { curveFigures } from './charts/curves';
import { driftFigure } from './charts/drift';
import { interactionFigure } from './charts/interaction';
import { intervalFigure } from './charts/intervals';
import { limitFigure } from './charts/limits';
import { stepFigures } from './charts/steps';
import { restartNumbers } from './draw';
import type { ReportExtras } from './extras';
import { FigureNumbers } from './figure';
import { Html, html, NOTHING } from './html';
import { PAGE_SCRIPT } from './page-script';
import { PAGE_STYLE, SIMULATED_STYLE } from './page-style';
import { allMetrics } from './sections/all-metrics';
import { answerSection, openingOf } from './sections/answer';
import { airSection, matchSection } from './sections/flight';
import { methodSection } from './sections/methods';
import { provenanceSection, recordsAnnex } from './sections/provenance';
import { runSection } from './sections/runs';
import { setupSection } from './sections/setup';
import { verdictSection } from './sections/verdicts';
import { traceSection } from './traces';

type Section = { readonly id: string; readonly title: string; readonly body: Html };

/** Ids of the sections, in their order. */
export const SECTION_IDS = [
  'answer', 'verdicts', 'chosen', 'curves', 'steps', 'intervals', 'interaction', 'drift', 'limits', 'air', 'throttle', 'setup', 'traces', 'provenance', 'methods', 'runs', 'metrics', 'records',
] as const;

/**
 * The report as one HTML page: no file and no network is needed to read it. The same input gives the same text.
 * @param results the content of results.json; whatever it lacks is said in a sentence where it would stand
 */
export function renderReport(results: Results, extras: ReportExtras): string {
  restartNumbers();
  const numbers = new FigureNumbers();
  const sections = sectionsOf(results, extras, numbers);
  const name = `${results.campaign}${results.simulated ? ' (simulated)' : ''}`;
  const zooms = extras.zoom !== null && extras.traces.length > 0 ? extras.zoom : null;
  return html`<!doctype html>
<html lang="en"><head><meta charset="utf-8"><meta name="viewport" content="width=device-width, initial-scale=1"><meta name="color-scheme" content="light">
<title>${name}: bench report</title>
<style>${new Html(`${PAGE_STYLE}${results.simulated ? SIMULATED_STYLE : ''}${zooms === null ? '' : safeStyle(zooms.style)}`)}</style></head>
<body class="${results.simulated ? 'simulated' : ''}">
${results.simulated ? html`<p class="banner" role="note"><b>SIMULATED</b> Every figure below comes from a simulated rig. <span>Nothing here was measured on a real part.</span></p>` : NOTHING}
<main>${openingOf(results, extras)}
<section id="answer" class="first">${html`<h2>The answer</h2>`}${sections[0].body}</section>
<nav aria-label="Contents"><ol>${sections.slice(1).map((s) => html`<li><a href="#${s.id}">${s.title}</a></li>`)}</ol></nav>
${sections.slice(1).map((s, i) => html`<section id="${s.id}"><h2><span class="no">${i + 1}</span> ${s.title}</h2>${s.body}</section>
`)}</main>
<footer><p>${name}. Written by ${extras.writer}.${results.simulated ? ' Simulated data.' : ''}</p></footer>
${zooms === null ? NOTHING : html`<script>${new Html(safeScript(zooms.script))}</script><script>${new Html(safeScript(PAGE_SCRIPT))}</script>`}
</body></html>
`.text;
}

function sectionsOf(results: Results, extras: ReportExtras, numbers: FigureNumbers): Section[] {
  const bodies: Readonly<Record<(typeof SECTION_IDS)[number], readonly [title: string, body: () => Html]>> = {
    answer: ['The answer', () => answerSection(results)],
    verdicts: ['Verdicts', () => verdictSection(results)],
    chosen: ['The choice against the baseline', () => chosenFigures(results, numbers)],
    curves: ['Thrust, speed and efficiency over throttle', () => curveFigures(results, numbers)],
    steps: ['Step responses', () => stepFigures(results, numbers)],
    intervals: ['Every setting with its interval', () => intervalFigure(results, numbers)],
    interaction: ['Factors together', () => interactionFigure(results, numbers)],
    drift: ['Drift over the campaign', () => driftFigure(results, numbers)],
    limits: ['How near the limits', () => limitFigure(results, numbers)],
    air: ['In the air', () => airSection(results)],
    throttle: ['Throttle that feels the same', () => matchSection(results, numbers)],
    setup: ['Setup to apply', () => setupSection(results)],
    traces: ['Raw traces', () => traceSection(extras, results.simulated, numbers)],
    provenance: ['Settings and provenance', () => provenanceSection(results, extras)],
    methods: ['Method and sources', () => methodSection(results)],
    runs: ['Flagged and left-out runs', () => runSection(results)],
    metrics: ['Annex: all metrics', () => allMetrics(results)],
    records: ['Annex: records', () => recordsAnnex(results)],
  };
  return SECTION_IDS.map((id) => ({ id, title: bodies[id][0], body: bodies[id][1]() }));
}

/** Text that cannot end the element it stands in. */
const safeScript = (text: string): string => text.replace(/<\/(script)/gi, '<\\/$1').replace(/<!--/g, '<\\!--');
const safeStyle = (text: string): string => text.replace(/<\/(style)/gi, '<\\/$1');
