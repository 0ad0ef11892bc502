// Goal: a campaign file, a rig and an article become the plan that they describe.
// Method: files as a person writes them, read by the model; the demo's campaign counted; hands as rig and article say.
import { readFileSync } from 'node:fs';
import { describe, expect, test } from 'vitest';
import { planInput } from '../../src/campaign/from-file';
import { planCampaign } from '../../src/campaign/plan';
import { PROPELLER, SUPPLY } from '../../src/campaign/plan-input';
import type { CampaignFile } from '../../src/model/files/campaign';
import { loadFile } from '../../src/model/load';
import { KV, use } from './inputs';

function campaign(more: string, factors = '{ switching_frequency: { levels: [22 kHz, 44 kHz, 88 kHz], apply: rig }, timing_advance: { levels: [0 deg, 8 deg, 16 deg, 24 deg], apply: rig } }'): CampaignFile {
  const loaded = loadFile('campaign', 'c.yaml', `spoolbench: 1\ncampaign: scout-settings\nrig: rig.yaml\narticle: article.yaml\nfactors: ${factors}\nprotocols: [kv, thrust-curve, response, efficiency-hold]\n${more}\n`);
  expect(loaded.problems).toEqual([]);
  return loaded.value as CampaignFile;
}

type RigPart = Parameters<typeof planInput>[1];
type ArticlePart = Parameters<typeof planInput>[2];
const rig = (link: 'twin' | 'serial', supply: 'twin' | 'manual'): RigPart => ({ link: { kind: link }, supply: { kind: supply, voltage_V: 7.6, settle_s: 0.2 } }) as unknown as RigPart;
const article = (settings: object = {}): ArticlePart => ({ propeller: { mounted: true }, esc: { settings }, nominal_voltage_V: 7.6 }) as unknown as ArticlePart;
const uses = [KV, use('thrust-curve'), use('response'), use('efficiency-hold')];

describe('the demo campaign', () => {
  test('is 240 runs in five blocks without hands on the twin, with the seed of the file', () => {
    const input = planInput(campaign('order: { seed: 7 }\nbetween_runs: { cool_until: { motor_temperature: 35 °C, within: 120 s }, rest: 2 s, zero: 1 s }'), rig('twin', 'twin'), article(), uses);
    const plan = planCampaign(input);
    expect(plan).toMatchObject({ campaign: 'scout-settings', seed: 7, estimate: { runs: 240, blocks: 5, hands_s: 0 } });
    expect(input.times.between_s).toBe(2 + 2 * 1);
    expect(planInput(campaign('between_runs: { rest: 2 s }'), rig('twin', 'twin'), article(), uses, 11).times.between_s).toBe(13);
  });

  test('on a rig with a manual supply a person is needed once, for propeller and supply together', () => {
    const plan = planCampaign(planInput(campaign(''), rig('serial', 'manual'), article(), uses));
    expect(plan.estimate.stretches.map((s) => s.hands.map((h) => `${h.name} ${h.from} to ${h.to}`))).toEqual([[], [`${PROPELLER} on to off`, `${SUPPLY} 7.6 V to 3 V`]]);
  });
});

