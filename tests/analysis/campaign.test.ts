// Goal: results of a campaign are honest: values, intervals, verdicts, what is left out. Nothing is ever NaN.
// Method: made-up campaigns with known truth and hand-computed or published figures.
import { describe, expect, test } from 'vitest';
import { analyzeCampaign } from '../../src/analysis/campaign/analyze';
import { equalRatesP } from '../../src/analysis/campaign/counts';
import { resultRows, resultsCsv, RESULT_COLUMNS } from '../../src/analysis/campaign/csv';
import { selectRecords, type RecordNote } from '../../src/analysis/campaign/select';
import type { Margin } from '../../src/model/files/campaign-choice';
import { resultsSchema, type Results } from '../../src/model/results';
import { makeCampaign } from './make-campaign';
import { normals } from './make-run';

const rpm = (values: readonly number[]) => values.map((v) => ({ full_throttle_rpm: v }));
const one = (r: Results, key = 'full_throttle_rpm') => {
  const m = r.metrics.find((x) => x.key === key);
  if (m === undefined) throw new Error(`${key} is not in the results`);
  return m;
};
const relative = (value: number): Margin => ({ kind: 'relative', value, text: `${100 * value} %` });

describe('values', () => {
  // JCGM 100:2008, table H.2, column V: mean 4.9990 V, experimental standard deviation of the mean 0.0032 V.
  test('mean and Type A of JCGM 100:2008 table H.2', () => {
    const r = analyzeCampaign(makeCampaign({ a: rpm([5.007, 4.994, 5.005, 4.99, 4.999]) }));
    const s = one(r).settings[0];
    expect(s.estimate.value).toBeCloseTo(4.999, 10);
    expect(s.type_a).toBeCloseTo(0.0032, 4);
    expect(s.estimate.dof).toBe(4);
  });

  test('a gain shared by all repeats does not average out, and adds in quadrature', () => {
    const make = (v: number) => ({ full_throttle_rpm: { value: v, effects: { speed_gain: 3 } } });
    const s = one(analyzeCampaign(makeCampaign({ a: [98, 102, 98, 102].map(make) }))).settings[0];
    expect(s.type_b).toBeCloseTo(3, 12);
    expect(s.estimate.u).toBeCloseTo(Math.hypot(s.type_a ?? 0, 3), 12);
  });

  test('re-mounting enters the value but not the contrast', () => {
    const table = { a: rpm([100, 101, 99, 100]), b: rpm([110, 111, 109, 110]) };
    const plain = one(analyzeCampaign(makeCampaign(table)));
    const with_ = one(analyzeCampaign(makeCampaign(table, { remount: { mounts: 6, speed: 0.02, thrust: null, power: null } })));
    expect(with_.settings[0].remount).toBeCloseTo(2, 10);
    expect(with_.settings[0].estimate.estimand).toContain('re-mounts');
    expect(with_.contrasts[0].u).toBe(plain.contrasts[0].u);
  });

  test('several mountings: contrasts are taken inside them, values average over them', () => {
    // Mounting 2 reads 5 higher throughout, and shows 0.02 more of the difference.
    const input = makeCampaign({ a: rpm([100, 100.1, 105, 105.1]), b: rpm([101, 101.1, 106.02, 106.12]) });
    const runs = input.runs.map((r) => ({ ...r, mounting: r.repeat > 2 ? 2 : 1 }));
    const m = one(analyzeCampaign({ ...input, runs }));
    expect(m.contrasts[0].difference).toBeCloseTo(1.01, 10);
    expect(m.contrasts[0].u).toBeLessThan(0.1);
    expect(m.settings[0].estimate.u).toBeCloseTo(2.5, 1);
    expect(m.settings[0].estimate.dof).toBe(1);
  });

  test('one repeat: a value without an interval and a plain sentence', () => {
    const r = analyzeCampaign(makeCampaign({ a: rpm([100]), b: rpm([110]) }));
    const m = one(r);
    expect(m.settings[0].estimate).toMatchObject({ value: 100, u: null });
    expect(m.settings[0].estimate.interval.reason).toContain('one repeat');
    expect(m.contrasts[0].verdict).toBe('none');
    expect(m.contrasts[0].text).toContain('one repeat');
  });
});

