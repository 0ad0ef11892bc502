// Goal: the choice names a setting, its gain, its price and its rivals; constraints count only when settled; the flight adds up.
// Method: made-up campaigns whose right answer is plain, and figures worked by hand.
import { describe, expect, test } from 'vitest';
import { analyzeCampaign } from '../../src/analysis/campaign/analyze';
import { flightOf, hoverThrustOf } from '../../src/analysis/campaign/fly';
import type { CampaignInput } from '../../src/analysis/campaign/input';
import { matchOf } from '../../src/analysis/campaign/match';
import type { RunCurve } from '../../src/analysis/metrics/run-curve';
import type { Constraint, Margin } from '../../src/model/files/campaign-choice';
import type { Craft } from '../../src/model/files/craft';
import type { ResultCurve } from '../../src/model/results';
import { makeCampaign, madeMetrics, type MadeTable } from './make-campaign';

const share = (value: number): Margin => ({ kind: 'relative', value, text: `${100 * value} %` });
const ms = (value: number): Margin => ({ kind: 'absolute', dimension: 'time', value: value / 1000, text: `${value} ms` });
const spread = [-1, 1, 0, -0.5, 0.5];
/** Five repeats: hover power in W ± 0.2 %, fall time in ms ± 0.2 ms, desyncs. */
const setting = (power: number, fall: number, desyncs = 0) =>
  spread.map((s) => ({ power_at_hover_W: power * (1 + 0.002 * s), fall_t80_s: (fall + 0.2 * s) / 1000, desyncs }));
const least: CampaignInput['choice'] = { objective: { metric: 'power_at_hover_W', sense: 'least' }, constraints: [] };
const run = (table: MadeTable, constraints: readonly Constraint[], over: Partial<CampaignInput> = {}) =>
  analyzeCampaign(makeCampaign(table, { choice: { objective: { metric: 'power_at_hover_W', sense: 'least' }, constraints }, margins: { power_at_hover_W: share(0.01) }, ...over }));
const near: Constraint = { metric: 'fall_t80_s', kind: 'within', margin: ms(20) };
const noDesync: Constraint = { metric: 'desyncs', kind: 'at-most', bound: { kind: 'number', value: 0, text: '0' } };

