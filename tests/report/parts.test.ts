// Goal: decimation loses no peak, packing loses no sample, figures are rounded as the standard says, names are escaped.
// Method: exact expectations and seeded random traces.
import fc from 'fast-check';
import { gunzipSync } from 'node:zlib';
import { describe, expect, test } from 'vitest';
import { arrange } from '../../src/report/arrange';
import { powerAtEqualThrust } from '../../src/report/charts/equal-thrust';
import { repeatInterval } from '../../src/report/repeat-interval';
import type { ResultCurve } from '../../src/model/results';
import { decimate, deltas, stepFor } from '../../src/report/decimate';
import { escapeHtml, html, scriptJson } from '../../src/report/html';
import { fixed, placesFor, pValue, range, valueWithU } from '../../src/report/show';
import { gzipBase64, zoomCode } from '../../src/report/zoom-code';
import { makeResults } from './make-results';

describe('power at equal thrust', () => {
  const throttle = Array.from({ length: 46 }, (_, i) => 0.1 + 0.02 * i);
  /** Thrust 1.2·x and power k·x: power over thrust is a straight line, k/1.2 a newton. */
  const curve = (k: number, u: number | null): ResultCurve => ({
    setting: 's', label: 'thrust-curve', source: 'sweep', runs: 3, throttle, speed_rpm: null, current_A: null, efficacy_N_per_W: null,
    thrust_N: { mean: throttle.map((x) => 1.2 * x), u: throttle.map(() => (u === null ? null : 0)) }, power_W: { mean: throttle.map((x) => k * x), u: throttle.map((x) => (u === null ? null : u * k * x)) },
  });

  test('is the ratio worked by hand at every thrust that both reach, with uncertainties of quotients (JCGM 100:2008, 5.1.6)', () => {
    const found = powerAtEqualThrust(curve(19, 0.01), curve(20, 0.01));
    expect(found).toHaveLength(41);
    expect([found[0].thrust_N, found[40].thrust_N]).toEqual([expect.closeTo(0.12, 9), expect.closeTo(1.2, 9)]);
    for (const { percent, u } of found) {
      expect(percent).toBeCloseTo(-5, 9);
      expect(u).toBeGreaterThan(0);
    }
    // At the last point both are read off a point of their curve: 95 % · √(0.01² + 0.01²).
    expect(found[40].u).toBeCloseTo(100 * 0.95 * Math.SQRT2 * 0.01, 9);
  });

  test('without repeats there is no band, without power or shared thrust nothing', () => {
    expect(powerAtEqualThrust(curve(19, null), curve(20, 0.01)).every((p) => p.u === null)).toBe(true);
    expect(powerAtEqualThrust({ ...curve(19, 0), power_W: null }, curve(20, 0))).toEqual([]);
    const high = curve(19, 0);
    expect(powerAtEqualThrust({ ...high, thrust_N: { mean: throttle.map((x) => 5 + x), u: throttle.map(() => 0) } }, curve(20, 0))).toEqual([]);
  });
});

describe('the part of an interval that comes from repeats', () => {
  const value = (u: number | null, lower: number | null, upper: number | null, type_a: number | null) => ({ type_a, estimate: { value: 1, unit: '1', u, dof: null, method: '', estimand: '', flags: [], reason: null, interval: { confidence: 0.95, lower, upper, reason: null } } });

  test('a lopsided interval stays lopsided, each side shrunk by the share of repeats; none stays none', () => {
    expect(repeatInterval(value(2, 0.5, 3, 1))).toEqual({ lower: 0.75, upper: 2 });
    expect(repeatInterval(value(2, 0.5, 3, 2))).toEqual({ lower: 0.5, upper: 3 });
    expect(repeatInterval(value(null, 0.5, 3, null))).toEqual({ lower: 0.5, upper: 3 });
    expect(repeatInterval(value(2, null, 3, 1))).toBeNull();
  });
});

