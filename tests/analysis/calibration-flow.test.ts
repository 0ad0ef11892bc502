// Goal: what a calibration knows about itself reaches every metric: degrees of freedom, and the span where it holds.
// Method: the worked example of JCGM 100:2008 G.4.1; made-up runs and campaigns with calibrated channels, both sides of each bound.
import { describe, expect, test } from 'vitest';
import { budgetOf, meanOfRatios } from '../../src/analysis/calibration/budget';
import { fitLaw } from '../../src/analysis/calibration/fit';
import { analyzeCampaign } from '../../src/analysis/campaign/analyze';
import { inputDofs, instrumentPart, leastDofs, outsideSpan } from '../../src/analysis/metrics/calibration-facts';
import { metricOf, runMetrics, type RunMetrics } from '../../src/analysis/metrics/run-metrics';
import type { RunChannel, RunData } from '../../src/analysis/run-data';
import { coverageFactor } from '../../src/analysis/stats/quantiles';
import { makeCampaign } from './make-campaign';
import { makeRun, SCRIPTS } from './make-run';

/** A sweep whose thrust channel is changed. */
function sweep(thrust: Partial<RunChannel>): RunData {
  const data = makeRun({ protocol: 'thrust-curve', segments: SCRIPTS.curve, sensors: { noise: { thrust: 0.002 }, u_gain: { thrust: 0.01, current: 0.003 } } });
  return { ...data, channels: data.channels.map((c) => (c.kind === 'thrust' ? { ...c, ...thrust } : c)) };
}
const thrustOf = (run: RunMetrics) => metricOf(run, 'full_throttle_thrust_N');

describe('degrees of freedom', () => {
  // JCGM 100:2008, G.4.1: relative uncertainties 0.25 %, 0.57 %, 0.82 % with 9, 4 and 14: u_c 1.03 %, effective 19.0.
  test('of several calibrated inputs are those of the worked example of JCGM 100:2008 G.4.1', () => {
    const part = instrumentPart({ x1: 0.25, x2: -0.57, x3: 0.82 }, { x1: 9, x2: 4, x3: 14 });
    expect(part.u).toBeCloseTo(1.03, 2);
    expect(part.dof).toBeCloseTo(19, 1);
    expect(coverageFactor(0.95, Math.floor(part.dof)) * part.u).toBeCloseTo(2.2, 1);
  });

  test('an input that nothing is said about counts as known', () => {
    expect(instrumentPart({ thrust_gain: 1 }, {})).toEqual({ u: 1, dof: Infinity });
    expect(leastDofs([{ thrust_gain: 8 }, undefined, { thrust_gain: 4, current_gain: 9 }])).toEqual({ thrust_gain: 4, current_gain: 9 });
  });

  test('of a gain: only the part of the fit is a guess, the reference is known', () => {
    const points = [0, 1, 2, 3, 4, 5].map((applied, i) => ({ applied, counts: 100 * applied + (i % 2), direction: 'up' as const }));
    const law = fitLaw(points, 1, 0);
    if (!law.ok) throw new Error(law.reason);
    const span = { from: 0, to: 5 };
    const alone = budgetOf(law, { u_reference: 0, hysteresis: null, creep: null, span });
    expect(alone.dof).toBeCloseTo(4, 9);
    // A reference as uncertain as the fit: u² doubles, so the effective degrees of freedom are four times as many (eq. G.2b).
    expect(budgetOf(law, { u_reference: alone.parts.fit, hysteresis: null, creep: null, span }).dof).toBeCloseTo(16, 9);
    expect(meanOfRatios([1, 1], 4e-4).dof).toBeNull();
  });

  test('reach a metric of one run: a gain known by four repeats makes the interval wider than a certificate does', () => {
    const known = thrustOf(runMetrics(sweep({})));
    const guessed = thrustOf(runMetrics(sweep({ dof_gain: 3 })));
    expect(guessed?.value).toBe(known?.value);
    expect(guessed?.u).toBe(known?.u);
    // The gain is nearly all of the uncertainty, so its degrees of freedom are nearly those of the metric.
    expect(known?.dof ?? Infinity).toBeGreaterThan(1000);
    expect(guessed?.dof ?? NaN).toBeGreaterThan(3);
    expect(guessed?.dof ?? NaN).toBeLessThan(3.1);
    // A metric without that channel stays as it was.
    const current = (run: RunMetrics) => metricOf(run, 'full_throttle_current_A')?.dof;
    expect(current(runMetrics(sweep({ dof_gain: 3 })))).toBe(current(runMetrics(sweep({}))));
  });

  test('reach the values and the differences of a campaign', () => {
    const gain = (value: number) => ({ full_throttle_thrust_N: { value, effects: { thrust_gain: 0.02 * value } } });
    const table = { a: [gain(1), gain(1.001), gain(0.999)], b: [gain(2), gain(2.001), gain(1.999)] };
    const results = (dof: number | null) => {
      const made = makeCampaign(table, { baseline: 'a' });
      const runs = made.runs.map((r) => ({ ...r, metrics: r.metrics === null || dof === null ? r.metrics : { ...r.metrics, dofs: { thrust_gain: dof } } }));
      const metric = analyzeCampaign({ ...made, runs }).metrics.find((m) => m.key === 'full_throttle_thrust_N');
      return { value: metric?.settings[1]?.estimate, contrast: metric?.contrasts.find((c) => c.setting === 'b') };
    };
    const [known, guessed] = [results(null), results(4)];
    expect(guessed.value?.u).toBe(known.value?.u);
    expect(guessed.value?.dof ?? NaN).toBeGreaterThan(3.9);
    expect(guessed.value?.dof ?? NaN).toBeLessThan(4.1);
    expect(known.value?.dof ?? Infinity).toBeGreaterThan(1000);
    // The difference of 1 N is uncertain by the gain, too: 2 % of it with four degrees of freedom.
    expect(guessed.contrast?.dof ?? NaN).toBeLessThan(5);
    expect(known.contrast?.dof ?? Infinity).toBeGreaterThan(100);
  });

  test('of the leads come from their calibration', () => {
    const data = sweep({ dof_gain: 8, dof_offset: 7 });
    expect(inputDofs({ ...data, facts: { ...data.facts, dof_lead_resistance: 5 } })).toEqual({ thrust_gain: 8, thrust_offset: 7, lead_resistance: 5 });
  });
});

