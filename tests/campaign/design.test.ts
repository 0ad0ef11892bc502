// Goal: factors become exactly the settings of the written design, with names that are stable and safe in file names.
// Method: textbook designs written out by hand; properties over random factors; every kind of bad design.
import fc from 'fast-check';
import { describe, expect, test } from 'vitest';
import { CannotPlan, describeSetting, settingsOf, type Factor } from '../../src/campaign/design';
import { canonicalJson, distinctSlugs, fnv1a, slug } from '../../src/campaign/text';

const factor = (name: string, ...levels: string[]): Factor => ({
  name, apply: 'rig', levels: levels.map((text) => ({ text, value: Number.isFinite(parseFloat(text)) ? parseFloat(text) : null })),
});
const texts = (settings: ReturnType<typeof settingsOf>): string[] => settings.map((s) => Object.values(s.levels).map((l) => l.text).join(' '));
function problemsOf(make: () => unknown): readonly string[] {
  try {
    make();
  } catch (e) {
    if (e instanceof CannotPlan) return e.problems;
    throw e;
  }
  return [];
}

describe('full factorial', () => {
  test('gives the 2^3 design in standard order when the factors are read from the last to the first', () => {
    // Source: Box, Hunter and Hunter, Statistics for Experimenters, 2nd ed., table 5.1 (pilot plant: temperature,
    // concentration, catalyst); standard order changes the first factor fastest (from memory).
    const standard = ['160 20 A', '180 20 A', '160 40 A', '180 40 A', '160 20 B', '180 20 B', '160 40 B', '180 40 B'];
    const settings = settingsOf([factor('catalyst', 'A', 'B'), factor('concentration', '20', '40'), factor('temperature', '160', '180')], { kind: 'full' });
    expect(settings.map((s) => `${s.levels.temperature.text} ${s.levels.concentration.text} ${s.levels.catalyst.text}`)).toEqual(standard);
  });

  test('is balanced and orthogonal: every pair of levels of two factors occurs equally often', () => {
    fc.assert(fc.property(fc.array(fc.integer({ min: 1, max: 4 }), { minLength: 1, maxLength: 4 }), (sizes) => {
      const factors = sizes.map((n, f) => factor(`f${f}`, ...Array.from({ length: n }, (_, i) => `${i}`)));
      const settings = settingsOf(factors, { kind: 'full' });
      const all = sizes.reduce((a, b) => a * b, 1);
      expect(new Set(texts(settings)).size).toBe(all);
      expect(new Set(settings.map((s) => s.id)).size).toBe(all);
      for (let a = 0; a < sizes.length; a++) for (let b = a + 1; b < sizes.length; b++) {
        const pairs = new Map<string, number>();
        for (const s of settings) {
          const key = `${s.levels[`f${a}`].text}/${s.levels[`f${b}`].text}`;
          pairs.set(key, (pairs.get(key) ?? 0) + 1);
        }
        expect(pairs.size).toBe(sizes[a] * sizes[b]);
        expect(new Set(pairs.values()).size).toBe(1);
      }
    }));
  });

  test('without factors there is one setting', () => {
    const settings = settingsOf([], { kind: 'full' });
    expect(settings.map((s) => s.id)).toEqual(['as-it-is']);
    expect(describeSetting(settings[0])).toBe('as it is');
  });
});