describe('designs and factors', () => {
  test('in two mountings a person takes the motor off and on once, for as long as the file says; the twin does it itself', () => {
    const twice = campaign('repeats: 1\norder: { mountings: 2, mounting_takes: 10 min }');
    const byHand = planCampaign(planInput(twice, rig('serial', 'scpi' as 'twin'), article(), uses.slice(1)));
    expect(byHand.estimate.stretches.map((s) => s.hands.map((h) => `${h.name} ${h.from} to ${h.to}`))).toEqual([[], ['mounting_number 1 to 2']]);
    expect(byHand.estimate.hands_s).toBe(600);
    const alone = planCampaign(planInput(twice, rig('twin', 'twin'), article(), uses.slice(1)));
    expect([alone.mountings, alone.estimate.hands_s, alone.estimate.runs]).toEqual([2, 0, 72]);
    expect(alone.estimate.total_s).toBeCloseTo(byHand.estimate.total_s - 600, 6);
  });

  test('listed points find their levels however they are written', () => {
    const input = planInput(campaign('order: { plan: { kind: points, points: [{ switching_frequency: 22000 Hz, timing_advance: 8 deg }, { switching_frequency: 88 kHz, timing_advance: 0 deg }] }, shuffle: none }\nrepeats: 1'), rig('twin', 'twin'), article(), uses);
    expect(planCampaign(input).settings.map((s) => s.id)).toEqual(['switching_frequency-22kHz_timing_advance-8deg', 'switching_frequency-88kHz_timing_advance-0deg']);
  });

  test('one at a time starts from the baseline, or from the first levels where none is given', () => {
    const ids = (more: string): string[] => planCampaign(planInput(campaign(more), rig('twin', 'twin'), article(), uses)).settings.map((s) => Object.values(s.levels).map((l) => l.text).join(' '));
    expect(ids('order: { plan: { kind: one-at-a-time }, baseline: { switching_frequency: 44 kHz, timing_advance: 16 deg } }')).toEqual(['44 kHz 16 deg', '22 kHz 16 deg', '88 kHz 16 deg', '44 kHz 0 deg', '44 kHz 8 deg', '44 kHz 24 deg']);
    expect(ids('order: { plan: { kind: one-at-a-time } }')[0]).toBe('22 kHz 0 deg');
  });

  test('an operator factor takes its time from the file and starts from what the article says', () => {
    const factors = '{ timing_advance: { levels: [0 deg, 8 deg], apply: operator, takes: 90 s, checklist: [Set it] } }';
    const at8 = { timing_advance: { kind: 'quantity', dimension: 'angle', value: 8, text: '8.0 deg' } };
    const plan = planCampaign(planInput(campaign('', factors), rig('twin', 'twin'), article(at8), uses));
    expect(plan.runs[0].needsHands).toBe(false);
    expect(plan.runs[0].setting.levels.timing_advance.text).toBe('8 deg');
    expect(plan.estimate).toMatchObject({ hands_s: 90 });
    expect(planCampaign(planInput(campaign('', factors), rig('twin', 'twin'), article(), uses)).estimate.hands_s).toBe(180);
  });

  test('hard_to_change, baseline and shuffle are passed on', () => {
    const factors = '{ timing_advance: { levels: [0 deg, 8 deg, 16 deg], apply: rig, hard_to_change: true } }';
    const plan = planCampaign(planInput(campaign('order: { baseline: { timing_advance: 8 deg }, baseline_every: 20 }', factors), rig('twin', 'twin'), article(), uses));
    expect(plan.runs.filter((r) => r.kind === 'cell' && r.changes.some((c) => c.name === 'timing_advance'))).toHaveLength(2);
    expect(plan.runs.filter((r) => r.kind === 'baseline')).toHaveLength(1 + 60 / 20);
    const word = planCampaign(planInput(campaign('', '{ motor: { levels: [a, b], apply: operator, specimen: true, checklist: [Swap] } }'), rig('twin', 'twin'), article(), uses));
    expect(word.settings.map((s) => s.levels.motor)).toEqual([{ text: 'a', value: null }, { text: 'b', value: null }]);
  });
});

test('the example of the documentation page is a valid file and gives the runs that it shows', () => {
  const page = readFileSync(new URL('../../docs/campaigns.md', import.meta.url), 'utf8');
  const yaml = (/```yaml\n([\s\S]*?)```/.exec(page)?.[1] ?? '').replace(/^ {3}/gm, '');
  const loaded = loadFile('campaign', 'campaigns/scout-settings.yaml', yaml);
  expect(loaded.problems).toEqual([]);
  const plan = planCampaign(planInput(loaded.value as CampaignFile, rig('twin', 'twin'), article(), uses));
  expect(plan.runs.filter((r) => r.kind === 'cell')).toHaveLength(240);
  expect(plan.runs.filter((r) => r.kind === 'baseline')).toHaveLength(1 + 240 / 20);
});