describe('a calibration outside its span', () => {
  const top = 1.25;

  test('is a flag on the run and on every metric that rests on the channel, and on no other', () => {
    const run = runMetrics(sweep({ span: { from: 0, to: 0.8 } }));
    const flag = run.flags.find((f) => f.startsWith('calibration of thrust outside its span'));
    expect(flag).toMatch(/it holds from 0 to 0\.8, \d+ samples reached as far as 1\.2\d+; calibrate over a wider range/);
    expect(thrustOf(run)?.flags).toContain(flag);
    expect(metricOf(run, 'full_throttle_current_A')?.flags).not.toContain(flag);
  });

  test('reaches the results of a campaign', () => {
    const made = makeCampaign({ a: [{}, {}], b: [{}, {}] }, { baseline: 'a' });
    const runs = made.runs.map((r) => ({ ...r, metrics: { ...runMetrics(sweep({ span: { from: 0, to: 0.8 } })), record_id: r.id } }));
    const metric = analyzeCampaign({ ...made, runs }).metrics.find((m) => m.key === 'full_throttle_thrust_N');
    expect(metric?.settings[0].estimate.flags.join()).toContain('calibration of thrust outside its span');
  });

  test('noise over an end of the span is none, nor are fewer than ten samples', () => {
    expect(runMetrics(sweep({ span: { from: 0, to: top * 1.01 } })).flags.join()).not.toContain('outside its span');
    const few = (n: number): RunChannel => ({ ...sweep({}).channels[0], kind: 'thrust', span: { from: 0, to: 1 }, value: Float64Array.from({ length: 100 }, (_, i) => (i < n ? 1.03 : 0.5)) });
    expect(outsideSpan([few(9)]).size).toBe(0);
    expect(outsideSpan([few(10)]).size).toBe(1);
    expect(outsideSpan([{ ...few(10), span: { from: 0, to: 1.02 } }]).size).toBe(0);
  });

  test('no calibration, no flag', () => {
    expect(outsideSpan(sweep({}).channels).size).toBe(0);
  });
});
