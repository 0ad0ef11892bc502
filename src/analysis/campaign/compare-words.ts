/** A comparison in words: what was found over all settings, and what to bear in mind. */
import type { ComparedMetric, Comparison } from '../../model/comparison';
import { formatNumber } from '../../units/format';
import { idealMoistAir } from '../physics/air';
import type { CompareSide } from './compare-bench';
import { enumerate, inSentence, showInterval, showShare } from './words';

/** Differences of density below this are not worth a note. */
const DENSITY = 0.002;

/** What the reader must know before the figures. */
export function comparisonNotes(a: CompareSide, b: CompareSide, ties: { readonly mounting: Comparison['mounting']; readonly calibration: Comparison['calibration']; readonly sameDay: boolean }, differs: Comparison['differs']): string[] {
  const notes: string[] = [];
  const parts = differs.filter((d) => d.what.startsWith('motor') || d.what.startsWith('propeller') || d.what.startsWith('ESC'));
  if (parts.length > 0) notes.push(`Other parts: ${enumerate(parts.map((d) => d.what))}. One specimen of each stands here: the difference is that of these specimens, not of their types.`);
  const unstated = Object.entries(a.bench.parts).filter(([name, v]) => v === null && (b.bench.parts[name] ?? null) === null && name.endsWith('specimen')).map(([name]) => name);
  if (unstated.length > 0) notes.push(`Not stated in either campaign: ${enumerate(unstated)}. Whether it is the same one is unknown.`);
  notes.push(mountingNote(a, b, ties.mounting));
  notes.push(ties.calibration === 'same'
    ? `One calibration holds for both: what a gain does to both alike cancels${ties.sameDay ? '' : '; zeros may have wandered between the days and do not cancel'}.`
    : 'The calibration is not the same one: nothing of it cancels.');
  notes.push(...airNote(a, b));
  if (a.input.factors.some((f) => f.specimen) || b.input.factors.some((f) => f.specimen)) notes.push('A factor stands for specimens: each is compared with itself.');
  notes.push('Drift inside a campaign is left in both: it is spread over the settings by their order.');
  return notes;
}

function mountingNote(a: CompareSide, b: CompareSide, mounting: Comparison['mounting']): string {
  if (mounting === 'same') return `Both files name the mounting ${a.bench.mounting ?? ''}, so it counts as never taken off in between; if it was, compare with --remounted.`;
  const study = a.input.remount !== null || b.input.remount !== null;
  const why = mounting === 'other' ? 'The article was bolted on anew in between' : 'Whether the article was bolted on anew in between is not stated';
  return `${why}. ${study ? 'What that changes is in the intervals, from the repeatability study of the rig.' : 'No repeatability study of the rig tells what that changes: the intervals leave re-mounting out, and a small difference may come from it alone.'}`;
}

function airNote(a: CompareSide, b: CompareSide): string[] {
  const [x, y] = [a.bench.air, b.bench.air];
  // Density goes with pressure over absolute temperature (ideal gas): one percent at 20 °C and 1013 hPa is 2.9 K or 10 hPa.
  if (x === null || y === null) return ['The air is not stated in both campaigns. Thrust and power at equal speed go with its density, by 1 % for every 3 °C or 10 hPa, and that is inside the differences.'];
  const share = idealMoistAir(y) / idealMoistAir(x) - 1;
  return Math.abs(share) < DENSITY ? [] : [`The air was ${formatNumber(100 * Math.abs(share), 2)} % ${share > 0 ? 'denser' : 'thinner'} in the second campaign: thrust and power at equal speed carry that, only thrust in standard air does not.`];
}

/** What the second campaign differs by, for the metrics that matter: over all shared settings, or at the only one. */
export function overallSentences({ metrics, settings, not_compared }: Comparison): string[] {
  if (metrics.length === 0) return ['No metric can be compared.'];
  const about = metrics.filter((m) => m.of_interest);
  const rowOf = (m: ComparedMetric): ComparedMetric['rows'][number] | undefined => m.overall ?? (m.rows.length === 1 ? m.rows[0] : undefined);
  const told = about.flatMap((m) => {
    const contrast = rowOf(m)?.contrast;
    if (contrast === undefined || contrast.difference === null || contrast.interval.reason !== null || !['better', 'worse', 'different'].includes(contrast.verdict)) return [];
    return [`${inSentence(m.title)} ${contrast.verdict} by ${showInterval(m.key, contrast.interval as never)}${contrast.relative === null ? '' : ` (${showShare(contrast.relative)})`}`];
  });
  const where = settings.length > 1 ? `On average over ${settings.length} shared settings` : `At ${settings[0].text}`;
  const same = about.filter((m) => rowOf(m)?.contrast.verdict === 'same').map((m) => inSentence(m.title));
  const open = about.filter((m) => rowOf(m)?.contrast.verdict === 'open').map((m) => inSentence(m.title));
  return [
    ...(told.length === 0 ? [] : [`${where}, the second campaign is: ${enumerate(told)}.`]),
    ...(same.length === 0 ? [] : [`${told.length === 0 ? `${where}, no` : 'No'} difference that matters: ${enumerate(same)}.`]),
    ...(open.length === 0 ? [] : [`Not settled: ${enumerate(open)}.`]),
    ...(told.length + same.length + open.length > 0 ? [] : ['No verdict: no metric of interest has a difference with an interval.']),
    ...(not_compared.length === 0 ? [] : [`${not_compared.length} ${not_compared.length === 1 ? 'thing was' : 'things were'} not compared; each is named.`]),
  ];
}