describe('decimation', () => {
  test('keeps the lowest and the highest sample and the order of time, with no more points than asked', () => {
    fc.assert(fc.property(fc.array(fc.double({ min: -1e6, max: 1e6, noNaN: true }), { minLength: 1, maxLength: 400 }), fc.integer({ min: 2, max: 80 }), (values, most) => {
      const t = Float64Array.from(values, (_, i) => i / 100);
      const { t: times, v } = decimate(t, Float64Array.from(values), most);
      expect(v.length).toBeLessThanOrEqual(Math.max(most, 2));
      expect(Math.max(...v)).toBe(Math.max(...values));
      expect(Math.min(...v)).toBe(Math.min(...values));
      for (let i = 1; i < times.length; i++) expect(times[i]).toBeGreaterThan(times[i - 1]);
    }), { seed: 20260301 });
  });

  test('leaves a trace as it is up to the number asked, and thins it from one more on', () => {
    const run = (n: number): number => decimate(Float64Array.from({ length: n }, (_, i) => i), Float64Array.from({ length: n }, (_, i) => (i % 7) * (i % 3)), 40).v.length;
    expect([run(39), run(40)]).toEqual([39, 40]);
    expect(run(41)).toBeLessThanOrEqual(40);
  });

  test('differences add up to the samples again, each to half a step', () => {
    fc.assert(fc.property(fc.array(fc.double({ min: -5e4, max: 5e4, noNaN: true }), { minLength: 1, maxLength: 300 }), (values) => {
      const step = stepFor(values);
      let sum = 0;
      deltas(values, step).forEach((d, i) => { sum += d; expect(Math.abs(sum * step - values[i])).toBeLessThanOrEqual(0.5000001 * step); });
    }), { seed: 20260302 });
  });

  test('a packed trace is a gzip stream in base64 that any reader unpacks', () => {
    expect(gunzipSync(Buffer.from(gzipBase64('{"a":"µ"}'), 'base64')).toString('utf8')).toBe('{"a":"µ"}');
  });

  test('the chart library is found and is whole', () => {
    const { script, style } = zoomCode();
    expect(script).toContain('uPlot');
    expect(style).toContain('.uplot');
  });
});

describe('figures', () => {
  // JCGM 100:2008, 7.2.6: at most two significant digits of the uncertainty, the value to the same place; its example:
  // 10,057 62 ohm with u = 27 mohm is stated as 10,058 ohm.
  test('are rounded to two digits of the uncertainty', () => {
    const ohm = { unit: 'ohm', of: (v: number) => v };
    expect(valueWithU({ value: 10.05762, u: 0.027 }, ohm)).toBe('10.058 ± 0.027');
    expect(valueWithU({ value: 12345.6, u: 123 }, ohm)).toBe('12346 ± 123');
    expect(valueWithU({ value: null, u: null }, ohm)).toBe('–');
    expect(valueWithU({ value: 3.14159, u: null }, ohm)).toBe('3.142');
  });

  test('never show minus zero', () => {
    expect([fixed(-0.004, 2), fixed(-0.006, 2), fixed(0, 1), fixed(-0, 1)]).toEqual(['0.00', '−0.01', '0.0', '0.0']);
  });

  test('never show what is no number', () => {
    expect([fixed(NaN, 2), fixed(Infinity, 2), fixed(null, 2), pValue(null), pValue(NaN), String(html`${NaN}`)]).toEqual(['–', '–', '–', '–', '–', '–']);
    expect([placesFor(0, 0), placesFor(null, 0), placesFor(NaN, NaN)]).toEqual([0, 0, 0]);
  });

  test('give an interval in one unit with its sign', () => {
    const ms = { unit: 'ms', of: (v: number) => 1000 * v };
    expect(range({ lower: -0.0012, upper: 0.0104 }, ms, true)).toBe('−1.2 to +10.4');
    expect(range({ lower: null, upper: 1 }, ms)).toBe('–');
  });

  test('p is given to three places, its ends in words of size', () => {
    expect([pValue(0.00099), pValue(0.001), pValue(0.034), pValue(0.9995)]).toEqual(['< 0.001', '0.001', '0.034', '> 0.999']);
  });
});

describe('text', () => {
  test('of names is escaped once, in content and in attributes', () => {
    expect(String(html`<b title="${'"x" & <y>'}">${"it's"}</b>`)).toBe('<b title="&quot;x&quot; &amp; &lt;y&gt;">it&#39;s</b>');
    expect(String(html`${html`<i></i>`}`)).toBe('<i></i>');
    expect(escapeHtml('a\u0000b')).toBe('a\ufffdb');
  });

  test('in a script element cannot end it, and reads back as it was', () => {
    const value = { x: '</script><!-- \u2028 &amp;' };
    const json = String(scriptJson(value));
    expect(json).not.toMatch(/[<>\u2028]/);
    expect(JSON.parse(json)).toEqual(value);
  });
});

describe('arrangement', () => {
  test('shows every setting once, never more lines in a panel than there are styles', () => {
    for (const factors of [{}, { a: ['1'] }, { a: ['1', '2', '3', '4', '5', '6', '7'] }, { a: ['1', '2'], b: ['x', 'y', 'z'] }, { a: ['1', '2', '3', '4', '5', '6'], b: ['1', '2', '3', '4', '5', '6', '7'] }, { a: ['1', '2'], b: ['1', '2'], c: ['1', '2'] }]) {
      const results = makeResults({ factors, repeats: 1 });
      const { panels } = arrange(results);
      expect(panels.flatMap((p) => p.lines.map((l) => l.setting)).sort()).toEqual(results.settings.map((s) => s.id).sort());
      for (const p of panels) {
        expect(p.lines.length).toBeLessThanOrEqual(5);
        expect(new Set(p.lines.map((l) => l.style)).size).toBe(p.lines.length);
      }
    }
  });
});
