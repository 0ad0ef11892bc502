// What is wrong with the input of a plan, and labels for protocols used twice.
import { sameText } from './design';
import { MOUNTING, PROPELLER, type PlanInput } from './plan-input';

const RESERVED: readonly string[] = [PROPELLER, MOUNTING];

/** Everything that keeps a campaign from being planned, apart from its points. */
export function inputProblems(input: PlanInput): string[] {
  const problems: string[] = [];
  if (input.protocols.length === 0) problems.push('The campaign lists no protocols; give at least one.');
  const labels = input.protocols.map((p) => p.label);
  labels.forEach((label, i) => {
    if (labels.indexOf(label) < i) problems.push(`Two protocols are called "${label}"; give each a label of its own.`);
  });
  for (const p of input.protocols) {
    if (!(p.duration_s >= 0) || !(p.bytes >= 0)) problems.push(`Protocol "${p.label}" has a duration of ${p.duration_s} s and ${p.bytes} bytes; both must be known.`);
  }
  for (const f of input.factors) {
    if (RESERVED.includes(f.name)) problems.push(`A factor cannot be called "${f.name}": the plan uses that word itself.`);
    if (f.apply === 'supply' && f.levels.some((l) => l.value === null)) problems.push(`Factor "${f.name}" is set by the supply and needs voltages as levels.`);
  }
  if (input.factors.filter((f) => f.apply === 'supply').length > 1) problems.push('Two factors are set by the supply; a supply has one voltage.');
  for (const [name, text] of Object.entries(input.baseline)) {
    const factor = input.factors.find((f) => f.name === name);
    if (factor === undefined) problems.push(`The baseline names the factor "${name}"; accepted: ${input.factors.map((f) => f.name).join(', ') || 'none'}.`);
    else if (!factor.levels.some((l) => sameText(l.text, text))) problems.push(`The baseline puts ${name} at ${text}; accepted: ${factor.levels.map((l) => l.text).join(', ')}.`);
  }
  return problems;
}

/** Labels for protocols used more than once: `response`, `response-2`. */
export function labelsFor(names: readonly string[]): string[] {
  const taken = new Set(names);
  const count = new Map<string, number>();
  return names.map((name) => {
    let n = (count.get(name) ?? 0) + 1;
    let label = n === 1 ? name : `${name}-${n}`;
    while (n > 1 && taken.has(label)) label = `${name}-${++n}`;
    count.set(name, n);
    return label;
  });
}
