// Where it all comes from: settings, versions, seeds, bench, records.
import type { Results } from '../../model/results';
import { words } from '../arrange';
import type { FactTable, ReportExtras } from '../extras';
import { html, type Html } from '../html';

export function provenanceSection(results: Results, extras: ReportExtras): Html {
  const rows = Object.entries(results.provenance).map(([name, value]) => ({ name: words(name), value: value === null ? 'not stated' : String(value) }));
  const own: FactTable = { title: 'Campaign', rows: [{ name: 'campaign', value: results.campaign }, ...rows, { name: 'estimand of absolute values', value: results.estimand }, { name: 'report by', value: extras.writer }] };
  return html`${settingsTable(results)}<div class="facts">${[own, ...extras.facts].map(factTable)}</div>
<p>Every record used, with its SHA-256, is listed in the <a href="#records">annex</a>; <code>spoolbench show</code> prints the same sum. All values with their uncertainties are in results.json and results.csv beside this file.</p>`;
}

function settingsTable({ settings, factors, baseline, choice }: Results): Html {
  if (settings.length === 0) return html`<p>The plan has no settings.</p>`;
  return html`<div class="scroll"><table><caption>Settings.</caption><thead><tr><th scope="col">Setting</th>${factors.map((f) => html`<th scope="col">${words(f.name)}</th>`)}<th scope="col">Usable runs</th><th scope="col">Desyncs</th></tr></thead>
<tbody>${settings.map((s) => html`<tr class="${s.id === baseline ? 'baseline' : s.id === choice?.chosen ? 'chosen' : ''}"><th scope="row">${s.text}</th>${factors.map((f) => html`<td>${s.levels[f.name] ?? '–'}</td>`)}<td>${s.runs}</td><td>${s.desyncs}</td></tr>`)}</tbody></table></div>`;
}

const factTable = ({ title, rows }: FactTable): Html => html`<section class="fact"><h3>${title}</h3>${rows.length === 0 ? html`<p>Nothing is stated.</p>` : html`<table><tbody>${rows.map((r) => html`<tr><th scope="row">${r.name}</th><td class="id">${r.value}</td></tr>`)}</tbody></table>`}</section>`;

/** Every planned run with its record. */
export function recordsAnnex({ runs }: Results): Html {
  if (runs.length === 0) return html`<p>The plan has no runs.</p>`;
  return html`<div class="scroll"><table class="records"><caption>Planned runs in their order, with the record and its SHA-256.</caption><thead><tr><th scope="col">No.</th><th scope="col">Run</th><th scope="col">Status</th><th scope="col">SHA-256 of the record</th></tr></thead>
<tbody>${runs.map((r) => html`<tr><td>${r.index}</td><td class="id">${r.id}</td><td>${r.status}</td><td class="sum">${r.sha256 ?? '–'}</td></tr>`)}</tbody></table></div>`;
}
