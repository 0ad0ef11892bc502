// Goal: Pt100 and type K become temperatures as the published tables say, forwards, backwards, and through a converter of a board.
// Method: printed values of IEC 60751 and of the ITS-90 table; counts of an ADS1115 and of an analogue input by hand; both sides of each end.
import { describe, expect, test } from 'vitest';
import { lawOf } from '../../src/host/firmata/readings';
import type { ChannelElement, ChannelSource, RigChannel } from '../../src/model/files/rig-channels';
import { PT100_SPAN_degC, pt100_degC, pt100_ohm, TYPE_K_SPAN_degC, typeK_degC, typeK_mV } from '../../src/model/sensor-laws';

describe('Pt100 (IEC 60751)', () => {
  // Ohms as the standard's table prints them.
  test.each([[-100, 60.26], [0, 100], [50, 119.4], [100, 138.51], [400, 247.09]])('at %i °C: %d Ω as printed', (degC, ohm) => {
    expect(pt100_ohm(degC)).toBeCloseTo(ohm, 2);
    expect(Math.abs(pt100_degC(ohm) - degC)).toBeLessThan(0.02);
  });

  test('back and forth everywhere, and nothing outside the standard', () => {
    for (let degC = PT100_SPAN_degC.from; degC <= PT100_SPAN_degC.to; degC += 10) expect(pt100_degC(pt100_ohm(degC))).toBeCloseTo(degC, 4);
    expect(pt100_degC(pt100_ohm(-200) - 0.01)).toBeNaN();
    expect(pt100_degC(pt100_ohm(850) + 0.01)).toBeNaN();
  });
});

describe('type K (ITS-90, NIST Monograph 175; the same table is IEC 60584-1)', () => {
  // Millivolts as printed, reference junction at 0 °C.
  test.each([[-200, -5.891], [-190, -5.73], [-180, -5.55], [-150, -4.913], [0, 0], [25, 1], [100, 4.096], [300, 12.209], [350, 14.293], [500, 20.644], [1000, 41.276]])('at %i °C: %d mV as printed', (degC, mV) => {
    expect(Math.abs(typeK_mV(degC) - mV)).toBeLessThan(0.00051);
    expect(Math.abs(typeK_degC(mV, 0) - degC)).toBeLessThan(0.04);
  });

  test('its two halves meet at 0 °C, it rises everywhere, and comes back', () => {
    expect(Math.abs(typeK_mV(0))).toBeLessThan(1e-6);
    for (let degC = TYPE_K_SPAN_degC.from; degC < TYPE_K_SPAN_degC.to; degC += 4) {
      expect(typeK_mV(degC + 4)).toBeGreaterThan(typeK_mV(degC));
      expect(typeK_degC(typeK_mV(degC), 0)).toBeCloseTo(degC, 4);
    }
    expect(typeK_degC(typeK_mV(1372) + 0.001, 0)).toBeNaN();
    expect(typeK_degC(typeK_mV(-200) - 0.001, 0)).toBeNaN();
  });

  test('the reference junction is added in millivolts, not in degrees', () => {
    // 100 °C against a junction at 25 °C: 4.096 - 1.000 mV.
    expect(typeK_degC(3.096, 25)).toBeCloseTo(100, 1);
    expect(typeK_degC(0, 25)).toBeCloseTo(25, 4);
  });
});

describe('on a board', () => {
  const channel = (source: ChannelSource): RigChannel => ({
    kind: 'motor_temperature', source, period_us: 100_000, filter_Hz: null, averages: 1, gain: 0.05, zero: 0, span: null, u_gain: 0, u_offset: 0, placement: null, natural_frequency_Hz: null, pole_pairs: null,
  });
  const ads = (amplifier: number, element: ChannelElement): RigChannel => channel({ kind: 'converter', part: 'ads1115', address: 72, input: 0, against: 1, amplifier, element });
  const pt = (boost: number): ChannelElement => ({ kind: 'pt100', feed_A: 1e-3, boost });
  const k: ChannelElement = { kind: 'type-k', cold_junction_degC: 25, boost: 1 };

  test('a Pt100 at 1 mA on an ADS1115: 138.51 mV are 100 °C, and readings added up are averaged', () => {
    const { law } = lawOf(ads(8, pt(1)));
    const counts = Math.round(0.13851 / (0.512 / 32768));
    expect(Math.abs(law(counts, 1).counts * 0.05 - 100)).toBeLessThan(0.1);
    expect(law(2 * counts, 2)).toEqual(law(counts, 1));
  });

  test('a type K on an ADS1115 against a junction at 25 °C: one count is a fifth of a kelvin', () => {
    const { law } = lawOf(ads(16, k));
    expect(law(0, 1)).toEqual({ counts: 500, valid: true });
    expect(Math.abs(law(Math.round(3.096e-3 / 7.8125e-6), 1).counts * 0.05 - 100)).toBeLessThan(0.2);
  });

  test('a Pt100 through an amplifier of 20 on an analogue input of 5 V', () => {
    const { law } = lawOf(channel({ kind: 'analog', input: 0, element: pt(20) }));
    const counts = Math.floor((20 * 0.13851 * 1024) / 5);
    expect(Math.abs(law(counts, 1).counts * 0.05 - 100)).toBeLessThan(0.7);
    // A broken wire pulls the input to its end, which would be 408 °C; both sides of the boundary, and a short.
    expect([law(1020, 1).valid, law(1021, 1).valid, law(0, 1).valid]).toEqual([true, false, false]);
  });

  test('a short, an open wire and a wrong part are no measurement', () => {
    const { law } = lawOf(ads(8, pt(1)));
    expect([law(0, 1).valid, law(32766, 1).valid]).toEqual([false, false]);
    // 18.52 Ω is -200 °C: one count less is outside the standard.
    const edge = Math.ceil(pt100_ohm(-200) * 1e-3 / (0.512 / 32768));
    expect([law(edge, 1).valid, law(edge - 1, 1).valid]).toEqual([true, false]);
    expect(lawOf(ads(16, k)).law(-1000, 1).valid).toBe(false);
  });
});