describe('other designs', () => {
  const factors = [factor('switching_frequency', '22 kHz', '44 kHz', '88 kHz'), factor('timing_advance', '0 deg', '8 deg')];

  test('one factor at a time visits the baseline and each other level once', () => {
    const settings = settingsOf(factors, { kind: 'one-at-a-time', baseline: { switching_frequency: '44 kHz', timing_advance: '0 deg' } });
    expect(texts(settings)).toEqual(['44 kHz 0 deg', '22 kHz 0 deg', '88 kHz 0 deg', '44 kHz 8 deg']);
  });

  test('listed points come as written, spaces aside', () => {
    const settings = settingsOf(factors, { kind: 'points', points: [{ timing_advance: '8deg', switching_frequency: '88 kHz' }, { switching_frequency: '22kHz', timing_advance: '0 deg' }] });
    expect(settings.map((s) => s.id)).toEqual(['switching_frequency-88kHz_timing_advance-8deg', 'switching_frequency-22kHz_timing_advance-0deg']);
    expect(describeSetting(settings[0])).toBe('switching_frequency 88 kHz, timing_advance 8 deg');
  });

  test('every problem is told at once, with what is accepted', () => {
    expect(problemsOf(() => settingsOf(factors, { kind: 'points', points: [{ advance: '8 deg', switching_frequency: '23 kHz' }] }))).toEqual([
      'Point 1 names the factor "advance"; accepted: switching_frequency, timing_advance.',
      'Point 1 puts switching_frequency at 23 kHz; accepted: 22 kHz, 44 kHz, 88 kHz.',
      'Point 1 says nothing about timing_advance; every factor needs a level.',
    ]);
    const point = { switching_frequency: '22 kHz', timing_advance: '0 deg' };
    expect(problemsOf(() => settingsOf(factors, { kind: 'points', points: [point, point] }))).toEqual(['Points 1 and 2 are the same: switching_frequency 22 kHz, timing_advance 0 deg.']);
    expect(problemsOf(() => settingsOf(factors, { kind: 'points', points: [] }))[0]).toMatch(/list of points is empty/);
    const double: Factor = { name: 'f', apply: 'rig', levels: [{ text: '1 kHz', value: 1000 }, { text: '1000 Hz', value: 1000 }] };
    expect(problemsOf(() => settingsOf([double], { kind: 'full' }))).toEqual(['Factor "f" has the level 1000 Hz twice (also written 1 kHz).']);
    expect(problemsOf(() => settingsOf([factor('f', 'a'), factor('f', 'b'), factor('g')], { kind: 'full' }))).toEqual(['Factor "f" is listed twice.', 'Factor "g" has no levels; give at least one.']);
    const many = Array.from({ length: 47 }, (_, i) => `${i}`);
    expect(problemsOf(() => settingsOf([factor('a', ...many), factor('b', ...many), factor('c', ...many)], { kind: 'full' }))[0]).toMatch(/103823 settings; at most 100000/);
  });
});

describe('names', () => {
  test('are safe in file names and stay different', () => {
    expect(['44 kHz', '-5 %', '35 °C', '0.5 mΩ', 'Müller 2/3', '−3 deg', '7,5', '...', ''].map(slug)).toEqual(
      ['44kHz', 'minus5pct', '35degC', '0.5mohm', 'Muller-2per3', 'minus3deg', '7-5', '0ac31c19', '811c9dc5']);
    fc.assert(fc.property(fc.uniqueArray(fc.string(), { maxLength: 8 }), (list) => {
      const slugs = distinctSlugs(list);
      expect(new Set(slugs.map((s) => s.toLowerCase())).size).toBe(list.length);
      for (const s of slugs) expect(s).toMatch(/^[A-Za-z0-9._-]+$/);
    }));
  });

  test('ids of settings are different, at most 160 long, whatever people write', () => {
    const name = fc.string({ minLength: 1, maxLength: 60 });
    const gen = fc.uniqueArray(name, { minLength: 1, maxLength: 3 }).chain((names) =>
      fc.tuple(...names.map((n) => fc.uniqueArray(name, { minLength: 1, maxLength: 3, selector: (t) => t.replace(/\s+/g, '') }).map((levels): Factor => ({ name: n, apply: 'rig', levels: levels.map((text) => ({ text, value: null })) })))));
    fc.assert(fc.property(gen, (factors) => {
      const ids = settingsOf(factors, { kind: 'full' }).map((s) => s.id);
      expect(new Set(ids.map((i) => i.toLowerCase())).size).toBe(ids.length);
      for (const id of ids) expect(id.length).toBeLessThanOrEqual(160);
    }));
    // Level names that run into the next factor's.
    const clash = settingsOf([factor('a', 'x_b-y', 'x'), factor('b', 'z', 'y_b-z')], { kind: 'full' }).map((s) => s.id);
    expect(new Set(clash).size).toBe(4);
  });

  test('the short hash is FNV-1a', () => {
    // Source: Fowler, Noll, Vo, test vectors of FNV-1a 32 bit (IETF draft-eastlake-fnv, appendix; from memory).
    expect([fnv1a(''), fnv1a('a'), fnv1a('foobar')]).toEqual([0x811c9dc5, 0xe40c292c, 0xbf9cf968]);
  });

  test('canonical JSON does not depend on the order of keys and refuses what JSON cannot hold', () => {
    expect(canonicalJson({ b: 1, a: [null, 'x', { d: undefined, c: true }] })).toBe('{"a":[null,"x",{"c":true}],"b":1}');
    fc.assert(fc.property(fc.dictionary(fc.string(), fc.jsonValue()), (value) => {
      const turned = Object.fromEntries(Object.entries(value).reverse());
      expect(canonicalJson(turned)).toBe(canonicalJson(value));
      expect(JSON.parse(canonicalJson(value))).toEqual(JSON.parse(JSON.stringify(value)));
    }));
    expect(() => canonicalJson({ a: { b: [1, NaN] } })).toThrow('a.b[1] is NaN');
    expect(() => canonicalJson({ a: () => 1 })).toThrow('a is a function');
  });
});
