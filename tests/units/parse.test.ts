// Goal: every unit that a file may use is read as its dimension says, and nothing else is read at all.
// Method: a table of texts against values worked out by hand, then the ways in which people get units wrong.
import fc from 'fast-check';
import { describe, expect, test } from 'vitest';
import { DIMENSIONS, DIMENSION_NAMES, UNITS, UnitError, convert, of, parseAny, parseQuantity, parseRange, unitsOf, type Dimension } from '../../src/units';

const good: [string, Dimension, number][] = [
  ['1 A', 'current', 1], ['5 mA', 'current', 0.005], ['3 uA', 'current', 3e-6], ['3 µA', 'current', 3e-6], ['3 μA', 'current', 3e-6],
  ['4 V', 'voltage', 4], ['1.25 mV', 'voltage', 0.00125], ['8 mohm', 'resistance', 0.008], ['8 mΩ', 'resistance', 0.008], ['8 mΩ', 'resistance', 0.008],
  ['10 kohm', 'resistance', 10_000], ['0.17 ohm', 'resistance', 0.17], ['20 uH', 'inductance', 2e-5], ['400 ms', 'time', 0.4], ['12.5 ms', 'time', 0.0125], ['125 us', 'time', 125e-6],
  ['1 min', 'time', 60], ['2 h', 'time', 7200], ['30 d', 'time', 2_592_000], ['22 kHz', 'frequency', 22_000], ['1 MHz', 'frequency', 1e6],
  ['8 deg', 'angle', 8], ['8°', 'angle', 8], ['35 °C', 'temperature', 35], ['-5 degC', 'temperature', -5], ['10 K', 'temperature_difference', 10],
  ['20 K/s', 'temperature_rate', 20], ['6 K/min', 'temperature_rate', 0.1], ['0.5 %', 'ratio', 0.005], ['10%', 'ratio', 0.1], ['50 ppm', 'ratio', 5e-5],
  ['200 %/s', 'ratio_rate', 2], ['4500 rpm', 'speed', 4500], ['4.5 krpm', 'speed', 4500], ['4500 rpm/V', 'kv', 4500], ['5e4 rpm/s', 'acceleration', 50_000],
  ['7.6 Wh', 'energy', 27_360], ['850 mAh', 'charge', 3060], ['2.5 W', 'power', 2.5], ['120 g', 'mass', 0.12], ['76 mm', 'length', 0.076], ['1013 hPa', 'pressure', 101_300],
  ['131 gf', 'force', 1.28467115], ['0.5 N', 'force', 0.5], ['5 mN m', 'torque', 0.005], ['5 mN·m', 'torque', 0.005], ['5 mNm', 'torque', 0.005], ['0.04 N/W', 'efficacy', 0.04],
  ['+1 A', 'current', 1], ['−1 A', 'current', -1], ['.5 A', 'current', 0.5], ['1e-3 A', 'current', 0.001], [' 1  A ', 'current', 1],
];

describe('quantities', () => {
  test.each(good)('%s is read as %s', (text, dimension, value) => {
    const parsed = parseQuantity(text, dimension);
    expect(parsed.ok && parsed.value).toBeCloseTo(value, 15);
    expect(parseAny(text)).toEqual({ ok: true, value: { dimension, value: parsed.ok ? parsed.value : NaN } });
  });

  test('one gram-force is 9.80665e-3 N and one inch 25.4 mm, exactly', () => {
    // Standard gravity 9.806 65 m/s²: 3rd CGPM (1901), SI Brochure. Inch: international yard and pound agreement (1959).
    expect(of('1 gf', 'force')).toBe(9.80665e-3);
    expect(of('1 kgf', 'force')).toBe(9.80665);
    expect(of('1 g/W', 'efficacy')).toBe(9.80665e-3);
    expect(of('1 in', 'length')).toBe(0.0254);
    expect(of('3 in', 'length')).toBe(0.0762);
  });

  test('every unit reads back what converting to it gives', () => {
    fc.assert(fc.property(fc.constantFrom(...UNITS), fc.double({ min: 1e-6, max: 1e6, noNaN: true }), (unit, value) => {
      const there = convert(value, unit.dimension, unit.symbol);
      const back = of(`${there} ${unit.symbol}`, unit.dimension);
      expect(Math.abs(back - value)).toBeLessThanOrEqual(1e-13 * value);
    }), { seed: 1 });
  });

  test('no unit is spelled like another, and each dimension takes its own example', () => {
    expect(new Set(UNITS.map((u) => u.symbol)).size).toBe(UNITS.length);
    for (const dimension of DIMENSION_NAMES) {
      expect(parseQuantity(DIMENSIONS[dimension].example, dimension).ok).toBe(true);
      expect(unitsOf(dimension).length).toBeGreaterThan(0);
      expect(DIMENSIONS[dimension].unit === '1' || DIMENSIONS[dimension].unit === '1/s' || unitsOf(dimension).some((u) => u.symbol === DIMENSIONS[dimension].unit && u.factor === 1)).toBe(true);
    }
  });
});

