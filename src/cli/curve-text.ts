// A throttle map as text.
import colours from 'picocolors';
import type { NamedCurve, ThrottleMap } from '../app/curve-match';
import { convert, formatQuantity, shownUnit } from '../units';
import { simulatedBadge, table, wrap } from './text';

const DIMENSION = { thrust: 'force', speed: 'speed', power: 'power' } as const;

/** A response beyond reach by no more than this share is given by full throttle all but for scatter. */
const NEARLY = 0.01;

/** What is mapped, the expo in a sentence, the table. `width`: columns of the terminal. */
export function renderMap(map: ThrottleMap, width: number): string {
  const { from, to, by, expo, rows } = map;
  const dimension = DIMENSION[by];
  const unit = shownUnit(Math.max(...rows.map((r) => Math.abs(r.response))), dimension);
  const size = (v: number): number => convert(v, dimension, unit);
  const quantity = (v: number): string => formatQuantity(v, dimension, { digits: 3 });
  const name = (c: NamedCurve): string => `${c.path}${c.setting === null ? '' : `, ${c.setting}`} (${c.runs === 1 ? 'one run' : `mean of ${c.runs} runs`})`;
  const percent = (v: number, places = 1): string => (100 * v).toFixed(places).replace('-', '−');
  const two = (v: number): string => { const text = v.toFixed(2); return /[1-9]/.test(text) ? text.replace('-', '−') : text.replace('-', ''); };
  // Every expo ends at full throttle, so the last row's error tells the most that the new one gives.
  const last = rows.at(-1);
  const most = last === undefined || last.error === null ? null : last.response + last.error;
  const nearly = (r: { readonly response: number }): boolean => most !== null && r.response - most <= NEARLY * most;
  const told = expo === null ? `No expo: ${map.expo_reason ?? 'none fits'}. Use the table.`
    : `Expo ${expo.toFixed(3).replace('-', '−')} in y = (1 − e)·x + e·x³, x the old throttle and y the new one${map.expo_limited ? '; that is the end of what the form allows' : ''}. With it up to ${quantity(map.worst_error ?? 0)} is left; the table leaves only scatter.`;
  const out = [
    `${colours.bold(`Old throttle → new throttle at equal ${by}`)}${map.simulated ? ` ${simulatedBadge()}` : ''}`, `  old: ${name(from)}`, `  new: ${name(to)}`, '',
    wrap(`Without a map the new one differs by up to ${quantity(map.worst_uncompensated)} at the same throttle. ${told}`, width, ''), '',
    table(['old, %', 'new, %', '± u', `${by}, ${unit}`, 'left by the expo'], rows.map((r) => [
      percent(r.old, 0), r.new === null ? (nearly(r) ? '100 *' : 'none') : percent(r.new), r.u_new === null ? '' : percent(r.u_new, 2), size(r.response).toPrecision(4), r.error === null ? '' : two(size(r.error)),
    ]), ['right', 'right', 'right', 'right', 'right']),
  ];
  const short = rows.filter((r) => r.new === null && nearly(r));
  if (short.length > 0) out.push('', wrap(`*: full throttle, ${short[0].reason ?? 'where the new one ends'}: hardly less than asked.`, width, '  '));
  const beyond = rows.filter((r) => r.new === null && !nearly(r));
  if (beyond.length > 0) out.push('', wrap(`none: ${beyond[0].reason ?? 'the new one cannot give it'}.`, width, '  '));
  out.push('', wrap(`± u: standard uncertainty from repeats${rows.some((r) => r.u_new !== null) ? '' : ' (single runs: none is known)'}. What calibration does to both alike cancels.`, width, '  '));
  return `${out.join('\n')}\n`;
}
