// Is the supply what it was set to, and as stiff as it was? Looked at before every run and after it.
import { showsLimiting } from '../model/supply-limiting';
import type { Rig } from '../model/files';
import type { StiffnessNote } from './run-watch';
import type { SupplyReading } from './supply-port';

/** Where the rig file does not say (`arm_when.supply_within`), the bus at rest may lie this far from what was set. Rule of ours. */
const USUAL_TOLERANCE = 0.05;
/** Source resistance that has grown by more than half and by more than 10 mΩ is worth a word: a lead or plug has worked loose. Rule of ours. */
const SOFTER_BY = { share: 0.5, ohm: 0.01 };
/** A dip of more than this share of the voltage at rest shifts every figure that depends on voltage. Rule of ours. */
const DEEP_DIP = 0.1;

/**
 * Why no run may follow with this bus voltage at rest; null when all is well or nothing is known.
 * @param meters what the supply's own meters say, where it can be asked
 */
export function supplyProblem(at_rest_V: number | null, set_V: number, rig: Rig, meters: SupplyReading | null = null): string | null {
  const within = rig.arm_when?.supply_within ?? USUAL_TOLERANCE;
  const accepted = `(accepted: ${(100 * within).toFixed(0)} %)`;
  const off = (volts: number): number => volts / set_V - 1;
  if (meters !== null && (meters.limiting || showsLimiting(meters.current_A, meters.voltage_V, rig.supply.current_limit_A, set_V))) {
    return `The supply holds its current limit while nothing turns: ${meters.current_A.toFixed(3)} A at ${meters.voltage_V.toFixed(3)} V. Look for a short circuit before anything else, then at supply.current_limit.`;
  }
  if (meters !== null && Math.abs(off(meters.voltage_V)) > within) {
    return `The supply was set to ${set_V} V and measures ${meters.voltage_V.toFixed(3)} V itself, ${percent(off(meters.voltage_V))} off ${accepted}. Look at its display: output off, or another output?`;
  }
  if (at_rest_V === null || Math.abs(off(at_rest_V)) <= within) return null;
  const told = meters === null ? '' : ` The supply itself measures ${meters.voltage_V.toFixed(3)} V.`;
  return `The bus stands at ${at_rest_V.toFixed(3)} V at rest, ${percent(off(at_rest_V))} from the ${set_V} V that were set ${accepted}.${told} Look at the supply, its leads and the voltage sense.`;
}

/** Remembers how stiff the supply was for each protocol, and says when it has become softer or lets the bus move too far. */
export class Stiffness {
  private readonly first = new Map<string, number>();
  private readonly told = new Set<string>();

  /** @param sinkHolds_V voltage above which the rig's sink lets nothing rise; null when it has none */
  constructor(private readonly sinkHolds_V: number | null = null) {}

  /** Sentences for a person about a run that has ended. What only shows how the bench is made is said once a protocol. */
  take(protocol: string, note: StiffnessNote | null): string[] {
    if (note === null) return [];
    return [...this.softer(protocol, note), ...this.once(`dip ${protocol}`, dipText(protocol, note)), ...this.once(`rise ${protocol}`, this.riseText(note)), ...limitingText(note)];
  }

  private softer(protocol: string, note: StiffnessNote): string[] {
    const now = note.source_ohm;
    if (now === null) return [];
    const then = this.first.get(protocol);
    if (then === undefined) this.first.set(protocol, now);
    if (then === undefined || now - then < SOFTER_BY.ohm || now < then * (1 + SOFTER_BY.share)) return [];
    return [`The supply has become softer: ${(1000 * now).toFixed(0)} mΩ in this run, ${(1000 * then).toFixed(0)} mΩ in the first ${protocol}. Look at plugs and leads.`];
  }

  private riseText(note: StiffnessNote): string | null {
    if (this.sinkHolds_V === null || note.highest_V <= this.sinkHolds_V) return null;
    return `Braking raised the bus to ${note.highest_V.toFixed(2)} V, ${note.rise_V.toFixed(2)} V above rest: the sink was said to hold ${this.sinkHolds_V} V. Look at the sink and its leads.`;
  }

  private once(key: string, text: string | null): string[] {
    if (text === null || this.told.has(key)) return [];
    this.told.add(key);
    return [text];
  }
}

function dipText(protocol: string, note: StiffnessNote): string | null {
  if (note.rest_V === null || note.dip_V <= DEEP_DIP * note.rest_V) return null;
  return `The bus dipped by ${note.dip_V.toFixed(2)} V (${percent(note.dip_V / note.rest_V)}) at ${note.peak_A.toFixed(1)} A in ${protocol}: figures at full throttle are those of a lower voltage. A stiffer supply, shorter leads or a battery beside it help.`;
}

function limitingText(note: StiffnessNote): string[] {
  if (note.limiting_rows === 0) return [];
  return [`The supply was at its current limit in ${note.limiting_rows} rows (${(1000 * note.limiting_s).toFixed(0)} ms) of this run; they are marked in its record. Raise supply.current_limit, or drive less.`];
}

function percent(share: number): string {
  return `${(100 * share).toFixed(1)} %`;
}