describe('verdicts', () => {
  const verdict = (b: readonly number[], margin: number | null, name: 'full_throttle_rpm' | 'fall_t80_s' = 'full_throttle_rpm') => {
    const table = { a: [100, 101, 99, 100, 100].map((v) => ({ [name]: v })), b: b.map((v) => ({ [name]: v })) };
    return one(analyzeCampaign(makeCampaign(table, margin === null ? {} : { margins: { [name]: relative(margin) } })), name).contrasts[0];
  };
  test('better and worse follow the metric: more speed is better, more fall time is worse', () => {
    expect(verdict([110, 111, 109, 110, 110], 0.01).verdict).toBe('better');
    expect(verdict([110, 111, 109, 110, 110], 0.01, 'fall_t80_s').verdict).toBe('worse');
    expect(verdict([90, 91, 89, 90, 90], 0.01).verdict).toBe('worse');
  });
  test('no difference that matters is a verdict of its own, with the margin in words', () => {
    const c = verdict([100.1, 101, 99.2, 100, 100], 0.05);
    expect(c.verdict).toBe('same');
    expect(c.text).toContain('no difference beyond ±5');
  });
  test('not settled names the repeats that would settle it', () => {
    const c = verdict([101, 102, 100, 99, 103], 0.01);
    expect(c.verdict).toBe('open');
    expect(c.more_repeats).toBeGreaterThan(0);
    expect(c.text).toContain('more repeat');
  });
  test('without a margin, equality is never claimed', () => {
    expect(verdict([100, 101, 99, 100, 100.1], null).verdict).toBe('open');
  });
  test('a margin in the wrong unit is named and not used', () => {
    const bad: Margin = { kind: 'absolute', dimension: 'time', value: 0.02, text: '20 ms' };
    const m = one(analyzeCampaign(makeCampaign({ a: rpm([1, 2, 3]), b: rpm([1, 2, 3]) }, { margins: { full_throttle_rpm: bad } })));
    expect(m.margin).toBeNull();
    expect(m.notes.join()).toContain('20 ms is no speed');
  });
  test('Holm over the metrics of interest takes back a difference that one metric alone would show', () => {
    const next = normals(5);
    const table = { a: rpm([100, 101, 99, 100, 100]), b: rpm([101.3, 102.3, 100.3, 101.3, 101.3]) };
    const alone = one(analyzeCampaign(makeCampaign(table, { margins: { full_throttle_rpm: relative(0.001) } }))).contrasts[0];
    const others = ['hold_rpm', 'kv_rpm_per_V', 'rise_t50_s', 'fall_t50_s', 'peak_current_A', 'hold_power_W'] as const;
    const many = Object.fromEntries(Object.entries(table).map(([id, repeats]) => [id, repeats.map((r) => ({ ...r, ...Object.fromEntries(others.map((o) => [o, 50 + next()])) }))]));
    const together = one(analyzeCampaign(makeCampaign(many, { margins: Object.fromEntries(['full_throttle_rpm', ...others].map((o) => [o, relative(0.001)])) }))).contrasts[0];
    expect(alone.p).toBeGreaterThan(0.05 / 7);
    expect(alone.p).toBeLessThan(0.05);
    expect(alone.verdict).toBe('better');
    expect(together.p_metrics).toBeGreaterThan(0.05);
    expect(together.verdict).toBe('open');
  });
  test('counts are compared exactly: 0 against 6 events in equal time has p = 2/64', () => {
    expect(equalRatesP(0, 5, 6, 5)).toBeCloseTo(2 / 64, 12);
    expect(equalRatesP(3, 5, 3, 5)).toBe(1);
    const table = { a: [0, 0, 0].map((desyncs) => ({ desyncs })), b: [4, 4, 5].map((desyncs) => ({ desyncs })) };
    expect(one(analyzeCampaign(makeCampaign(table)), 'desyncs').contrasts[0].verdict).toBe('worse');
  });
});

