// What hard steps say about the supply, and what the stand's own resonance means for the speed range.
import type { StiffnessNote } from '../run-watch';
import { tapResponse, SAMPLES_A_PERIOD } from '../../analysis/commissioning/tap';
import { channelOf, withRole, type RunData } from '../../analysis/run-data';
import type { Article, Rig } from '../../model/files';
import type { Finding } from '../../model/rig-check';
import { formatNumber, formatQuantity } from '../../units';
import { notChecked, pass, warn } from './finding';

/** A supply that dips by more than this share under the steps is not stiff. Rule of ours. */
const DIP_WITHIN = 0.1;
/** Braking may lift the bus to this share of the over-voltage limit. Rule of ours. */
const RISE_WITHIN = 0.95;
/** A rotor passes the resonance once a revolution; speeds this near to it are named. */
const NEAR = 0.1;

const STIFF = 'Supply is stiff: dip under a step, rise on braking';
const RESONANCE = 'Natural frequency of the stand';

export function stiffnessFinding(note: StiffnessNote | null, rig: Rig, supply_V: number): Finding {
  if (note === null) return notChecked('stiffness', STIFF, 'current or voltage is not measured');
  const dip = 1 - note.lowest_V / supply_V;
  const rise = note.highest_V / supply_V - 1;
  const values = { dip, rise, peak_A: note.peak_A, source_ohm: note.source_ohm };
  const found = `${formatQuantity(note.peak_A, 'current', { digits: 3 })} peak: lowest ${formatQuantity(note.lowest_V, 'voltage')} (${formatNumber(-100 * dip, 2)} %), highest ${formatQuantity(note.highest_V, 'voltage')} (+${formatNumber(100 * rise, 2)} %)${note.source_ohm === null ? '' : `, source ${formatQuantity(note.source_ohm, 'resistance', { digits: 2 })}`}`;
  if (dip > DIP_WITHIN) return warn('stiffness', STIFF, found, 'shorter and thicker leads, a capacitor at the ESC, or a battery beside the supply; else every setting is tested at another voltage', values);
  if (note.highest_V > RISE_WITHIN * rig.limits.voltage_high.above_V) return warn('stiffness', STIFF, found, 'braking lifts the bus close to the limit: a sink that holds a lower voltage', values);
  return pass('stiffness', STIFF, found, '', values);
}

/** Why a tap cannot show this rig's resonance; null when it can. */
export function tapProblem(rig: Rig): string | null {
  const cell = rig.channels.find((c) => c.kind === 'thrust');
  if (cell === undefined) return 'thrust is not measured';
  const rate_Hz = 1e6 / cell.period_us;
  const declared = cell.natural_frequency_Hz;
  if (declared !== null && rate_Hz < SAMPLES_A_PERIOD * declared) {
    return `the load cell gives ${formatNumber(rate_Hz, 3)} samples a second; a resonance at ${formatNumber(declared, 3)} Hz needs ${formatNumber(SAMPLES_A_PERIOD * declared, 3)} at least`;
  }
  return null;
}

/** From the tap when there was one, else from what the rig file declares. */
export function resonanceFinding(data: RunData | null, rig: Rig, article: Article, supply_V: number): Finding {
  const declared = rig.channels.find((c) => c.kind === 'thrust')?.natural_frequency_Hz ?? null;
  const tapped = data === null ? null : ofTap(data);
  const problem = data === null ? tapProblem(rig) : tapped?.ok === false ? tapped.reason : null;
  const frequency = tapped?.ok === true ? tapped.frequency_Hz : declared;
  if (frequency === null) return notChecked('resonance', RESONANCE, problem ?? 'nobody tapped the stand, and the rig file declares none', 'tap the stand beside the load cell when asked, or declare natural_frequency');
  const source = tapped?.ok === true
    ? `${formatNumber(frequency, 3)} Hz by ${tapped.cycles} oscillations after a tap, damping ${formatNumber(100 * tapped.damping, 2)} %`
    : `${formatNumber(frequency, 3)} Hz as declared${problem === null ? '' : ` (not tapped: ${problem})`}`;
  const critical_rpm = 60 * frequency;
  const fastest = article.motor.kv_rpm_per_V * supply_V;
  const found = `${source}; once a revolution that is ${formatNumber(critical_rpm, 4)} rpm`;
  const values = { frequency_Hz: frequency, critical_rpm, damping: tapped?.ok === true ? tapped.damping : null };
  if (declared !== null && tapped?.ok === true && Math.abs(frequency / declared - 1) > NEAR) {
    return warn('resonance', RESONANCE, `${found}; the rig file declares ${formatNumber(declared, 3)} Hz`, `write natural_frequency: ${formatQuantity(frequency, 'frequency', { digits: 3 })} into the rig file`, values);
  }
  if (critical_rpm > fastest) return pass('resonance', RESONANCE, `${found}, above the fastest this drive can turn (${formatNumber(fastest, 3)} rpm)`, '', values);
  return warn('resonance', RESONANCE, `${found}, inside the range of this drive`, `hold no level between ${formatNumber(critical_rpm * (1 - NEAR), 3)} and ${formatNumber(critical_rpm * (1 + NEAR), 3)} rpm; a stiffer stand moves it up`, values);
}

function ofTap(data: RunData) {
  const segment = withRole(data, 'check-rest').at(0);
  const cell = channelOf(data, 'thrust');
  if (segment === undefined || cell === null) return null;
  return tapResponse(cell.t_s, cell.value, segment.start_s + QUIET_S);
}

/** Nobody taps so soon after being asked, s. */
const QUIET_S = 1;
