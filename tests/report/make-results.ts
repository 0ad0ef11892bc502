// Results of a small made-up campaign, always marked simulated unless a test says otherwise: two factors, a few metrics.
import type { Contrast, Results, ResultMetric } from '../../src/model/results';
import { resultsSchema } from '../../src/model/results';
import { CATALOGUE, type MetricName } from '../../src/analysis/metrics/catalogue';

export type Making = {
  readonly factors?: Readonly<Record<string, readonly string[]>>;
  readonly repeats?: number;
  readonly metrics?: readonly MetricName[];
  readonly baseline?: boolean;
  readonly choice?: boolean;
  readonly simulated?: boolean;
  readonly usable?: boolean;
  readonly campaign?: string;
  readonly runs?: number;
};

const SIZES: Readonly<Partial<Record<MetricName, number>>> = {
  full_throttle_rpm: 26_700, full_throttle_thrust_N: 1.22, power_at_hover_W: 7.1, rise_t80_s: 0.063, fall_t80_s: 0.077, desyncs: 1, hold_efficacy_N_per_W: 0.054,
};
const VERDICTS: readonly Contrast['verdict'][] = ['better', 'worse', 'same', 'open', 'different'];

/** A fixed wobble in −1..1 that looks like scatter. */
const wobble = (i: number, k: number): number => Math.sin(12.9898 * (i + 1) + 78.233 * (k + 1));

/** Makes results that the schema accepts. */
export function makeResults(making: Making = {}): Results {
  const { factors = { switching_frequency: ['22 kHz', '44 kHz'], timing_advance: ['0 deg', '8 deg', '16 deg'] }, repeats = 3, usable = true, simulated = true, campaign = 'made-up', choice = true } = making;
  const names: readonly MetricName[] = making.metrics ?? ['full_throttle_rpm', 'full_throttle_thrust_N', 'power_at_hover_W', 'rise_t80_s', 'fall_t80_s', 'desyncs', 'hold_efficacy_N_per_W'];
  let levels: Record<string, string>[] = [{}];
  for (const [factor, values] of Object.entries(factors)) levels = levels.flatMap((l) => values.map((v) => ({ ...l, [factor]: v })));
  const settings = levels.map((l, i) => ({ id: `s${i}`, text: Object.values(l).join(', ') || 'as it is', levels: l, desyncs: 0, runs: usable ? repeats : 0 }));
  const baseline = making.baseline === false ? null : 's0';
  const chosen = usable && choice ? settings[settings.length - 1].id : null;
  const metrics = usable ? names.map((name, k) => metric(name, k, settings.map((s) => s.id), repeats, baseline, Object.keys(factors))) : [];
  const count = making.runs ?? settings.length * repeats;
  return resultsSchema.parse({
    spoolbench_results: 1, campaign, simulated, confidence: 0.95, estimand: 'this mounting', baseline, provenance: { rig: 'made-up-stand', article: 'made-up', fingerprint: 'ab12', order_seed: 7, rig_seed: null },
    factors: Object.entries(factors).map(([name, values]) => ({ name, levels: [...values] })), settings,
    answer: usable ? ['Take the last setting.', 'It saves 3 %.', 'It costs nothing.', 'A fourth sentence.'] : ['No run can be used, so there is no verdict.'],
    metrics, curves: usable ? settings.map((s, i) => curve(s.id, i, repeats)) : [], steps: usable ? settings.flatMap((s, i) => [step(s.id, 'rise', i, repeats), step(s.id, 'fall', i, repeats)]) : [],
    choice: !choice ? null : {
      objective: 'least power at hover thrust', chosen, best: null, reason: chosen === null ? 'no run can be used' : null, sentences: ['Take it.'], gain: null, price: [], runners_up: [],
      candidates: settings.map((s) => ({ setting: s.id, eligible: usable, objective: usable ? 7 : null, constraints: [{ metric: 'fall_t80_s', text: 'fall_t80_s within 20 ms of the baseline', status: usable ? 'met' : 'none', detail: 'made up' }], reason: usable ? null : 'no usable repeats' })),
      checklist: chosen === null ? [] : [{ what: 'Set timing_advance to 16 deg (was 0 deg)', why: 'least power' }],
    },
    match: usable && choice && settings.length > 1 ? {
      from: 's0', to: settings[settings.length - 1].id, direction: 'old throttle → new throttle', quantity: 'thrust', expo: 0.1, expo_limited: false, rms_error: 0.01, worst_error: 0.02, worst_uncompensated: 0.05,
      rows: [0, 0.25, 0.5, 0.75, 1].map((old) => ({ old, response: old * old, new: old === 1 ? null : old * 1.02, error: old === 1 ? null : 0.01 * old, reason: old === 1 ? 'out of reach' : null })), reason: null,
    } : null,
    flight: usable && choice ? [{ craft: 'made-up-craft', setting: 's0', hover_throttle: estimate(0.5, 0.01, '1'), hover_power_W: estimate(33, 0.3, 'W'), endurance_min: estimate(8, 0.1, 'min'), thrust_margin: estimate(2.7, 0.1, '1'), sentences: ['It hovers.'] }] : [],
    closest: usable ? [{ limit: 'voltage_high', ratio: 0.93, value: 8.4, bound: 9, unit: 'V', run: '0001' }, { limit: 'thrust', ratio: 0.5, value: 1.2, bound: 2.4, unit: 'N', run: '0002' }] : [],
    runs: Array.from({ length: count }, (_, i) => ({
      id: `${String(i + 1).padStart(4, '0')}-thrust-curve-${settings[i % settings.length].id}`, index: i + 1, label: 'thrust-curve', setting: settings[i % settings.length].id, repeat: Math.floor(i / settings.length) + 1, mounting: 1, block: 1, kind: 'cell',
      status: usable ? 'used' : 'left-out', reason: usable ? null : 'tripped: CURRENT_PEAK', file: `runs/${i + 1}.mcap`, sha256: 'c3'.repeat(32), desyncs: 0, flags: i === 0 ? ['3 of 10 samples were impossible and are left out'] : [],
    })),
    foreign: [], notes: [],
  });
}

