// From what the rig file declares and the calibrations say to the facts that a record keeps.
import { COLUMN_OF, type ChannelFact, type Conversion } from './channel';
import { countRange } from './converters';
import type { Calibration } from './files/calibration';
import type { Rig } from './files/rig';
import type { RigChannel } from './files/rig-channels';

/** The newest calibration of a channel of this rig, whether expired or not; null when there is none. */
export function calibrationOf(rig: Rig, channel: Calibration['channel'], calibrations: readonly Calibration[]): Calibration | null {
  return calibrations
    .filter((c) => c.rig === rig.name && c.channel === channel)
    .reduce<Calibration | null>((newest, c) => (newest === null || c.date > newest.date ? c : newest), null);
}

/**
 * The channels of a rig in the order of their ids (the order of CHANNEL_KINDS). A calibration of this rig replaces the
 * declared gain, zero and uncertainty of its channel.
 */
export function channelFacts(rig: Rig, calibrations: readonly Calibration[] = []): ChannelFact[] {
  return rig.channels.map((channel, id) => {
    const calibration = calibrationOf(rig, channel.kind, calibrations);
    return {
      id,
      kind: channel.kind,
      column: COLUMN_OF[channel.kind],
      period_us: channel.period_us,
      conversion: conversionOf(channel, calibration),
      u_gain: calibration?.u_gain ?? channel.u_gain,
      u_offset: calibration?.u_offset ?? channel.u_offset,
      ...calibrated(calibration),
      filter_Hz: channel.filter_Hz,
      averaged: channel.averages,
      placement: channel.placement,
    };
  });
}

/** What only a calibration tells: degrees of freedom (the file's for the gain; of the fit for what the law leaves over) and span. */
function calibrated(calibration: Calibration | null): Pick<ChannelFact, 'dof_gain' | 'dof_offset' | 'span'> {
  if (calibration === null) return {};
  const { degrees_of_freedom, points, law, span } = calibration;
  const fitted = points.length - (law.kind === 'quadratic' ? 3 : law.kind === 'linear' ? 2 : 1);
  const offset = fitted > 0 ? fitted : degrees_of_freedom;
  return { ...(degrees_of_freedom === null ? {} : { dof_gain: degrees_of_freedom }), ...(offset === null ? {} : { dof_offset: offset }), span };
}

/** Lead resistance in ohm and its relative standard uncertainty: calibrated, else as declared. */
export function leadResistance(rig: Rig, calibrations: readonly Calibration[] = []): { readonly value_ohm: number; readonly u: number } {
  const calibration = calibrationOf(rig, 'lead_resistance', calibrations);
  if (calibration?.law.kind === 'constant') return { value_ohm: calibration.law.value, u: calibration.u_gain };
  return { value_ohm: rig.lead_resistance_ohm, u: 0 };
}

/** Values that the channel can show, in SI: the calibration's span, else the declared one, else what its converter can; null when nothing says. */
export function spanOf(rig: Rig, channel: RigChannel, calibrations: readonly Calibration[] = []): { readonly from: number; readonly to: number } | null {
  return calibrationOf(rig, channel.kind, calibrations)?.span ?? channel.span ?? converterSpan(channel);
}

function converterSpan(channel: RigChannel): { readonly from: number; readonly to: number } | null {
  const range = countRange(channel);
  if (range === null) return null;
  const ends = [range.from, range.to].map((counts) => (counts - channel.zero) * channel.gain);
  return { from: Math.min(...ends), to: Math.max(...ends) };
}

function conversionOf(channel: RigChannel, calibration: Calibration | null): Conversion {
  const law = calibration?.law;
  if (channel.kind === 'speed') {
    return { law: 'period', unit_s: channel.gain, pole_pairs: channel.pole_pairs ?? 1, c1: law?.kind === 'factor' ? law.factor : 1 };
  }
  if (law?.kind === 'linear' || law?.kind === 'quadratic') return { law: 'linear', zero: law.zero, c0: law.offset, c1: law.slope, c2: law.curve };
  return { law: 'linear', zero: channel.zero, c0: 0, c1: channel.gain, c2: 0 };
}