describe('choice', () => {
  const table = { '22k': setting(8, 70), '44k': setting(7.4, 75), '88k': setting(7, 95), '176k': setting(6, 120) };

  test('the least power among those that meet the constraint, with gain, price and a checklist', () => {
    const c = run(table, [near]).choice;
    expect(c?.chosen).toBe('44k');
    expect(c?.gain?.relative).toBeCloseTo(-0.075, 3);
    expect(c?.price.map((p) => [p.key, p.contrast.verdict])).toEqual([['fall_t80_s', 'worse']]);
    expect(c?.checklist[0].what).toBe('Set f0 to 44k (was 22k)');
    expect(c?.checklist.map((k) => k.what).join()).toContain('Re-check fall by 80 %');
    expect(c?.sentences[0]).toContain('Take 44k');
  });
  test('without the constraint the last wins; the constraint alone rules it out, for a stated reason', () => {
    expect(run(table, []).choice?.chosen).toBe('176k');
    const out = run(table, [near]).choice?.candidates.find((k) => k.setting === '88k');
    expect(out).toMatchObject({ eligible: false });
    expect(out?.constraints[0].status).toBe('failed');
  });
  test('a constraint at its edge is not settled, and such a setting is not taken', () => {
    const edge = run({ '22k': setting(8, 70), '44k': setting(7.4, 90) }, [near]).choice;
    expect(edge?.candidates[1].constraints[0].status).toBe('open');
    expect(edge?.chosen).toBe('22k');
    expect(edge?.sentences[0]).toContain('Keep the baseline');
  });
  test('being better than the baseline by more than the margin is no offence', () => {
    expect(run({ '22k': setting(8, 100), '44k': setting(7.4, 50) }, [near]).choice?.chosen).toBe('44k');
  });
  test('no desyncs at all: one seen rules a setting out, none seen is all that can be asked', () => {
    expect(run({ '22k': setting(8, 70), '44k': setting(7, 70, 1) }, [noDesync]).choice?.chosen).toBe('22k');
    expect(run({ '22k': setting(8, 70), '44k': setting(7, 70) }, [noDesync]).choice?.chosen).toBe('44k');
  });
  // Exact Poisson limits of a mean (Garwood, Biometrika 28 (1936) 437; table values from memory): 0 events, at most 3.69; 1, 0.025 to 5.57; 10, 4.80 to 18.4; 20, 12.2 to 30.9.
  test.each([[[0, 0, 0, 0, 0], 'met'], [[1, 0, 0, 0, 0], 'open'], [[2, 2, 2, 2, 2], 'open'], [[4, 4, 4, 4, 4], 'failed']])('at most one desync a run, seen %j: %s', (seen, status) => {
    const rows = setting(7, 70).map((r, i) => ({ ...r, desyncs: (seen)[i] }));
    const c = run({ '22k': setting(8, 70), '44k': rows }, [{ metric: 'desyncs', kind: 'at-most', bound: { kind: 'number', value: 1, text: '1' } }]).choice;
    expect(c?.candidates[1].constraints[0]).toMatchObject({ status, detail: expect.stringContaining('a run over 5 runs') as unknown });
    expect(c?.chosen).toBe(status === 'met' ? '44k' : '22k');
  });
  test('the knee: within the margin of the best, the least level wins, and the best is named', () => {
    const c = run({ '22k': setting(8, 70), '44k': setting(7.03, 70), '88k': setting(7, 70) }, []).choice;
    expect(c?.chosen).toBe('44k');
    expect(c?.best).toBe('88k');
    expect(run({ '22k': setting(8, 70), '44k': setting(7.1, 70), '88k': setting(7, 70) }, []).choice?.chosen).toBe('88k');
  });
  test('runners-up are those that cannot be told from the chosen one', () => {
    expect(run({ '22k': setting(8, 70), '44k': setting(7.005, 70), '88k': setting(7, 70) }, []).choice?.runners_up).toEqual(['88k']);
  });
  test('when nothing meets the constraints there is no recommendation, but a reason', () => {
    const c = run(table, [{ metric: 'power_at_hover_W', kind: 'at-most', bound: { kind: 'quantity', dimension: 'power', value: 1, text: '1 W' } }]).choice;
    expect(c?.chosen).toBeNull();
    expect(c?.reason).toContain('Power at hover thrust at most 1 W, failed');
  });
  test('the answer has three sentences: gain with its interval, price, rivals', () => {
    const { sentences } = run({ '22k': setting(8, 70), '44k': setting(7.03, 72), '88k': setting(7, 75) }, [], { margins: { power_at_hover_W: share(0.01), fall_t80_s: ms(1) } }).choice ?? { sentences: [] };
    expect(sentences).toHaveLength(3);
    expect(sentences[0]).toMatch(/^Take 44k: power at hover thrust is 7\.03 W, 12\.1 % less than the baseline, 22k \(95 % interval of the difference −\S+ to −\S+ mW\)\.$/);
    expect(sentences[1]).toMatch(/^It costs elsewhere: fall by 80 % by \+\S+ to \+\S+ ms\.$/);
    expect(sentences[2]).toMatch(/^88k measured best, but 44k is within the margin of it and asks for less/);
  });
  test('a kept baseline that did not measure best does not claim that it did', () => {
    const [first, second] = run({ '22k': setting(7.03, 70), '44k': setting(7, 70) }, []).choice?.sentences ?? [];
    expect(first).toBe('Keep the baseline, 22k: no setting that meets the constraints has a better power at hover thrust by more than the margin than its 7.03 W.');
    expect(second).toMatch(/^44k measured best, but 22k is within the margin of it and asks for less/);
  });
  test('one repeat a setting recommends nothing and says why, in a plain sentence', () => {
    const c = run({ '22k': setting(8, 70).slice(0, 1), '44k': setting(7, 70).slice(0, 1) }, []).choice;
    expect(c).toMatchObject({ chosen: null, checklist: [], runners_up: [] });
    expect(c?.sentences).toEqual(['No setting is recommended: one repeat a setting gives values without intervals, and nothing tells a difference from scatter; 44k measured least (6.986 W).']);
  });
  test('figures of one kind are looked at again together', () => {
    const falls = (t: number) => spread.map((s) => ({ power_at_hover_W: t > 80 ? 7 + 0.01 * s : 8 + 0.01 * s, fall_t80_s: (t + 0.2 * s) / 1000, fall_t50_s: (0.6 * t + 0.2 * s) / 1000, fall_settling_s: (2 * t + 0.2 * s) / 1000 }));
    const c = run({ '22k': falls(70), '44k': falls(95) }, []).choice;
    expect(c?.checklist.filter((k) => k.what.startsWith('Re-check')).map((k) => k.what)).toEqual(['Re-check braking on the craft']);
    expect(c?.checklist.find((k) => k.what.startsWith('Re-check'))?.why).toMatch(/(?=.*settling, fall worse)(?=.*fall by 80 % worse)(?=.*fall to 50 % worse)/);
    expect(c?.sentences[1]).toContain('braking (');
  });
  test('an objective that no run gives is named', () => {
    const c = analyzeCampaign(makeCampaign({ a: [{ hold_rpm: 1 }] }, { choice: least })).choice;
    expect(c).toMatchObject({ chosen: null, reason: 'no run gives power_at_hover_W' });
  });
});

