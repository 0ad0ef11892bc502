// The page's look: a paper from a test house. System fonts, one accent, wide margins, figures in a grid; A4 and phone too.
// Light only: the charts are drawn for paper, and their colours were chosen against a light ground.

export const PAGE_STYLE = `
:root { color-scheme: light; --ink: #1d2226; --soft: #4c555c; --rule: #c9cdc8; --paper: #fdfcf8; --plate: #fff; --tint: #f1efe6; --accent: #14285a; --sim: #8a2a0c;
  --sans: system-ui, "Segoe UI", "Helvetica Neue", Arial, "Liberation Sans", sans-serif; --serif: Charter, "Bitstream Charter", "Iowan Old Style", "Source Serif 4", Georgia, "Liberation Serif", serif; }
* { box-sizing: border-box; }
html { -webkit-text-size-adjust: 100%; }
body { margin: 0; background: var(--paper); color: var(--ink); font: 16px/1.55 var(--serif); overflow-wrap: anywhere; }
main, footer { max-width: 1128px; margin: 0 auto; padding: 0 28px; }
h1, h2, h3, h4, th, nav, .kicker, .legend, .banner, table, figcaption, .tag, button, select, summary, footer { font-family: var(--sans); }
h1 { font-size: 2.5rem; line-height: 1.15; margin: .1em 0 .25em; font-weight: 650; letter-spacing: -.01em; }
h2 { font-size: 1.45rem; line-height: 1.25; margin: 0 0 .8em; padding-top: .55em; border-top: 3px solid var(--ink); font-weight: 650; }
h2 .no { color: var(--accent); margin-right: .45em; font-variant-numeric: tabular-nums; }
h3 { font-size: 1.06rem; margin: 1.6em 0 .5em; }
h4 { font-size: .82rem; margin: 0 0 .15em; font-weight: 600; color: var(--soft); }
section { margin: 3.4rem 0; }
p { max-width: 44em; margin: .6em 0; }
a { color: var(--accent); }
.soft { color: var(--soft); font-weight: 400; }
.absent { color: var(--soft); font-style: italic; }
.banner { max-width: none; margin: 0; padding: .6rem 28px; background: var(--sim); color: #fff; font-size: .92rem; position: sticky; top: 0; z-index: 5; }
.banner b { letter-spacing: .14em; margin-right: .6em; }
.tag { display: inline-block; padding: .05em .55em; border: 1.5px solid var(--sim); color: var(--sim); font-size: .74rem; font-weight: 700; letter-spacing: .12em; text-transform: uppercase; }
.opening { padding-top: 2.6rem; }
.kicker { font-size: .86rem; color: var(--soft); margin: 0; }
.opening .about { color: var(--soft); }
section.first { margin-top: 1.6rem; }
.answer p { font-size: 1.22rem; line-height: 1.45; max-width: 40em; margin: .5em 0; }
.notes { color: var(--soft); padding-left: 1.1em; }
nav ol { columns: 3; column-gap: 2.4rem; font-size: .88rem; line-height: 1.75; margin: 2rem 0 0; padding: .9rem 0 .9rem 1.6em; border-top: 1px solid var(--rule); border-bottom: 1px solid var(--rule); }
nav li { break-inside: avoid; padding-left: .2em; }
nav a { text-decoration: none; }
nav a:hover { text-decoration: underline; }
figure { margin: 1.7rem 0 2.2rem; }
.panels { display: grid; grid-template-columns: repeat(auto-fill, minmax(min(330px, 100%), 1fr)); gap: 14px; }
.panel { background: var(--plate); border: 1px solid var(--rule); padding: 9px 9px 5px; min-width: 0; }
figure.wide .panels { grid-template-columns: minmax(0, 580px); }
.panel svg { display: block; width: 100%; height: auto; max-width: 400px; }
figure.wide .panel svg { max-width: 560px; }
figcaption { font-size: .84rem; line-height: 1.45; color: var(--soft); margin-top: .6em; max-width: 56em; }
figure.long figcaption { margin: 0 0 .8em; }
figcaption b { color: var(--ink); }
.legend { font-size: .86rem; display: flex; flex-wrap: wrap; gap: .25em 1.3em; margin: 0 0 .6em; max-width: none; }
.panel .legend { font-size: .76rem; margin: .2em 0 .3em; gap: .1em .9em; }
.legend .about { font-weight: 600; }
.legend .entry { white-space: nowrap; }
.signs .entry { white-space: normal; }
.key { vertical-align: -.12em; }
.scroll { overflow-x: auto; margin: 1.1rem 0; }
table { border-collapse: collapse; font-size: .84rem; line-height: 1.35; font-variant-numeric: tabular-nums; width: 100%; overflow-wrap: normal; }
caption { text-align: left; color: var(--soft); padding-bottom: .4em; }
.scroll caption { position: sticky; left: 0; max-width: calc(100vw - 2rem); }
th, td { text-align: left; vertical-align: top; padding: .34em .7em .34em 0; border-bottom: 1px solid var(--rule); }
thead th { border-bottom: 1.5px solid var(--ink); vertical-align: bottom; font-weight: 600; }
tbody th { font-weight: 500; }
table.narrow { width: auto; }
table.narrow td, table.narrow th { padding-right: 2em; }
.id, .sum { overflow-wrap: anywhere; }
.sum { font: .72rem/1.4 ui-monospace, "SFMono-Regular", Menlo, Consolas, "Liberation Mono", monospace; }
.records .id { min-width: 12em; }
.verdicts th[scope=row] { white-space: nowrap; padding-right: 1.2em; }
.verdicts td { min-width: 6.2em; }
.verdicts td, .verdicts thead th { padding-right: .5em; }
.verdicts .value { color: var(--soft); }
.sign { display: inline-block; min-width: 1em; font-weight: 700; }
.num { white-space: nowrap; }
.verdicts .num + br + .w { font-size: .93em; white-space: nowrap; }
.priced td:last-child { white-space: nowrap; }
.v-better .sign, .v-better .w { color: #0d4f8b; font-weight: 650; }
.v-worse .sign, .v-worse .w { color: #9c3a06; font-weight: 650; }
.v-same, .v-none { color: var(--soft); }
.v-open .w { font-style: italic; }
.tagline { display: inline-block; font-size: .78em; letter-spacing: .06em; text-transform: uppercase; border: 1px solid currentColor; padding: 0 .35em; }
tr.chosen > * { background: #e9edf6; }
tr.baseline > * { background: var(--tint); }
.facts { columns: 2; column-gap: 2.4rem; }
.fact { break-inside: avoid-column; margin: 0 0 1.4rem; }
.fact h3 { margin-top: 0; }
.fact th { width: 42%; }
.methods { max-width: 50em; }
.methods dt { font-family: var(--sans); font-weight: 600; font-size: .92rem; margin-top: .9em; }
.methods dd { margin: .1em 0 0; }
cite { font-style: normal; color: var(--soft); font-size: .9em; }
.checklist { padding: 0; list-style: none; max-width: 46em; }
.checklist li { position: relative; padding: .5em 0 .5em 2.1em; border-bottom: 1px solid var(--rule); }
.box { position: absolute; left: .1em; top: .75em; width: 1.05em; height: 1.05em; border: 1.5px solid var(--ink); background: #fff; }
.warn { border-left: 4px solid var(--sim); padding-left: .8em; }
details { border-bottom: 1px solid var(--rule); padding: .35em 0; }
summary { cursor: pointer; font-size: .94rem; }
.controls { max-width: none; font: .9rem var(--sans); display: flex; flex-wrap: wrap; gap: .6em 1.2em; align-items: center; }
select, button { font-size: .88rem; padding: .3em .6em; border: 1px solid var(--soft); background: #fff; color: var(--ink); max-width: 100%; }
.controls label { max-width: 100%; }
.buttons { display: inline-flex; flex-wrap: wrap; gap: .3em; }
.note { font-family: var(--sans); font-size: .84rem; color: var(--soft); }
#zoom-charts { background: var(--plate); border: 1px solid var(--rule); padding: 6px 4px; }
#zoom-charts .uplot { margin-top: 10px; }
#zoom-charts .u-title { font: 600 12px var(--sans); text-align: left; padding: 0 0 4px 12px; }
#zoom-charts .u-legend { font: 11px var(--sans); text-align: left; width: auto; }
#zoom-charts .u-legend td, #zoom-charts .u-legend th { border: 0; padding: 0 .4em; }
html.zooms .still { display: none; }
footer { font-size: .82rem; color: var(--soft); padding-bottom: 3rem; }
@media (max-width: 700px) {
  body { font-size: 15.5px; }
  main, footer { padding: 0 16px; }
  .banner { padding: .5rem 16px; font-size: .8rem; }
  .banner span { display: none; }
  h1 { font-size: 1.85rem; }
  h2 { font-size: 1.25rem; }
  section { margin: 2.4rem 0; }
  .answer p { font-size: 1.08rem; }
  nav ol { columns: 1; }
  .facts { columns: 1; }
  .panel { padding: 7px 5px 4px; }
  table { font-size: .78rem; }
  .verdicts th:first-child { position: sticky; left: 0; background: var(--paper); z-index: 1; }
  .verdicts tr.chosen th:first-child { background: #e9edf6; }
  .verdicts tr.baseline th:first-child { background: var(--tint); }
  .verdicts th[scope=row] { white-space: normal; min-width: 6.6em; max-width: 8em; }
  .fact th { width: 46%; }
}
@media print {
  @page { size: A4; margin: 16mm 14mm 18mm; @bottom-left { content: counter(page) " of " counter(pages); font: 8pt Arial, sans-serif; color: #4c555c; } }
  html { font-size: 10pt; }
  body { background: #fff; font-size: 10pt; line-height: 1.42; -webkit-print-color-adjust: exact; print-color-adjust: exact; }
  main, footer { max-width: none; padding: 0; }
  .banner { position: static; padding: 2mm 3mm; font-size: 9pt; }
  .opening { padding-top: 5mm; }
  h1 { font-size: 21pt; }
  h2 { font-size: 13.5pt; break-after: avoid; }
  h3, h4, caption, .legend { break-after: avoid; }
  section { margin: 8mm 0; }
  .answer p { font-size: 12pt; }
  nav ol { columns: 2; font-size: 8.5pt; line-height: 1.5; }
  .screen-only, #zoom { display: none !important; }
  html.zooms .still { display: block; }
  figure { margin: 3mm 0 5mm; padding-right: .5mm; }
  .panels { grid-template-columns: repeat(3, minmax(0, 1fr)); gap: 3mm; }
  figure.large .panels { grid-template-columns: repeat(2, minmax(0, 1fr)); }
  .panel { break-inside: avoid; border-color: #bbb; }
  .panel svg { max-width: none; }
  figure:not(.long) { break-inside: avoid; }
  figcaption { font-size: 8pt; break-inside: avoid; }
  figure.long figcaption { break-after: avoid; }
  figure.wide .panels { grid-template-columns: minmax(0, 120mm); }
  .scroll { overflow: visible; }
  table { font-size: 7.4pt; }
  th, td { padding: .25em .5em .25em 0; }
  .verdicts td { min-width: 0; }
  .verdicts th[scope=row] { padding-right: .6em; }
  .verdicts .value .num, .verdicts .num + br + .w { white-space: normal; }
  dt { break-after: avoid; }
  tr, li, dd, .fact { break-inside: avoid; }
  table:not(.records) { break-inside: avoid; }
  #verdicts { break-before: page; margin-top: 0; }
  #setup { break-inside: avoid; }
  section > p:first-of-type { break-after: avoid; }
  .fact, .fact table { break-inside: auto; }
  .fact h3 { break-after: avoid; }
  thead { display: table-header-group; }
  .facts { columns: 2; column-gap: 8mm; }
  .sum { font-size: 5.6pt; overflow-wrap: normal; white-space: nowrap; }
  .records { font-size: 6.4pt; }
  a { color: inherit; text-decoration: none; }
  details { display: none; }
}
`;

/** Put behind the style of a page of twin data: the word on every sheet of paper. */
export const SIMULATED_STYLE = '@media print { @page { @bottom-right { content: "SIMULATED"; font: 700 8pt Arial, sans-serif; letter-spacing: .14em; color: #8a2a0c; } } }';
