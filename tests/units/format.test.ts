// Goal: what people read carries a fitting unit and sensible digits, and what files hold reads back as the same number.
// Method: a table of shown texts, then random numbers through the file text and back.
import fc from 'fast-check';
import { describe, expect, test } from 'vitest';
import { DIMENSION_NAMES, fileText, formatMeasured, formatNumber, formatQuantity, of, shownUnit, type Dimension } from '../../src/units';

describe('shown quantities', () => {
  test.each<[number, Dimension, string]>([
    [0.0042, 'time', '4.2 ms'], [0.4, 'time', '400 ms'], [1, 'time', '1 s'], [90, 'time', '1.5 min'], [7200, 'time', '2 h'], [0.000125, 'time', '125 us'], [0, 'time', '0 s'],
    [22_000, 'frequency', '22 kHz'], [80, 'frequency', '80 Hz'], [0.005, 'current', '5 mA'], [38, 'current', '38 A'], [-0.005, 'current', '-5 mA'],
    [0.008, 'resistance', '8 mohm'], [1.28467115, 'force', '131 gf'], [9.80665e-3 * 4.52, 'efficacy', '4.52 g/W'], [0.01, 'ratio', '1 %'], [0.00005, 'ratio', '0.005 %'],
    [27_304.6, 'speed', '27305 rpm'], [35.04, 'temperature', '35.04 °C'], [0.0762, 'length', '76.2 mm'], [100_800, 'pressure', '1008 hPa'], [22_680, 'energy', '6.3 Wh'],
    [0.18, 'mass', '180 g'], [0.9996, 'mass', '0.9996 kg'], [1e-9, 'current', '0.001 uA'], [0, 'force', '0 gf'],
  ])('%d of %s is shown as %s', (value, dimension, text) => {
    expect(formatQuantity(value, dimension)).toBe(text);
  });

  test('the caller may ask for a unit and for digits', () => {
    expect(formatQuantity(1.28467115, 'force', { unit: 'N', digits: 6 })).toBe('1.28467 N');
    expect(shownUnit(0.0005, 'time')).toBe('us');
  });

  test('numbers are shown without an exponent where that stays readable', () => {
    expect([formatNumber(27300.04, 4), formatNumber(0.012345, 3), formatNumber(-2.5), formatNumber(1e-7), formatNumber(Infinity)]).toEqual(['27300', '0.0123', '-2.5', '1e-7', 'Infinity']);
  });

  test('an uncertainty is shown with two significant digits and the value with as many places', () => {
    // JCGM 100:2008, 7.2.6: at most two significant digits; the example of 7.2.2 is a mass of 100.021 47 g with u = 0.35 mg.
    expect(formatMeasured(0.10002147, 0.00000035, 'mass', 'g')).toBe('100.02147 ± 0.00035 g');
    expect(formatMeasured(27304.6, 12.4, 'speed')).toBe('27305 ± 12 rpm');
    expect(formatMeasured(27304.6, 0, 'speed')).toBe('27304.6 rpm');
    expect(formatMeasured(27304.6, NaN, 'speed')).toBe('27304.6 rpm');
  });
});

test('what a file holds reads back as the same number', () => {
  fc.assert(fc.property(fc.constantFrom(...DIMENSION_NAMES), fc.double({ min: 1e-9, max: 1e9, noNaN: true }), (dimension, value) => {
    const back = of(fileText(value, dimension), dimension);
    if (dimension.startsWith('ratio')) expect(Math.abs(back - value)).toBeLessThanOrEqual(1e-14 * value);
    else expect(back).toBe(value);
  }), { seed: 1 });
});
