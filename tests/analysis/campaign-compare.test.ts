// Goal: two campaigns are compared with every part of the uncertainty that their difference has, and nothing is compared that is not comparable.
// Method: made-up campaigns; Welch's comparison of R's `sleep` data as the outside check of a difference; each tie broken one by one.
import { describe, expect, test } from 'vitest';
import { compareCampaigns } from '../../src/analysis/campaign/compare';
import type { CompareBench } from '../../src/analysis/campaign/compare-bench';
import type { CampaignInput } from '../../src/analysis/campaign/input';
import { comparisonSchema, type ComparedMetric, type Comparison } from '../../src/model/comparison';
import { makeCampaign, type MadeTable } from './make-campaign';

const BENCH: CompareBench = {
  simulated: false, day: '2026-03-01', rig: 'stand', conditions: { 'the supply voltage': '7.6 V' }, parts: { motor: 'M', 'motor specimen': 'A', 'propeller specimen': 'A' }, mounting: 'm1',
  calibration: 'c1', protocols: { p: { text: 'p {}', plays: 'x' } }, hover_thrust_N: 0.4, air: { temperature_degC: 20, pressure_Pa: 101_325, humidity: 0.5 },
};
const RPM = 'full_throttle_rpm';
const campaign = (table: MadeTable, over: Partial<CampaignInput> = {}): CampaignInput => {
  const made = makeCampaign(table, over);
  return { ...made, runs: made.runs.map((r) => ({ ...r, sha256: null })) };
};
const values = (setting: string, list: readonly number[], effects: Readonly<Record<string, number>> = {}): MadeTable => ({ [setting]: list.map((value) => ({ [RPM]: { value, effects } })) });
function compared(a: CampaignInput, b: CampaignInput, benchB: Partial<CompareBench> = {}, options = {}): Comparison {
  const result = compareCampaigns({ input: a, bench: BENCH }, { input: b, bench: { ...BENCH, ...benchB } }, options);
  if (!result.ok) throw new Error(result.reasons.join('\n'));
  return comparisonSchema.parse(result.comparison);
}
const rpm = (c: Comparison): ComparedMetric => { const m = c.metrics.find((x) => x.key === RPM); if (m === undefined) throw new Error('no rpm'); return m; };
const reasonsOf = (a: CampaignInput, b: CampaignInput, bench: Partial<CompareBench>): readonly string[] => {
  const result = compareCampaigns({ input: a, bench: BENCH }, { input: b, bench: { ...BENCH, ...bench } });
  return result.ok ? [] : result.reasons;
};

// R datasets::sleep, extra hours of sleep under two drugs; t.test(x, y) of R 4.2.2 gives the figures below.
const SLEEP_X = [0.7, -1.6, -0.2, -1.2, -0.1, 3.4, 3.7, 0.8, 0, 2];
const SLEEP_Y = [1.9, 0.8, 1.1, 0.1, -0.1, 4.4, 5.5, 1.6, 4.6, 3.4];

