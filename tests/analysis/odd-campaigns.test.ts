// Goal: whatever runs a campaign has, every number of its results is finite or null with a reason, and its report shows no number that is none.
// Method: random campaigns with settings without repeats, one repeat, equal repeats, missing metrics, zeros and faulty records (seeded);
// a walk over the whole of results.json by its schema's rules; the report of each is rendered and searched.
import fc from 'fast-check';
import { describe, expect, test } from 'vitest';
import { analyzeCampaign } from '../../src/analysis/campaign/analyze';
import type { CampaignInput, RunInput } from '../../src/analysis/campaign/input';
import { selectRecords, type RecordNote } from '../../src/analysis/campaign/select';
import type { MetricName } from '../../src/analysis/metrics/catalogue';
import type { RunCurve } from '../../src/analysis/metrics/run-curve';
import type { Margin } from '../../src/model/files/campaign-choice';
import { resultsSchema, type Results } from '../../src/model/results';
import { NO_EXTRAS, renderReport } from '../../src/report';
import { makeCampaign, madeMetrics } from './make-campaign';

type Json = string | number | boolean | null | readonly Json[] | { readonly [key: string]: Json };
type JsonObject = Extract<Json, Readonly<Record<string, Json>>>;

/** Fields whose null says by itself why there is nothing, with what must then hold. The rest needs a reason beside it. */
const TOLD: Readonly<Record<string, (o: JsonObject) => boolean>> = {
  // Unlimited degrees of freedom, as the schema says; without u the reason of the estimate tells.
  dof: (o) => typeof o.u === 'number' || isText(o.reason) || isText(o.method),
  // Only asked for when the campaign states a margin, and only known for metrics of interest or an open verdict.
  margin: () => true, margin_text: () => true, p_equivalence: () => true, p_metrics: () => true, more_repeats: () => true,
  // Parts of an uncertainty: a reason stands in the estimate beside them, or there is no such part.
  sd: (o) => Number(o.n) < 2 || isText((o.estimate as JsonObject).reason) || isText((o.estimate as JsonObject).method), type_a: (o) => lacksSpread(o), type_b: (o) => Number(o.n) === 0 || isText((o.estimate as JsonObject).method), remount: () => true,
  // Null where none is known of.
  baseline: () => true, chosen: (o) => isText(o.reason), best: () => true, file: () => true, sha256: () => true, desyncs: () => true, reason: () => true, gain: () => true, choice: () => true, match: () => true, factorial: () => true, interaction: (o) => (o.factors as readonly Json[]).length !== 2,
  thrust_N: () => true, speed_rpm: () => true, current_A: () => true, power_W: () => true, efficacy_N_per_W: () => true,
};
const isText = (v: Json | undefined): boolean => typeof v === 'string' && v !== '';
const lacksSpread = (o: JsonObject): boolean => isText((o.estimate as JsonObject).reason) || isText(((o.estimate as JsonObject).interval as JsonObject).reason);
/** A reason in the object, in its interval, or in the estimate that it holds. */
const reasoned = (o: JsonObject): boolean => [o, o.interval, o.estimate].some((x) => x !== null && typeof x === 'object' && !Array.isArray(x) && isText((x as JsonObject).reason));

