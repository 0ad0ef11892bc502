// Goal: lines of a chart can be told apart by colour-blind readers and in grey print.
// Method: the palette seen through published models of colour vision; distances in CIE L*a*b*, contrast as WCAG defines it.
import { describe, expect, test } from 'vitest';
import { INK, INK_SOFT, SERIES, SIMULATED_INK, VERDICT_SIGN } from '../../src/report/palette';

type Triple = readonly [number, number, number];

// Full dichromacy on linear RGB: Machado, Oliveira & Fernandes, IEEE Trans. Vis. Comput. Graph. 15 (2009) 1291, table 1, severity 1.0 (from memory).
const SEEN: Readonly<Record<string, readonly Triple[]>> = {
  'usual vision': [[1, 0, 0], [0, 1, 0], [0, 0, 1]],
  protanopia: [[0.152286, 1.052583, -0.204868], [0.114503, 0.786281, 0.099216], [-0.003882, -0.048116, 1.051998]],
  deuteranopia: [[0.367322, 0.860646, -0.227968], [0.280085, 0.672501, 0.047413], [-0.01182, 0.04294, 0.968881]],
  tritanopia: [[1.255528, -0.076749, -0.178779], [-0.078411, 0.930809, 0.147602], [0.004733, 0.691367, 0.3039]],
};

/** sRGB to linear light, IEC 61966-2-1:1999. */
function linear(hex: string): Triple {
  return [1, 3, 5].map((i) => { const c = parseInt(hex.slice(i, i + 2), 16) / 255; return c <= 0.04045 ? c / 12.92 : ((c + 0.055) / 1.055) ** 2.4; }) as unknown as Triple;
}
const times = (m: readonly Triple[], v: Triple): Triple => m.map((r) => Math.min(1, Math.max(0, r[0] * v[0] + r[1] * v[1] + r[2] * v[2]))) as unknown as Triple;
/** Relative luminance, as WCAG 2.1 and IEC 61966-2-1 have it. */
const luminance = ([r, g, b]: Triple): number => 0.2126 * r + 0.7152 * g + 0.0722 * b;
/** CIE 1976 L*a*b* under D65 (ISO/CIE 11664-4). */
function lab([r, g, b]: Triple): Triple {
  const f = (t: number): number => (t > (6 / 29) ** 3 ? Math.cbrt(t) : t / (3 * (6 / 29) ** 2) + 4 / 29);
  const x = f((0.4124 * r + 0.3576 * g + 0.1805 * b) / 0.9505);
  const y = f(luminance([r, g, b]));
  const z = f((0.0193 * r + 0.1192 * g + 0.9505 * b) / 1.089);
  return [116 * y - 16, 500 * (x - y), 200 * (y - z)];
}
const contrast = (hex: string, ground = '#ffffff'): number => (luminance(linear(ground)) + 0.05) / (luminance(linear(hex)) + 0.05);
const pairs = SERIES.flatMap((a, i) => SERIES.slice(i + 1).map((b) => [a, b] as const));

describe('the palette', () => {
  test.each(Object.entries(SEEN))('keeps every two lines apart in %s, by 18 units of L*a*b* or more', (_, matrix) => {
    for (const row of matrix) expect(row[0] + row[1] + row[2]).toBeCloseTo(1, 5); // grey stays grey
    for (const [a, b] of pairs) {
      const p = lab(times(matrix, linear(a.colour)));
      const q = lab(times(matrix, linear(b.colour)));
      expect(Math.hypot(p[0] - q[0], p[1] - q[1], p[2] - q[2]), `${a.colour} ${b.colour}`).toBeGreaterThan(18);
    }
  });

  test('rises in lightness over the first four lines, 10 units of L* a step: a grey print keeps them apart', () => {
    const lightness = SERIES.slice(0, 4).map((s) => lab(linear(s.colour))[0]);
    for (let i = 1; i < lightness.length; i++) expect(lightness[i] - lightness[i - 1]).toBeGreaterThan(10);
  });

  test('gives every line a dash and a marker of its own, so that colour is never needed', () => {
    expect(new Set(SERIES.map((s) => s.dash)).size).toBe(SERIES.length);
    expect(new Set(SERIES.map((s) => s.marker)).size).toBe(SERIES.length);
    expect(new Set(Object.values(VERDICT_SIGN).map((v) => v.sign)).size).toBe(Object.keys(VERDICT_SIGN).length);
  });

  // WCAG 2.1: 4.5 for text (1.4.3), 3 for graphical objects (1.4.11).
  test('stands out from the paper as WCAG asks of text and of lines', () => {
    for (const text of [INK, INK_SOFT, SIMULATED_INK, '#0d4f8b', '#9c3a06']) expect(contrast(text, '#f1efe6')).toBeGreaterThan(4.5);
    for (const s of SERIES.slice(0, 3)) expect(contrast(s.colour)).toBeGreaterThan(3);
  });
});
