// Plan inputs that several tests share: the demo campaign's shape with our own invented times.
import type { Factor } from '../../src/campaign/design';
import type { PlanInput, ProtocolUse } from '../../src/campaign/plan-input';

export const factorOf = (name: string, unit: string, values: readonly number[], apply: Factor['apply'] = 'rig'): Factor => ({
  name, apply, levels: values.map((value) => ({ text: `${value} ${unit}`, value })),
});
export const use = (protocol: string, part: Partial<ProtocolUse> = {}): ProtocolUse => ({
  label: protocol, protocol, params: {}, propeller: 'on', supply_V: null, duration_s: 12, bytes: 200_000, ...part,
});

export const KV = use('kv', { propeller: 'off', supply_V: 3, duration_s: 5, params: { supply: '3 V' } });

export const scout = (part: Partial<PlanInput> = {}): PlanInput => ({
  campaign: 'scout-settings', factors: [factorOf('switching_frequency', 'kHz', [22, 44, 88]), factorOf('timing_advance', 'deg', [0, 8, 16, 24])],
  design: { kind: 'full' }, protocols: [KV, use('thrust-curve'), use('response', { duration_s: 32 }), use('efficiency-hold', { duration_s: 4 })],
  repeats: 5, mountings: 1, visits: 1, seed: 7, shuffle: 'blocks', baselineEvery: 0, baseline: {}, nominal_V: 7.6,
  by: { propeller: 'rig', supply: 'supply', mounting: 'rig' },
  times: { rig_s: 0.1, supply_s: 0.5, command_s: 8, operator_s: 300, remount_s: 900, between_s: 20 }, inPlace: {}, ...part,
});

/** Processor time of some work, s: what other programs on the machine do does not count. */
export function cpuSeconds(work: () => void): number {
  const before = process.cpuUsage();
  work();
  const used = process.cpuUsage(before);
  return (used.user + used.system) / 1e6;
}