describe('drift', () => {
  const input = makeCampaign({ a: rpm(Array.from({ length: 8 }, () => 0)), b: rpm(Array.from({ length: 8 }, () => 0)) });
  /** Setting b lies 2 above a; everything climbs by 3 a run; one repeat scatters by 0.3. */
  const drifting = (kind: 'baseline' | 'cell', seed = 11) => {
    const next = normals(seed);
    return {
      ...input,
      runs: input.runs.map((r) => {
        const value = 1000 + (r.setting === 'b' ? 2 : 0) + 3 * r.index + 0.3 * next();
        return { ...r, kind: r.setting === 'a' ? kind : 'cell' as const, metrics: r.metrics === null ? null : { ...r.metrics, metrics: r.metrics.metrics.map((m) => ({ ...m, value })) } };
      }),
    };
  };
  test('planned baseline runs show it, its size is given, and it is taken out', () => {
    const m = one(analyzeCampaign(drifting('baseline')));
    expect(m.drift.removed).toBe(true);
    expect(Math.abs((m.drift.end_to_end ?? 0) - 3 * 14)).toBeLessThan(1);
    expect(Math.abs((m.contrasts[0].difference ?? 0) - 2)).toBeLessThan(0.6);
    expect(m.contrasts[0].verdict).toBe('better');
  });
  // 99 % band of a binomial with p = 0.95 and n = 300: 91.7 to 98.0 %.
  test('with drift taken out, intervals of the drift and of the difference still hold the truth in 91.7 to 98 % of 300 campaigns', () => {
    let drift = 0;
    let difference = 0;
    for (let seed = 1; seed <= 300; seed++) {
      const m = one(analyzeCampaign(drifting('baseline', seed)));
      if ((m.drift.interval?.lower ?? Infinity) <= 42 && 42 <= (m.drift.interval?.upper ?? -Infinity)) drift++;
      const { lower, upper } = m.contrasts[0].interval;
      if ((lower ?? Infinity) <= 2 && 2 <= (upper ?? -Infinity)) difference++;
    }
    for (const n of [drift, difference]) {
      expect(n / 300).toBeGreaterThanOrEqual(0.917);
      expect(n / 300).toBeLessThanOrEqual(0.98);
    }
  });
  test('without planned baseline runs nothing is taken out, and it says so', () => {
    const m = one(analyzeCampaign(drifting('cell')));
    expect(m.drift.removed).toBe(false);
    expect(m.drift.reason).toContain('baseline_every');
  });
});

describe('factors', () => {
  // Worked by hand: cell means 10, 12, 14, 20, two values ± 1 each; rows 11 and 17, columns 12 and 16, grand mean 14.
  test('main effects and interaction of a balanced table are the textbook ones', () => {
    const cell = (m: number) => rpm([m - 1, m + 1]);
    const f = one(analyzeCampaign(makeCampaign({ 'p x': cell(10), 'p y': cell(12), 'q x': cell(14), 'q y': cell(20) }))).factorial;
    expect(f?.main[0].effect.mean_square).toBeCloseTo(72, 9); // 4·(3² + 3²)
    expect(f?.main[1].effect.mean_square).toBeCloseTo(32, 9); // 4·(2² + 2²)
    expect(f?.interaction?.mean_square).toBeCloseTo(8, 9); // 2·4·1²
    expect(f?.error).toEqual({ dof: 4, mean_square: 2 });
  });
});

