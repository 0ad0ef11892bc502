// How the figures were made, said plainly, with the published sources.
import type { Results } from '../../model/results';
import { shownMetrics } from '../arrange';
import { html, type Html } from '../html';

const NOTES: readonly { readonly title: string; readonly text: string; readonly sources: string }[] = [
  { title: 'Unit of analysis', text: 'The repeat (one run), never the sample: thousands of samples of one run share that run’s state and are not independent.', sources: '' },
  { title: 'Uncertainty', text: 'Each value is the mean of repeats. Its standard uncertainty combines Type A (scatter of repeats), Type B (calibration of the rig) and, where a study gave it, re-mounting; the interval uses Student’s t with the effective degrees of freedom; where what a coarse channel hides or the age of its samples rules, a rectangle folded with it. A calibration error shared by two settings partly cancels in their difference and is treated so.', sources: 'JCGM 100:2008; JCGM 101:2008, 9.2; Welch (1947) Biometrika 34, 28; Satterthwaite (1946) Biometrics Bulletin 2, 110.' },
  { title: 'Coarse speed', text: 'Telemetry tells speed in steps. A mean over a level may be off by half a step, or by less where the moving parts of the same record show that noise carries the readings over their steps; a drift that the steps may hide is not told. A sample may be as old as its period; half of that is taken off times that begin at a command.', sources: 'Widrow & Kollár (2008) Quantization Noise, 19.' },
  { title: 'Pooling', text: 'The scatter of all settings is pooled where Bartlett’s test gives no sign that it differs; otherwise every setting keeps its own.', sources: 'Bartlett (1937) Proc. R. Soc. A 160, 268.' },
  { title: 'Against the baseline', text: 'Intervals hold for all settings together: Dunnett’s with pooled scatter, Welch’s with Bonferroni’s factor without. Counts are compared by an exact conditional test.', sources: 'Dunnett (1955) J. Am. Stat. Assoc. 50, 1096; Welch (1947).' },
  { title: 'All pairs', text: 'Tukey–Kramer with pooled scatter, Games–Howell without; they decide which settings cannot be told from the chosen one.', sources: 'Kramer (1956) Biometrics 12, 307; Games & Howell (1976) J. Educ. Stat. 1, 113.' },
  { title: 'Several metrics', text: 'The metrics that the campaign names are looked at together: a difference counts only if it survives Holm’s adjustment.', sources: 'Holm (1979) Scand. J. Stat. 6, 65.' },
  { title: 'No difference', text: 'Said only when two one-sided tests show that the difference lies within the margin that the campaign states. A large p value alone is “not settled”, with the number of further repeats that would probably settle it.', sources: 'Schuirmann (1987) J. Pharmacokinet. Biopharm. 15, 657.' },
  { title: 'Steps', text: 'Rise and fall are measured on speed: the load cell rings and its filter lags. Reference levels lie between the state levels before and after the step, crossings are interpolated. The figure depends on the definition: 10–90 %, 20–80 %, and times to 50 and 80 % are different quantities and are named as such. Steps with a desync are counted and left out.', sources: 'IEEE Std 181-2011.' },
  { title: 'Curves', text: 'A throttle curve is a smooth curve that never falls (cubic B-splines with coefficients that never decrease, least squares), fitted to the up and the down ramp together: at equal throttle the rotor lags on one and leads on the other by as much, so the lag cancels. Curves of held levels are interpolated between the levels without overshoot. Thrust per watt is the ratio of two fits, never a fit of the ratio, which need not rise or fall evenly.', sources: 'Held levels: Barlow, Bartholomew, Bremner & Brunk (1972); Fritsch & Butland (1984) SIAM J. Sci. Stat. Comput. 5, 300.' },
  { title: 'Equal load', text: 'The same propeller at the same speed is the same load, so power at equal speed or equal thrust shows loss alone; thrust per watt at equal current compares different thrusts.', sources: '' },
  { title: 'Air', text: 'Where coefficients are given, air density comes from temperature, station pressure and humidity.', sources: 'Picard et al. (2008) Metrologia 45, 149 (CIPM-2007).' },
  { title: 'Shares', text: 'Shares of successful starts have Wilson’s interval.', sources: 'Wilson (1927) J. Am. Stat. Assoc. 22, 209.' },
  { title: 'Drift', text: 'A straight line through the baseline runs in their order. It is taken out only when baseline runs were planned for it and the line can be told from scatter.', sources: '' },
  { title: 'Choice', text: 'Of the settings that meet every constraint for certain, the best by the objective; among those within its margin of the best, the one that asks for least.', sources: '' },
  { title: 'Charts', text: 'Lines differ in lightness, hue, dash and marker, so that they can be told apart in grey print and by readers with any of the common kinds of colour blindness. Verdicts carry a sign; colour only repeats it.', sources: '' },
];

export function methodSection(results: Results): Html {
  const confidence = Math.round(100 * results.confidence);
  return html`<p>Intervals are ${confidence} % intervals. Absolute values are about: ${results.estimand}.</p>
<dl class="methods">${NOTES.map((n) => html`<dt>${n.title}</dt><dd>${n.text}${n.sources === '' ? '' : html` <cite>${n.sources}</cite>`}</dd>`)}</dl>
<h3>Definitions</h3><dl class="methods">${shownMetrics(results).map((m) => html`<dt>${m.title}</dt><dd>${m.definition} <span class="soft">Scatter: ${m.pooling}.</span></dd>`)}</dl>`;
}
