// Goal: what protocols know of the article is what the article file declares.
// Method: an article file through the loader, and the hold that follows from it.
import { expect, test } from 'vitest';
import { loadFile } from '../../src/model/load';
import { driveFacts } from '../../src/protocols/facts';
import { builtIn, ready } from './bench';

const article = (esc: string, hover: string): string => `spoolbench: 1
article: invented
motor: { name: m, kv: 4500 rpm/V, pole_pairs: 6, resistance: 170 mohm, max_current: 9 A }
propeller: { name: p, diameter: 3 in, pitch: 1.8 in, blades: 2, mounted: on }
esc: { name: e${esc} }
mounting: { name: m1 }
nominal_voltage: 7.6 V
${hover}`;

function factsOf(text: string) {
  const loaded = loadFile('article', 'article.yaml', text);
  expect(loaded.problems).toEqual([]);
  if (loaded.value === null) throw new Error('bad article');
  return driveFacts(loaded.value);
}

test('the facts are the declared values, in code units', () => {
  expect(factsOf(article('', 'hover_thrust: 100 gf'))).toEqual({ kv_rpm_per_V: 4500, max_current_A: 9, nominal_V: 7.6, hover_thrust_N: 0.980665, propeller_diameter_m: 0.0762 });
});

test('the lower of the motor\'s and the ESC\'s current counts', () => {
  expect(factsOf(article(', max_current: 6 A', '')).max_current_A).toBe(6);
  expect(factsOf(article(', max_current: 12 A', '')).max_current_A).toBe(9);
});

test('without a hover thrust the hold is a quarter of the maximum current', () => {
  expect(ready(builtIn('efficiency-hold'), {}, factsOf(article(', max_current: 6 A', ''))).values.current).toBeCloseTo(1.5, 1);
});