describe('wrong quantities', () => {
  const complaint = (input: unknown, dimension: Dimension): string => {
    const parsed = parseQuantity(input, dimension);
    return parsed.ok ? `accepted as ${parsed.value}` : `${parsed.message}; ${parsed.accepted}`;
  };

  test.each<[unknown, Dimension, string]>([
    [400, 'time', '400 has no unit; a time such as 400 ms (units s, ms, us, min, h, d)'],
    ['400', 'time', '"400" has no unit; a time such as 400 ms (units s, ms, us, min, h, d)'],
    ['4 V', 'current', '"4 V" is a voltage, not a current; a current such as 1 A (units A, mA, uA)'],
    ['250 g', 'force', '"250 g" is a mass, not a force; did you mean 250 gf?; a force such as 131 gf (units N, mN, gf, kgf)'],
    ['22 khz', 'frequency', '"khz" is not a unit known here; did you mean 22 kHz?; a frequency such as 22 kHz (units Hz, kHz, MHz)'],
    ['22 KHZ', 'frequency', '"KHZ" is not a unit known here; did you mean 22 kHz?; a frequency such as 22 kHz (units Hz, kHz, MHz)'],
    ['8 Mohm', 'resistance', '"Mohm" is not a unit known here; did you mean 8 mohm?; a resistance such as 8 mohm (units ohm, mohm, uohm, kohm, Ω, mΩ, uΩ, kΩ)'],
    ['35 C', 'temperature', '"35 C" is a charge, not a temperature; did you mean 35 °C?; a temperature such as 35 °C (units °C, degC)'],
    ['308 K', 'temperature', '"308 K" is a temperature difference, not a temperature; a temperature such as 35 °C (units °C, degC)'],
    ['2 seconds', 'time', '"seconds" is not a unit known here; did you mean 2 s?; a time such as 400 ms (units s, ms, us, min, h, d)'],
    ['12:30', 'time', '"12:30" looks like a clock time: write seconds or minutes with their unit; a time such as 400 ms (units s, ms, us, min, h, d)'],
    ['1_000 rpm', 'speed', '"1_000 rpm" has separators between digits: write the digits together; a speed of rotation such as 4500 rpm (units rpm, krpm, r/min, 1/min)'],
    ['1 000 rpm', 'speed', '"1 000 rpm" has separators between digits: write the digits together; a speed of rotation such as 4500 rpm (units rpm, krpm, r/min, 1/min)'],
    ['1,5 A', 'current', '"1,5 A" has a comma: the decimal sign is a point; a current such as 1 A (units A, mA, uA)'],
    ['010 A', 'current', '"010 A" starts with a needless 0, which some programs read as octal: leave it out; a current such as 1 A (units A, mA, uA)'],
    ['abc', 'current', '"abc" does not start with a number; a current such as 1 A (units A, mA, uA)'],
    ['', 'current', 'the value is empty; a current such as 1 A (units A, mA, uA)'],
    ['1e999 A', 'current', '"1e999 A" is too large; a current such as 1 A (units A, mA, uA)'],
    ['1 furlong', 'length', '"furlong" is not a unit known here; a length such as 76 mm (units m, cm, mm, in)'],
    [null, 'current', 'nothing is not a current; a current such as 1 A (units A, mA, uA)'],
    [[1], 'current', 'a list is not a current; a current such as 1 A (units A, mA, uA)'],
    [{ a: 1 }, 'current', 'a map is not a current; a current such as 1 A (units A, mA, uA)'],
    [true, 'current', 'true is not a current; a current such as 1 A (units A, mA, uA)'],
  ])('%j as %s is refused with the reason and an accepted example', (input, dimension, text) => {
    expect(complaint(input, dimension)).toBe(text);
  });

  test('a quantity of any dimension still needs a known unit', () => {
    expect(parseAny(22)).toMatchObject({ ok: false, message: '22 has no unit' });
    expect(parseAny('22')).toMatchObject({ ok: false, message: '"22" has no unit' });
    expect(parseAny('22 khz')).toMatchObject({ ok: false, message: '"khz" is not a unit known here; did you mean 22 kHz?' });
    expect(parseAny(null)).toMatchObject({ ok: false });
    expect(parseAny('x')).toMatchObject({ ok: false });
  });

  test('code that asks for a wrong unit is told so', () => {
    expect(() => of('1 V', 'current')).toThrow(UnitError);
    expect(() => convert(1, 'current', 'V')).toThrow('V is not a unit of a current; accepted: A, mA, uA');
  });
});

describe('ranges', () => {
  test('a range is two quantities that rise', () => {
    expect(parseRange('2 V .. 12 V', 'voltage')).toEqual({ ok: true, value: { from: 2, to: 12 } });
    expect(parseRange('-500 mV..1 V', 'voltage')).toEqual({ ok: true, value: { from: -0.5, to: 1 } });
  });
  test.each([['12 V .. 2 V', 'does not rise'], ['2 V .. 2 V', 'does not rise'], ['2 .. 12 V', '"2" has no unit'], ['2 V .. 12 A', 'is a current'], ['2 V', 'two quantities'], ['1 V .. 2 V .. 3 V', 'two quantities'], [5, 'is not a range']])(
    '%j is refused', (input, why) => {
      const parsed = parseRange(input, 'voltage');
      expect(parsed.ok ? '' : parsed.message).toContain(why);
      expect(parsed.ok ? '' : parsed.accepted).toBe('a range such as 4 V .. 40 V');
    });
});
