/**
 * What the calibrations of a run's channels say beside their standard uncertainties: how many degrees of freedom those have, and
 * whether the run stayed inside the span where they hold. Both are put on finished metrics, so that no metric can go without.
 */
import type { RunData, RunChannel } from '../run-data';
import { dofNumber } from '../stats/estimate';
import { combine, type BudgetInput, type Component } from '../stats/uncertainty';
import type { Effects, RunMetric } from './reading';

/** Degrees of freedom of instrument inputs by their names in {@link Effects}; an input that is not there counts as known. */
export type InputDofs = Readonly<Record<string, number>>;

/** Degrees of freedom of the calibrated inputs of a run. */
export function inputDofs({ channels, facts }: Pick<RunData, 'channels' | 'facts'>): InputDofs {
  const dofs: Record<string, number> = {};
  for (const { kind, dof_gain, dof_offset } of channels) {
    if (typeof dof_gain === 'number') dofs[`${kind}_gain`] = dof_gain;
    if (typeof dof_offset === 'number') dofs[`${kind}_offset`] = dof_offset;
  }
  if (typeof facts.dof_lead_resistance === 'number') dofs.lead_resistance = facts.dof_lead_resistance;
  return dofs;
}

/** Effects as components of a budget, each with the degrees of freedom of its input. */
export const componentsOf = (effects: Effects, dofs: InputDofs): BudgetInput[] =>
  Object.entries(effects).map(([name, effect]) => ({ name, u: Math.abs(effect), dof: dofs[name] ?? Infinity }));

/** The instruments' part of a value as one component (JCGM 100:2008, G.4.1). */
export function instrumentPart(effects: Effects, dofs: InputDofs): Component {
  const { u, dof } = combine(componentsOf(effects, dofs));
  return { u, dof: dofNumber(dof) };
}

/** The least degrees of freedom that any of several runs has for an input: all of one bench have the same calibration. */
export function leastDofs(all: readonly (InputDofs | undefined)[]): InputDofs {
  const least: Record<string, number> = {};
  for (const dofs of all) for (const [input, dof] of Object.entries(dofs ?? {})) least[input] = Math.min(least[input] ?? Infinity, dof);
  return least;
}

/**
 * A metric with the degrees of freedom of its calibrations: ν_eff = u⁴ / Σ u_i⁴/ν_i (JCGM 100:2008, eq. G.2b). What it had before
 * came from its scatter alone.
 */
export function withDofs(metric: RunMetric, dofs: InputDofs): RunMetric {
  const { u, dof, effects } = metric;
  const finite = Object.entries(effects).filter(([input, e]) => dofs[input] !== undefined && e !== 0);
  if (u === null || u === 0 || finite.length === 0) return metric;
  const before = dof === null ? 0 : u ** 4 / dof;
  const fourths = finite.reduce((sum, [input, e]) => sum + e ** 4 / dofs[input], before);
  return { ...metric, dof: u ** 4 / fourths };
}

/** Noise reaches over the end of a span; beyond it are so many samples, further than this share of the span. Rules of ours. */
const OUTSIDE = { samples: 10, share: 0.02 } as const;

/** Flags of the channels that left the span of their calibration, by channel kind. */
export function outsideSpan(channels: readonly RunChannel[]): ReadonlyMap<string, string> {
  const flags = new Map<string, string>();
  for (const { kind, span, value } of channels) {
    if (span === undefined) continue;
    const spare = OUTSIDE.share * (span.to - span.from);
    let beyond = 0;
    let least = Infinity;
    let most = -Infinity;
    for (const v of value) {
      if (v >= span.from - spare && v <= span.to + spare) continue;
      beyond++;
      least = Math.min(least, v);
      most = Math.max(most, v);
    }
    if (beyond < OUTSIDE.samples) continue;
    const reached = most > span.to ? most : least;
    flags.set(kind, `calibration of ${kind} outside its span: it holds from ${shown(span.from)} to ${shown(span.to)}, ${beyond} samples reached as far as ${shown(reached)}; calibrate over a wider range`);
  }
  return flags;
}

const shown = (v: number): string => String(Number(v.toPrecision(4)));

/** A metric with the flags of those channels that it rests on. */
export function withSpanFlags(metric: RunMetric, flags: ReadonlyMap<string, string>): RunMetric {
  if (flags.size === 0) return metric;
  const inputs = Object.keys(metric.effects);
  const own = [...flags].filter(([kind]) => inputs.some((i) => i.startsWith(`${kind}_`))).map(([, flag]) => flag);
  return own.length === 0 ? metric : { ...metric, flags: [...metric.flags, ...own] };
}
