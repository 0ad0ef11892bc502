// A throttle map as text.
import colours from 'picocolors';
import type { NamedCurve, ThrottleMap } from '../app/curve-match';
import { convert, formatQuantity, shownUnit } from '../units';
import { simulatedBadge, table, wrap } from './text';

const DIMENSION = { thrust: 'force', speed: 'speed', power: 'power' } as const;

/** What is mapped, the expo in a sentence, the table. `width`: columns of the terminal. */
export function renderMap(map: ThrottleMap, width: number): string {
  const { from, to, by, expo, rows } = map;
  const dimension = DIMENSION[by];
  const unit = shownUnit(Math.max(...rows.map((r) => Math.abs(r.response))), dimension);
  const size = (v: number): number => convert(v, dimension, unit);
  const quantity = (v: number): string => formatQuantity(v, dimension, { digits: 3 });
  const name = (c: NamedCurve): string => `${c.path}${c.setting === null ? '' : `, ${c.setting}`} (${c.runs === 1 ? 'one run' : `mean of ${c.runs} runs`})`;
  const percent = (v: number, places = 1): string => (100 * v).toFixed(places).replace('-', '−');
  const told = expo === null ? `No expo: ${map.expo_reason ?? 'none fits'}. Use the table.`
    : `Expo ${expo.toFixed(3).replace('-', '−')} in y = (1 − e)·x + e·x³, x the old throttle and y the new one${map.expo_limited ? '; that is the end of what the form allows' : ''}. Behind it up to ${quantity(map.worst_error ?? 0)} is left; the table leaves nothing but scatter.`;
  const out = [
    `${colours.bold(`Old throttle → new throttle at equal ${by}`)}${map.simulated ? ` ${simulatedBadge()}` : ''}`, `  old: ${name(from)}`, `  new: ${name(to)}`, '',
    wrap(`Without a map the new one gives up to ${quantity(map.worst_uncompensated)} more or less at the same throttle. ${told}`, width, ''), '',
    table(['old, %', 'new, %', '± u', `${by}, ${unit}`, 'left behind the expo'], rows.map((r) => [
      percent(r.old, 0), r.new === null ? 'none' : percent(r.new), r.u_new === null ? '' : percent(r.u_new, 2), size(r.response).toPrecision(4), r.error === null ? '' : size(r.error).toFixed(2).replace('-', '−'),
    ]), ['right', 'right', 'right', 'right', 'right']),
  ];
  const beyond = rows.filter((r) => r.new === null);
  if (beyond.length > 0) out.push('', wrap(`none: ${beyond[0].reason ?? 'the new one cannot give it'}.`, width, '  '));
  out.push('', wrap(`± u: standard uncertainty from repeats${rows.some((r) => r.u_new !== null) ? '' : ' (single runs: none is known)'}. What calibration does to both alike cancels.`, width, '  '));
  return `${out.join('\n')}\n`;
}