describe('the difference', () => {
  test('of one setting in one mounting under one calibration is Welch\'s (R t.test on sleep)', () => {
    const [row] = rpm(compared(campaign(values('s', SLEEP_X)), campaign(values('s', SLEEP_Y)))).rows;
    expect(row.contrast.difference).toBeCloseTo(1.58, 12);
    expect(row.contrast.u).toBeCloseTo(0.849091017238762, 12);
    expect(row.contrast.dof).toBeCloseTo(17.7764735161785, 9);
    expect(row.contrast.interval.lower).toBeCloseTo(-0.20548323071171, 9);
    expect(row.contrast.interval.upper).toBeCloseTo(3.36548323071171, 9);
    expect(row.contrast.p).toBeCloseTo(0.0793941401873582, 9);
    expect(row.contrast.verdict).toBe('open');
  });

  const GAIN = { speed_gain: 2 };
  test('a gain that both share cancels; under another calibration both enter (JCGM 100:2008, 5.2.2)', () => {
    const [a, b] = [campaign(values('s', [100, 101, 102], GAIN)), campaign(values('s', [103, 104, 105], GAIN))];
    const same = rpm(compared(a, b)).rows[0];
    const other = rpm(compared(a, b, { calibration: 'c2' })).rows[0];
    expect(same.u_calibration).toBe(0);
    expect(other.u_calibration).toBeCloseTo(Math.SQRT2 * 2, 12);
    expect(other.contrast.u).toBeCloseTo(Math.sqrt((same.contrast.u ?? 0) ** 2 + 8), 12);
  });

  test('a zero cancels within a day and not between days', () => {
    const [a, b] = [campaign(values('s', [100, 101, 102], { speed_offset: 3 })), campaign(values('s', [103, 104, 105], { speed_offset: 3 }))];
    expect(rpm(compared(a, b)).rows[0].u_calibration).toBe(0);
    expect(rpm(compared(a, b, { day: '2026-03-02' })).rows[0].u_calibration).toBeCloseTo(3 * Math.SQRT2, 12);
  });

  test('re-mounting is carried when the mounting differs, once for each side, with the degrees of freedom of one study', () => {
    const remount = { mounts: 6, thrust: null, speed: 0.01, power: null };
    const [a, b] = [campaign(values('s', [100, 100.01, 99.99]), { remount }), campaign(values('s', [103, 103.01, 102.99]))];
    expect(rpm(compared(a, b)).rows[0].u_remount).toBe(0);
    for (const c of [compared(a, b, { mounting: 'm2' }), compared(a, b, {}, { remounted: true }), compared(a, b, { parts: { ...BENCH.parts, 'motor specimen': 'B' } })]) {
      const [row] = rpm(c).rows;
      expect(c.mounting).toBe('other');
      expect(row.u_remount).toBeCloseTo(Math.hypot(1, 1.03), 9);
      expect(row.contrast.dof).toBeGreaterThan(4.99);
      expect(row.contrast.dof).toBeLessThan(5.1);
      expect(row.contrast.verdict, 'three percent against a re-mount of one percent').toBe('open');
      expect(row.contrast.more_repeats).toBeNull();
      expect(row.flags).toEqual(['re-mounting alone leaves it open: more repeats would not settle it']);
    }
  });

  test('without a repeatability study the interval says that it leaves re-mounting out', () => {
    const [a, b] = [campaign(values('s', [100, 101, 102])), campaign(values('s', [103, 104, 105]))];
    const c = compared(a, b, { mounting: 'm2' });
    expect(rpm(c).rows[0].flags).toEqual(['no repeatability study: the interval leaves re-mounting out']);
    expect(c.notes.join(' ')).toContain('No repeatability study');
    const unknown = compared(a, b, { mounting: null });
    expect(unknown.mounting).toBe('unknown');
    expect(rpm(unknown).rows[0].flags).toHaveLength(1);
    expect(rpm(compared(a, b)).rows[0].flags).toEqual([]);
  });

  test('the mean over settings averages repeats, not what the settings share', () => {
    const remount = { mounts: 6, thrust: null, speed: 0.01, power: null };
    const table = (shift: number): MadeTable => ({ ...values('s', [100, 101, 102].map((v) => v + shift)), ...values('t', [100, 101, 102].map((v) => v + shift)) });
    const { overall, rows } = rpm(compared(campaign(table(0), { remount }), campaign(table(3), { remount }), { mounting: 'm2' }));
    expect(overall?.contrast.difference).toBeCloseTo(3, 12);
    expect(overall?.u_repeats).toBeCloseTo((rows[0].u_repeats ?? 0) / Math.SQRT2, 12);
    expect(overall?.u_remount).toBeCloseTo(rows[0].u_remount ?? 0, 12);
  });
});