describe('throttle match', () => {
  const throttle = Array.from({ length: 46 }, (_, i) => 0.1 + 0.02 * i);
  const curve = (name: string, of: (x: number) => number): ResultCurve => ({
    setting: name, label: 'thrust-curve', source: 'sweep', runs: 5, throttle, thrust_N: { mean: throttle.map(of), u: throttle.map(() => null) }, speed_rpm: null, current_A: null, power_W: null, efficacy_N_per_W: null,
  });
  const square = (x: number): number => 1.25 * x * x;
  test('two equal curves need no expo', () => {
    const m = matchOf(curve('a', square), curve('b', square));
    expect(m?.expo).toBeCloseTo(0, 6);
    expect(m?.worst_uncompensated).toBe(0);
  });
  test('a curve that is the old one behind an expo of 0.2 is brought back by the inverse: new throttle lies above old', () => {
    const m = matchOf(curve('a', square), curve('b', (x) => square(0.8 * x + 0.2 * x ** 3)));
    expect(m?.direction).toBe('old throttle → new throttle');
    expect(m?.expo).toBeLessThan(-0.1);
    for (const r of m?.rows ?? []) if (r.new !== null && r.old > 0.15 && r.old < 0.95) expect(r.new).toBeGreaterThan(r.old);
    expect(m?.worst_error ?? 1).toBeLessThan(0.4 * (m?.worst_uncompensated ?? 0));
  });
  test('a curve that stops short of full throttle gives the reason', () => {
    const short = curve('b', square);
    expect(matchOf(curve('a', square), { ...short, throttle: short.throttle.map((x) => x * 0.9) })?.reason).toContain('full throttle');
  });
});

describe('in the air', () => {
  const craft: Craft = {
    name: 'made', about: null, mass_kg: 0.16, rotors: 4, battery: { energy_Wh: 6, cells: 2, nominal_cell_V: 3.7, sag: 0.05, usable: 0.8, mass_kg: null }, avionics_W: 2, installed_loss: 0.06, installed_loss_u: 0,
  };
  const throttle = Array.from({ length: 46 }, (_, i) => 0.1 + 0.02 * i);
  /** Thrust 1.2·x, power 20·x: straight lines, so that every figure can be worked by hand. */
  const made = (k: number): RunCurve => ({
    source: 'sweep', throttle, values: { thrust_N: throttle.map((x) => 1.2 * x), power_W: throttle.map((x) => 20 * x * k), speed_rpm: null, current_A: null },
    scatter: { thrust_N: null, power_W: null, speed_rpm: null, current_A: null }, instruments: {}, voltage_V: 7.6, flags: [],
  });
  const input = (n: number): CampaignInput => {
    const base = makeCampaign({ a: Array.from({ length: n }, () => ({ full_throttle_thrust_N: 1.2 })) }, { craft });
    return { ...base, runs: base.runs.map((r, i) => ({ ...r, metrics: madeMetrics(r.id, { full_throttle_thrust_N: 1.2 }, { curve: made(1 + 0.01 * (spread[i] ?? 0)) }) })) };
  };
  const need = (0.16 * 9.80665) / 4 / 0.94; // 0.41730 N a rotor on the stand
  test('hover thrust, throttle, power, endurance and margin are those worked by hand', () => {
    expect(hoverThrustOf(craft)).toBeCloseTo(need, 12);
    const f = flightOf(input(5), craft, 'a');
    const watts = (4 * 20 * need) / 1.2 + 2; // 29.82 W
    expect(f.hover_throttle.value).toBeCloseTo(need / 1.2, 6);
    expect(f.hover_power_W.value).toBeCloseTo(watts, 6);
    expect(f.endurance_min.value).toBeCloseTo((60 * 6 * 0.8 * 0.95) / watts, 6); // 9.17 min
    expect(f.thrust_margin.value).toBeCloseTo(1.2 / need, 9);
    expect(f.endurance_min.interval.lower).toBeLessThan(f.endurance_min.value ?? 0);
    expect(f.sentences.join(' ')).toContain('no forward flight');
  });
  test('an uncertain installed loss widens hover power by its share: power goes with thrust here', () => {
    const plain = flightOf(input(5), craft, 'a').hover_power_W.u ?? 0;
    const u = flightOf(input(5), { ...craft, installed_loss_u: 0.02 }, 'a').hover_power_W.u ?? 0;
    expect(Math.sqrt(u * u - plain * plain)).toBeCloseTo(((4 * 20 * need) / 1.2) * (0.02 / 0.94), 3);
  });
  test('one run gives values without intervals, in words', () => {
    const f = flightOf(input(1), craft, 'a');
    expect(f.endurance_min.value).not.toBeNull();
    expect(f.endurance_min.u).toBeNull();
    expect(f.sentences[1]).toContain('no interval');
  });
  test('a setting without a thrust curve says so', () => {
    const bare = makeCampaign({ a: [{ hold_rpm: 1 }] }, { craft });
    const f = analyzeCampaign(bare).flight[0];
    expect(f.hover_power_W.value).toBeNull();
    expect(f.sentences[0]).toContain('unknown');
  });
});
