// A verdict as sign, words and figure.
import type { Contrast, ResultMetric } from '../model/results';
import { html, type Html } from './html';
import { VERDICT_SIGN } from './palette';
import { difference, differenceScale, range, toldAsShare } from './show';

/** The cell of a table: sign and difference, with what is needed to settle it. */
export function verdictCell(metric: ResultMetric, contrast: Contrast | undefined): Html {
  if (contrast === undefined) return html`<td class="v-none"><span class="sign" aria-hidden="true">·</span> <span class="w">no verdict</span></td>`;
  const { sign, css } = VERDICT_SIGN[contrast.verdict];
  const scale = differenceScale(metric);
  const figure = difference(contrast, scale, toldAsShare(metric));
  const between = contrast.interval.lower === null ? '' : `${range(contrast.interval, scale, true)} ${scale.unit}`.trim();
  return html`<td class="${css}" title="${`${contrast.text}${between === '' ? '' : `; ${between}`}`}"><span class="sign" aria-hidden="true">${sign}</span> ${figure === '' ? '' : html`<span class="num">${figure}</span><br>`}<span class="w">${wordOf(contrast)}</span></td>`;
}

/** The verdict in one or a few words. */
export function wordOf({ verdict, more_repeats }: Contrast): string {
  switch (verdict) {
    case 'same': return 'no difference';
    case 'open': return more_repeats === null ? 'not settled' : `not settled, ${more_repeats} more`;
    default: return VERDICT_SIGN[verdict].word;
  }
}