/** Places where a number is none, or is null and nothing tells why. The reason of a table of effects stands for all that is in it. */
function faultsIn(value: Json, path = '', told = false): string[] {
  if (typeof value === 'number') return Number.isFinite(value) ? [] : [`${path} is ${value}`];
  if (value === null || typeof value !== 'object') return [];
  if (Array.isArray(value)) return (value as readonly Json[]).flatMap((v, i) => faultsIn(v, `${path}[${i}]`, told));
  const o = value as JsonObject;
  const below = told || ('main' in o && isText(o.reason));
  return Object.entries(o).flatMap(([key, v]) => (v === null && !below && !reasoned(o) && !(TOLD[key]?.(o) ?? false) ? [`${path}.${key} is null, and nothing tells why: ${JSON.stringify(o).slice(0, 300)}`] : faultsIn(v, `${path}.${key}`, below)));
}
/** As the file has it: JSON turns what is no number into null, so the walk goes over the results themselves, and over the file. */
function check(results: Results): void {
  expect(faultsIn(results as unknown as Json)).toEqual([]);
  expect(resultsSchema.safeParse(JSON.parse(JSON.stringify(results))).success).toBe(true);
  const page = renderReport(results, NO_EXTRAS);
  expect(page.replace(/<style>[\s\S]*?<\/style>/, '')).not.toMatch(/\bNaN\b|\bundefined\b|\bInfinity\b|>null<|\[object/);
}

const METRICS: readonly MetricName[] = ['full_throttle_rpm', 'power_at_hover_W', 'fall_t80_s', 'desyncs', 'start_success', 'rise_overshoot', 'final_temperature_degC'];
const share = (value: number): Margin => ({ kind: 'relative', value, text: `${100 * value} %` });

const value = fc.oneof(fc.double({ min: 0.01, max: 30_000, noNaN: true }), fc.constant(0), fc.constant(5));
const repeat = fc.record(Object.fromEntries(METRICS.map((m) => [m, m === 'desyncs' ? fc.integer({ min: 0, max: 4 }) : m === 'start_success' ? fc.double({ min: 0, max: 1, noNaN: true }) : value])), { requiredKeys: [] });
const table = fc.dictionary(fc.constantFrom('a x', 'a y', 'b x', 'b y', 'c x'), fc.array(repeat, { maxLength: 4 }), { minKeys: 1, maxKeys: 5 });
const curve: fc.Arbitrary<RunCurve | null> = fc.option(fc.double({ min: 0.2, max: 3, noNaN: true }).map((k): RunCurve => {
  const throttle = Array.from({ length: 46 }, (_, i) => 0.1 + 0.02 * i);
  return { source: 'sweep', throttle, values: { thrust_N: throttle.map((x) => k * x * x), power_W: throttle.map((x) => 20 * x ** 2.4), speed_rpm: throttle.map((x) => 9000 * x), current_A: null }, scatter: { thrust_N: null, power_W: null, speed_rpm: null, current_A: null }, instruments: {}, voltage_V: 7.6, flags: [] };
}));
const craft: CampaignInput['craft'] = { name: 'made', about: null, mass_kg: 0.16, rotors: 4, battery: { energy_Wh: 6, cells: 2, nominal_cell_V: 3.7, sag: 0.05, usable: 0.8, mass_kg: null }, avionics_W: 2, installed_loss: 0.06, installed_loss_u: 0.01 };
const odd = fc.record({
  made: table, curves: fc.array(curve, { minLength: 20, maxLength: 20 }), margins: fc.subarray([...METRICS]), objective: fc.constantFrom(...METRICS), asked: fc.boolean(), baseline: fc.boolean(), craft: fc.boolean(),
  out: fc.array(fc.constantFrom('used', 'used', 'left-out', 'missing'), { minLength: 20, maxLength: 20 }), estimand: fc.constantFrom('over-mountings', 'this-mounting'),
});

function campaignOf(o: typeof odd extends fc.Arbitrary<infer T> ? T : never): CampaignInput {
  const base = makeCampaign(o.made, {
    margins: Object.fromEntries(o.margins.map((m) => [m, share(0.02)])), craft: o.craft ? craft : null, estimand: o.estimand,
    choice: o.asked ? { objective: { metric: o.objective, sense: 'least' }, constraints: [{ metric: 'fall_t80_s', kind: 'within', margin: share(0.05) }, { metric: 'desyncs', kind: 'at-most', bound: { kind: 'number', value: 1, text: '1' } }] } : null,
  });
  const runs = base.runs.map((r, i): RunInput => {
    const status = o.out[i % o.out.length];
    if (status !== 'used') return { ...r, status, reason: status === 'missing' ? 'there is no record of this run' : 'the run ended as tripped: CURRENT_PEAK', metrics: null, file: status === 'missing' ? null : r.file, sha256: status === 'missing' ? null : r.sha256 };
    return { ...r, metrics: r.metrics === null ? null : madeMetrics(r.id, Object.fromEntries(r.metrics.metrics.map((m) => [m.name, m.value ?? 0])), { curve: o.curves[i % o.curves.length], desyncs: i % 3 }) };
  });
  return { ...base, runs, ...(o.baseline ? {} : { baseline: null }) };
}

describe('results of odd campaigns', () => {
  test('every number is finite or null with a reason, and the report is whole', { timeout: 120_000 }, () => {
    fc.assert(fc.property(odd, (o) => { check(analyzeCampaign(campaignOf(o))); }), { seed: 20261125, numRuns: 60 });
  });

  test.each([
    ['no run', {}], ['one setting with one repeat', { a: [{ full_throttle_rpm: 1 }] }], ['two settings with one repeat', { a: [{ full_throttle_rpm: 1, desyncs: 0 }], b: [{ full_throttle_rpm: 2, desyncs: 1 }] }],
    ['equal repeats', { a: [{ full_throttle_rpm: 1 }, { full_throttle_rpm: 1 }], b: [{ full_throttle_rpm: 1 }, { full_throttle_rpm: 1 }] }], ['zeros', { a: [{ full_throttle_rpm: 0 }, { full_throttle_rpm: 0 }], b: [{ full_throttle_rpm: 0 }] }],
    ['a setting without repeats', { a: [{ full_throttle_rpm: 1 }, { full_throttle_rpm: 2 }], b: [] }], ['three factors, one run a cell', Object.fromEntries(['a', 'b'].flatMap((x) => ['c', 'd'].flatMap((y) => ['e', 'f'].map((z) => [`${x} ${y} ${z}`, [{ full_throttle_rpm: 1 }]]))))],
  ])('%s: finite or null with a reason, and a whole report', (_, made) => {
    const base = Object.keys(made).length === 0 ? { ...makeCampaign({ a: [{ full_throttle_rpm: 1 }] }), runs: [] } : makeCampaign(made);
    for (const choice of [null, { objective: { metric: 'full_throttle_rpm', sense: 'most' as const }, constraints: [] }]) check(analyzeCampaign({ ...base, margins: { full_throttle_rpm: share(0.01) }, choice, craft }));
  });

  test('zero usable repeats: no verdict in words; one repeat: a value without interval and a plain sentence', () => {
    const none = analyzeCampaign({ ...makeCampaign({ a: [{ full_throttle_rpm: 1 }], b: [{ full_throttle_rpm: 2 }] }), runs: [] });
    expect(none.answer[0]).toBe('No run can be used, so there is no verdict.');
    const once = analyzeCampaign(makeCampaign({ a: [{ full_throttle_rpm: 1 }], b: [{ full_throttle_rpm: 2 }] }, { margins: { full_throttle_rpm: share(0.01) } }));
    const [metric] = once.metrics;
    expect(metric.settings[0].estimate).toMatchObject({ value: 1, u: null, interval: { lower: null, upper: null, reason: 'one repeat: its spread is unknown, so there is no interval' } });
    expect(metric.contrasts[0]).toMatchObject({ verdict: 'none', text: 'no verdict: one repeat a setting: nothing to judge the difference by' });
  });
});

describe('which records stand for a campaign', () => {
  const planned = ['0001', '0002', '0003'];
  const note = fc.record({
    record_id: fc.constantFrom('0001', '0002', '0003', '0004', null), campaign: fc.constantFrom('mine', 'other', null), version: fc.constantFrom('0.1.0', '0.0.9', null),
    status: fc.constantFrom('complete' as const, 'cut-off' as const, 'damaged' as const, 'unreadable' as const), outcome: fc.constantFrom('done', 'tripped', null), problem: fc.constantFrom('', 'a fault'),
  });

  test('every file stands for one run or is named with a reason; every run has one good record or a reason', () => {
    fc.assert(fc.property(fc.array(note, { maxLength: 12 }), (notes) => {
      const found = notes.map((n, i): RecordNote => ({ ...n, file: `runs/${String(i).padStart(2, '0')}.mcap` }));
      const { runs, foreign } = selectRecords(planned, found, { campaign: 'mine', version: '0.1.0' });
      expect(runs.map((r) => r.id)).toEqual(planned);
      const named = [...runs.flatMap((r) => r.file ?? []), ...foreign.map((f) => f.file)];
      expect([...named].sort()).toEqual(found.map((f) => f.file));
      for (const f of foreign) expect(f.reason).not.toBe('');
      for (const r of runs) {
        const record = found.find((f) => f.file === r.file);
        if (r.status === 'used') expect(record).toMatchObject({ record_id: r.id, status: 'complete', outcome: 'done', version: '0.1.0' });
        else expect(r.reason).toMatch(/\S/);
        if (r.status === 'missing') expect(record).toBeUndefined();
      }
    }), { seed: 20261126, numRuns: 400 });
  });
});
