// The setup to apply, as a list to tick off.
import type { Results } from '../../model/results';
import { textOf } from '../arrange';
import { html, type Html } from '../html';

export function setupSection(results: Results): Html {
  const { choice } = results;
  if (choice === null) return html`<p>The campaign asks for no choice, so there is nothing to set.</p>`;
  if (choice.chosen === null || choice.checklist.length === 0) return html`<p>No setting is recommended${choice.reason === null ? '' : html`: ${choice.reason}`}. Leave the setup as it is.</p>`;
  return html`<p>Setting: <b>${textOf(results, choice.chosen)}</b>${choice.runners_up.length === 0 ? '' : html`. Not distinguishable from it: ${choice.runners_up.map((s) => textOf(results, s)).join('; ')}`}.</p>
<ol class="checklist">${choice.checklist.map((c) => html`<li><span class="box" aria-hidden="true"></span><b>${c.what}</b><br><span class="soft">${c.why}</span></li>`)}</ol>
${results.simulated ? html`<p class="warn">These figures come from a simulated rig. Do not apply them to a real drivetrain.</p>` : html`<p class="warn">A propeller cuts: take it off before connecting the battery to change a setting.</p>`}`;
}
