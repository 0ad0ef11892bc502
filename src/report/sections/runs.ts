// Runs that were left out, and runs that were used with a remark.
import type { Results } from '../../model/results';
import { html, type Html } from '../html';

/** Runs numbered for one remark before the rest is counted. */
const NAMED = 24;

export function runSection(results: Results): Html {
  const left = results.runs.filter((r) => r.status !== 'used');
  const flags = new Map<string, number[]>();
  for (const r of results.runs) for (const f of r.flags) flags.set(general(f), [...(flags.get(general(f)) ?? []), r.index]);
  const gaps = new Map<string, string[]>();
  for (const m of results.metrics) for (const note of m.notes) gaps.set(note, [...(gaps.get(note) ?? []), m.title]);
  return html`<h3>Left out</h3>
${left.length === 0 && results.foreign.length === 0 ? html`<p>No planned run was left out, and no foreign record was found.</p>` : html`<div class="scroll"><table><caption>Left out of every metric.</caption><thead><tr><th scope="col">Run or file</th><th scope="col">Status</th><th scope="col">Reason</th></tr></thead><tbody>
${left.map((r) => html`<tr><td class="id">${r.id}</td><td>${r.status === 'missing' ? 'missing' : 'left out'}</td><td>${r.reason ?? 'no reason was given'}</td></tr>`)}
${results.foreign.map((f) => html`<tr><td class="id">${f.file}</td><td>foreign</td><td>${f.reason}</td></tr>`)}</tbody></table></div>`}
<h3>Flagged</h3>
${flags.size === 0 ? html`<p>No run carries a flag.</p>` : html`<div class="scroll"><table><caption>Used, with a remark.</caption><thead><tr><th scope="col">Remark</th><th scope="col">Runs</th><th scope="col">Nos. in the annex of records</th></tr></thead><tbody>
${[...flags].map(([flag, places]) => html`<tr><td>${flag}</td><td>${places.length}</td><td>${places.length === results.runs.length ? 'every run' : html`${places.slice(0, NAMED).join(', ')}${places.length > NAMED ? html` and ${places.length - NAMED} more` : ''}`}</td></tr>`)}</tbody></table></div>`}
${gaps.size === 0 ? '' : html`<h3>Remarks on metrics</h3><ul>${[...gaps].map(([note, titles]) => html`<li>${note} (${titles.join(', ')})</li>`)}</ul>`}`;
}

/** A flag without its own figures, so that flags of one kind are gathered: "3604 of 8164 samples" → "some of the samples". */
const general = (flag: string): string => flag.replace(/\b\d+ of \d+\b/, 'some of the').replace(/\b\d+ desyncs?\b/, 'desyncs');