describe('what taking drift out costs', () => {
  // Every place in the order has its own value, b lies 1 above a and c, all climb by 1 a run.
  const input = makeCampaign({ 'a': rpm(Array.from({ length: 6 }, () => 0)), 'b': rpm(Array.from({ length: 6 }, () => 0)), 'c': rpm(Array.from({ length: 6 }, () => 0)) });
  const made = (climb: number) => {
    const next = normals(5);
    return one(analyzeCampaign({
      ...input, margins: { full_throttle_rpm: { kind: 'relative', value: 0.01, text: '1 %' } },
      runs: input.runs.map((r) => ({ ...r, kind: r.setting === 'a' ? 'baseline' as const : 'cell' as const, metrics: r.metrics === null ? null : { ...r.metrics, metrics: r.metrics.metrics.map((m) => ({ ...m, value: 1000 + (r.setting === 'b' ? 1 : 0) + climb * r.index + 0.2 * next() })) } })),
    }));
  };
  test('enters every pair and the factor table', () => {
    const still = made(0);
    const moved = made(1);
    expect([still.drift.removed, moved.drift.removed]).toEqual([false, true]);
    // a and c lie two places apart, the others one: only the drift's uncertainty makes their interval wider. The table has one degree of freedom less.
    const width = (m: typeof still, i: number) => (m.pairs[i].interval.upper ?? NaN) - (m.pairs[i].interval.lower ?? NaN);
    expect(width(still, 1)).toBeCloseTo(width(still, 0), 12);
    expect(width(moved, 1)).toBeGreaterThan(width(moved, 0) * 1.0005);
    expect(width(moved, 2)).toBeCloseTo(width(moved, 0), 12);
    expect(moved.factorial?.error?.dof).toBe((still.factorial?.error?.dof ?? 0) - 1);
    expect(moved.factorial?.main[0].effect.p).toBeLessThan(0.01);
  });
});

describe('bad input', () => {
  const note = (over: Partial<RecordNote>): RecordNote => ({ file: 'runs/a.mcap', record_id: 'a', campaign: 'c', version: '1', status: 'complete', outcome: 'done', problem: '', ...over });
  const plan = { campaign: 'c', version: '1' };
  test.each([
    ['cut off', note({ status: 'cut-off', problem: 'no outcome was written' }), 'cut off'],
    ['tripped', note({ outcome: 'tripped', problem: 'CURRENT_PEAK' }), 'tripped: CURRENT_PEAK'],
    ['of another version', note({ version: '2' }), 'version 2'],
    ['damaged', note({ status: 'damaged', problem: 'checksum' }), 'damaged: checksum'],
  ])('a record %s is left out with the reason', (_what, bad, reason) => {
    const { runs } = selectRecords(['a'], [bad], plan);
    expect(runs[0]).toMatchObject({ status: 'left-out', file: 'runs/a.mcap' });
    expect(runs[0].reason).toContain(reason);
  });
  test('missing, duplicate, foreign and unreadable ones are named; a retry replaces the run that failed', () => {
    const s = selectRecords(['a', 'b'], [
      note({ outcome: 'tripped' }), note({ file: 'runs/a-2.mcap' }), note({ file: 'runs/a-3.mcap' }), note({ file: 'runs/x.mcap', record_id: 'x' }),
      note({ file: 'runs/o.mcap', campaign: 'other' }), note({ file: 'runs/n.mcap', record_id: null, status: 'unreadable', problem: 'no MCAP' }),
    ], plan);
    expect(s.runs[0]).toEqual({ id: 'a', file: 'runs/a-2.mcap', status: 'used', reason: null });
    expect(s.runs[1].status).toBe('missing');
    const reasons = Object.fromEntries(s.foreign.map((f) => [f.file, f.reason]));
    expect(reasons['runs/a-3.mcap']).toContain('second good record');
    expect(reasons['runs/x.mcap']).toContain('not in the plan');
    expect(reasons['runs/o.mcap']).toContain('campaign other');
    expect(reasons['runs/n.mcap']).toContain('no MCAP');
    expect(reasons['runs/a.mcap']).toContain('tripped');
  });
  test('no usable run: no verdict, the reasons, and a file that the schema accepts', () => {
    const input = makeCampaign({ a: rpm([1, 2]), b: rpm([1, 2]) });
    const r = analyzeCampaign({ ...input, runs: input.runs.map((x) => ({ ...x, metrics: null, status: 'missing' as const, reason: 'there is no record of this run' })) });
    expect(r.answer[0]).toContain('no verdict');
    expect(resultsSchema.parse(r)).toEqual(r);
  });
  test('a setting whose runs all failed gets no verdict while the others keep theirs', () => {
    const m = one(analyzeCampaign(makeCampaign({ a: rpm([100, 101, 99]), b: [{}, {}, {}], c: rpm([110, 111, 109]) })));
    expect(m.contrasts.map((c) => [c.setting, c.verdict])).toEqual([['b', 'none'], ['c', 'better']]);
    expect(m.contrasts[0].text).toContain('no usable repeats');
  });
  test('a metric named by a margin that no run gives is noted', () => {
    expect(analyzeCampaign(makeCampaign({ a: rpm([1, 2]) }, { margins: { hold_rpm: relative(0.1) } })).notes.join()).toContain('hold_rpm is named');
  });
});

