// How the report opens: what it is about, and the answer.
import type { Results } from '../../model/results';
import { inTitles, textOf } from '../arrange';
import type { ReportExtras } from '../extras';
import { html, type Html } from '../html';

/** Sentences that stand large. */
const LEAD = 3;

export function openingOf(results: Results, extras: ReportExtras): Html {
  const used = results.runs.filter((r) => r.status === 'used').length;
  const settings = results.settings.length;
  return html`<header class="opening"><p class="kicker">Bench campaign${results.simulated ? html` <span class="tag">Simulated</span>` : ''}</p><h1>${results.campaign}</h1>
<p class="about">${articleOf(results)}${settings} setting${settings === 1 ? '' : 's'}, ${used} of ${results.runs.length} planned run${results.runs.length === 1 ? '' : 's'} used${results.baseline === null ? '' : html`, baseline ${textOf(results, results.baseline)}`}. Written by ${extras.writer}.</p></header>`;
}

function articleOf({ provenance }: Results): string {
  const { article, rig } = provenance;
  return typeof article === 'string' ? `${article}${typeof rig === 'string' ? ` on ${rig}` : ''}. ` : '';
}

export function answerSection(results: Results): Html {
  const sentences = sentencesOf(results);
  return html`<div class="answer">${sentences.slice(0, LEAD).map((s) => html`<p>${s}</p>`)}</div>
${sentences.slice(LEAD).map((s) => html`<p>${s}</p>`)}
${results.choice === null ? '' : html`<p class="soft">Sought: ${results.choice.objective}${constraintsOf(results)}. ${results.choice.checklist.length > 0 ? html`What to set and to re-check: <a href="#setup">setup to apply</a>.` : ''}</p>`}
${results.notes.length === 0 ? '' : html`<ul class="notes">${results.notes.map((n) => html`<li>${n}</li>`)}</ul>`}`;
}

function sentencesOf(results: Results): readonly string[] {
  if (results.answer.length > 0) return results.answer;
  if (results.choice !== null && results.choice.sentences.length > 0) return results.choice.sentences;
  return results.runs.some((r) => r.status === 'used') ? ['Nothing was asked of these runs, so there is no verdict.'] : ['No run can be used, so there is no verdict.'];
}

function constraintsOf({ choice, metrics }: Results): string {
  const texts = [...new Set(choice?.candidates.flatMap((c) => c.constraints.map((k) => k.text)) ?? [])];
  return texts.length === 0 ? '' : `, with ${texts.map((t) => inTitles({ metrics }, t).replace(/^./, (c) => c.toLowerCase())).join('; ')}`;
}