describe('verdicts', () => {
  const margins = { [RPM]: { kind: 'absolute', value: 5, dimension: 'speed', text: '5 rpm' } } as unknown as CampaignInput['margins'];
  const one = (shift: number): Comparison => compared(campaign(values('s', [1000, 1001, 1002, 1003]), { margins }), campaign(values('s', [1000, 1001, 1002, 1003].map((v) => v + shift))));

  test('better, worse, no difference beyond the margin, not settled with repeats', () => {
    expect(rpm(one(40)).rows[0].contrast.verdict).toBe('better');
    expect(rpm(one(-40)).rows[0].contrast.verdict).toBe('worse');
    expect(rpm(one(0)).rows[0].contrast.verdict).toBe('same');
    const open = rpm(compared(campaign(values('s', [1000, 1001, 1002, 1003])), campaign(values('s', [1001, 1002, 1003, 1004])))).rows[0].contrast;
    expect(open).toMatchObject({ verdict: 'open', text: expect.stringMatching(/^not settled \(about \d+ more repeats\)$/) as string });
    expect(one(40).sentences[0]).toMatch(/^At s, the second campaign is: full-throttle speed better by \+\S+ to \+\S+ rpm/);
  });

  test('Holm over metrics: a p that stands alone does not survive among others', () => {
    const metrics = ['full_throttle_rpm', 'full_throttle_thrust_N', 'full_throttle_current_A', 'full_throttle_power_W'] as const;
    const table = (shift: number): MadeTable => ({ s: [0, 1, 2, 3].map((k) => Object.fromEntries(metrics.map((m, i) => [m, 100 + k + (i === 0 ? shift : 0)]))) });
    const c = compared(campaign(table(0)), campaign(table(2.7)));
    const { contrast } = rpm(c).rows[0];
    expect(contrast.p).toBeLessThan(0.05);
    expect(contrast.p_metrics).toBeCloseTo(Math.min(1, 4 * (contrast.p ?? 1)), 12);
    expect(contrast.verdict).toBe('open');
  });

  test('one repeat: both values, a difference without an interval, and a plain sentence', () => {
    const c = compared(campaign(values('s', [100])), campaign(values('s', [103])));
    const [row] = rpm(c).rows;
    expect(row).toMatchObject({ a: { value: 100, u_repeats: null }, b: { value: 103 }, contrast: { difference: 3, verdict: 'none', interval: { lower: null, upper: null } } });
    expect(row.contrast.text).toContain('one repeat');
    expect(c.sentences.join(' ')).toContain('No verdict');
  });

  test('no usable repeat on one side: no verdict, no number', () => {
    const whole = campaign(values('s', [103, 104]));
    const empty = { ...whole, runs: whole.runs.map((r) => ({ ...r, metrics: null, status: 'left-out' as const, reason: 'cut off' })) };
    const c = compared(campaign(values('s', [100, 101])), empty);
    expect(c.metrics).toEqual([]);
    expect(c.not_compared).toEqual([{ what: 'Full-throttle speed', reason: 'the second campaign does not give it' }]);
    expect(c.sentences[0]).toBe('No metric can be compared.');
    expect(JSON.stringify(c)).not.toMatch(/NaN|Infinity/);
  });

  test('counts are compared by the exact test', () => {
    const counted = (list: readonly number[]): MadeTable => ({ s: list.map((desyncs) => ({ desyncs })) });
    const c = compared(campaign(counted([0, 0, 0, 0, 0])), campaign(counted([3, 2, 4, 3, 3])));
    expect(c.metrics[0].rows[0].contrast).toMatchObject({ verdict: 'worse', text: 'worse (15 in 5 runs against 0 in 5)' });
  });
});

describe('what is not compared', () => {
  const [a, b] = [campaign(values('s', [100, 101])), campaign(values('s', [103, 104]))];

  test('other rigs, other conditions, simulated against measured: refused with each reason', () => {
    expect(reasonsOf(a, b, {})).toEqual([]);
    expect(reasonsOf(a, b, { rig: 'other' })).toEqual([expect.stringContaining('different rigs, stand and other')]);
    expect(reasonsOf(a, b, { conditions: { 'the supply voltage': '11 V' }, simulated: true })).toEqual([expect.stringContaining('simulated'), expect.stringContaining('7.6 V against 11 V')]);
  });

  test('no setting in common, or the same records: refused', () => {
    expect(reasonsOf(a, campaign(values('t', [1, 2])), {})).toEqual([expect.stringContaining('no setting in common: s against t')]);
    const summed = { ...a, runs: a.runs.map((r) => ({ ...r, sha256: r.id })) };
    expect(reasonsOf(summed, summed, {})).toEqual([expect.stringContaining('2 of the records are the same')]);
  });

  test('a protocol with other parameters or segments, and a metric at another hover thrust, are named', () => {
    const other = compared(a, b, { protocols: { p: { text: 'p {"steps":40}', plays: 'y' } } });
    expect(other.not_compared).toEqual([{ what: 'protocol p', reason: 'its parameters differ: p {} against p {"steps":40}' }]);
    expect(other.metrics).toEqual([]);
    const hover = (v: number): CampaignInput => campaign({ s: [{ power_at_hover_W: v }, { power_at_hover_W: v + 0.1 }] });
    expect(compared(hover(7), hover(8), { hover_thrust_N: 0.5 }).not_compared).toEqual([{ what: 'Power at hover thrust', reason: 'the hover thrust differs: 0.4000 N against 0.5000 N' }]);
    expect(compared(hover(7), hover(8)).metrics).toHaveLength(1);
  });

  test('settings that only one has are named; parts, day, air and calibration that differ are listed', () => {
    const c = compared(campaign({ ...values('s', [1, 2]), ...values('t', [1, 2]) }), b, { parts: { ...BENCH.parts, motor: 'N' }, day: '2026-04-02', air: { temperature_degC: 35, pressure_Pa: 101_325, humidity: 0.5 }, calibration: 'c2' });
    expect(c.not_compared).toContainEqual({ what: 't', reason: 'only the first campaign has this setting' });
    expect(c.differs.map((d) => d.what)).toEqual(['motor', 'day', 'calibration', 'air']);
    // Ideal gas: 293.15/308.15 in absolute temperature, and a little for the vapour at equal relative humidity.
    expect(c.notes.join(' ')).toMatch(/air was (5|6)(\.\d)? % thinner/);
    expect(c.notes.join(' ')).toContain('not of their types');
  });
});