test('results pass their schema, and JSON keeps them as they are', () => {
  const r = analyzeCampaign(makeCampaign({ a: rpm([100, 101, 99]), b: rpm([100, 100, 100]), c: rpm([0, 0, 0]) }, { margins: { full_throttle_rpm: relative(0.01) } }));
  expect(resultsSchema.parse(JSON.parse(JSON.stringify(r)))).toEqual(r);
});

test('the table has a row a metric and setting, every row as wide as the head', () => {
  const r = analyzeCampaign(makeCampaign({ 'a,1': rpm([100, 101]), '=b': rpm([100, 103]) }));
  expect(resultRows(r)).toHaveLength(2);
  const [head, first, second] = resultsCsv(r).split('\r\n');
  expect(head).toBe(RESULT_COLUMNS.join(','));
  expect(first).toContain('"a,1"');
  expect(second).toContain('\'=b');
});

describe('honesty over 400 seeds', () => {
  const seeds = Array.from({ length: 400 }, (_, i) => i + 1);
  // 99 % band of a binomial with p = 0.95 and n = 400: 92.2 to 97.8 %.
  test('95 % intervals of value and difference hold the truth in 92.2 to 97.8 % of campaigns; a null is called different in at most 7.8 %', () => {
    let value = 0;
    let difference = 0;
    let wrong = 0;
    for (const seed of seeds) {
      const next = normals(seed);
      const gain = 1 + 0.003 * next();
      const read = (truth: number) => Array.from({ length: 5 }, () => { const v = truth * (1 + 0.002 * next()) * gain; return { full_throttle_rpm: { value: v, effects: { speed_gain: 0.003 * v } } }; });
      const m = one(analyzeCampaign(makeCampaign({ a: read(1000), b: read(1010), c: read(1000) })));
      const [a] = m.settings;
      const inside = (i: { lower: number | null; upper: number | null }, truth: number): boolean => (i.lower ?? Infinity) <= truth && truth <= (i.upper ?? -Infinity);
      if (inside(a.estimate.interval, 1000)) value++;
      // The two intervals hold together: one of them misses in at most 5 %.
      if (inside(m.contrasts[0].interval, 10) && inside(m.contrasts[1].interval, 0)) difference++;
      if (m.contrasts[1].verdict === 'better' || m.contrasts[1].verdict === 'worse') wrong++;
    }
    for (const n of [value, difference]) {
      expect(n / seeds.length).toBeGreaterThanOrEqual(0.922);
      expect(n / seeds.length).toBeLessThanOrEqual(0.978);
    }
    expect(wrong / seeds.length).toBeLessThanOrEqual(0.078);
  });
});