function estimate(value: number | null, u: number | null, unit: string, reason: string | null = null) {
  const whole = value !== null && u !== null;
  return {
    value, unit, u, dof: whole ? 4 : null, method: 'made up', estimand: 'this mounting', flags: [], reason,
    interval: { confidence: 0.95, lower: whole ? value - 2.8 * u : null, upper: whole ? value + 2.8 * u : null, reason: whole ? null : reason ?? 'one repeat has no interval' },
  };
}

function metric(name: MetricName, k: number, settings: readonly string[], repeats: number, baseline: string | null, factors: readonly string[]): ResultMetric {
  const fact = CATALOGUE.find((m) => m.name === name) ?? CATALOGUE[0];
  const size = SIZES[name] ?? 1;
  const values = settings.map((s, i) => ({
    setting: s, n: repeats, sd: repeats > 1 ? 0.001 * size : null, type_a: repeats > 1 ? 0.001 * size : null, type_b: 0.002 * size, remount: null,
    estimate: estimate(size * (1 + 0.01 * i), repeats > 1 ? 0.0022 * size : null, fact.unit, repeats > 1 ? null : 'one repeat has no spread'),
    values: Array.from({ length: repeats }, (_, r) => ({ run: `${i}-${r}`, value: size * (1 + 0.01 * i + 0.001 * wobble(i, r)), used: size * (1 + 0.01 * i + 0.001 * wobble(i, r)) })),
  }));
  const open = repeats < 2;
  const contrasts = baseline === null ? [] : settings.filter((s) => s !== baseline).map((setting, i): Contrast => {
    const verdict = open ? 'none' : VERDICTS[(i + k) % VERDICTS.length];
    const reason = open ? 'one repeat a setting: nothing to judge the difference by' : null;
    return {
      setting, against: baseline, difference: open ? null : 0.01 * (i + 1) * size, relative: open ? null : 0.01 * (i + 1), u: open ? null : 0.002 * size, dof: open ? null : 8,
      interval: { confidence: 0.95, lower: open ? null : 0.005 * size, upper: open ? null : 0.015 * size, reason }, p: open ? null : 0.01, p_metrics: open ? null : 0.02, method: 'made up', margin: 0.02 * size, p_equivalence: null,
      verdict, text: open ? `no verdict: ${reason ?? ''}` : verdict, more_repeats: verdict === 'open' ? 4 : null, reason,
    };
  });
  const effect = { dof: 1, mean_square: 1, f: 12.5, p: 0.002 };
  return {
    key: name, name, title: fact.title, unit: fact.unit, shown: fact.shown, better: fact.better, definition: fact.definition, label: 'thrust-curve', of_interest: true, margin: 0.02 * size, margin_text: '2 %',
    settings: values, pooling: 'no sign of different scatter', contrasts, pairs: [],
    factorial: factors.length < 2 ? null : { factors: [...factors], main: factors.map((factor) => ({ factor, effect })), interaction: open ? null : effect, error: null, levels: [], reason: open ? 'one repeat' : null },
    drift: { runs: baseline === null ? 0 : repeats, end_to_end: repeats > 2 ? 0.001 * size : null, interval: repeats > 2 ? { confidence: 0.95, lower: -0.002 * size, upper: 0.004 * size, reason: null } : null, p: repeats > 2 ? 0.4 : null, removed: false, reason: 'nothing is taken out', points: baseline === null ? [] : Array.from({ length: repeats }, (_, r) => ({ index: 1 + r * settings.length, value: size * (1 + 0.001 * wobble(0, r)) })) },
    notes: [],
  };
}

function curve(setting: string, i: number, runs: number): Results['curves'][number] {
  const throttle = Array.from({ length: 19 }, (_, k) => 0.1 + 0.05 * k);
  const band = (of: (x: number) => number) => ({ mean: throttle.map((x) => of(x) * (1 + 0.01 * i)), u: throttle.map((x) => (runs > 1 ? 0.003 * of(x) : null)) });
  return { setting, label: 'thrust-curve', source: 'sweep', runs, throttle, thrust_N: band((x) => 1.2 * x * x), speed_rpm: band((x) => 26_000 * x ** 0.8), current_A: null, power_W: band((x) => 30 * x ** 2.4), efficacy_N_per_W: band((x) => 0.06 - 0.02 * x) };
}

function step(setting: string, direction: 'rise' | 'fall', i: number, runs: number): Results['steps'][number] {
  const t_s = Array.from({ length: 150 }, (_, k) => -0.02 + 0.002 * k);
  return { setting, label: 'response', direction, runs, t_s, fraction: t_s.map((t) => (t < 0 ? 0 : 1 - Math.exp(-t / (0.03 + 0.002 * i)))) };
}
