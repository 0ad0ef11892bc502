/** staircase: the steady-state curve from held levels. */
import { isotonic } from '../curves/isotonic';
import { channelOf, withRole, type RunData } from '../run-data';
import { absent, electrical, found, meanReading, thrustReading, type Maybe, type Span, type ThrustZero } from './common';
import { instrumentsOf, type CurveQuantity, type RunCurve } from './run-curve';

/** Part of a level that is left out when its tags do not say, as a share. */
const DISCARD = 0.5;

/** The curve through all levels, several visits of one level averaged; or why there is none. */
export function staircaseCurve(data: RunData, zero: ThrustZero): Maybe<RunCurve> {
  const levels = withRole(data, 'level').filter((s) => s.segment.tags?.level !== undefined && s.ended === 'time');
  const visits = new Map<number, Span[]>();
  for (const { segment, start_s, end_s } of levels) {
    if (segment.kind !== 'level') continue;
    const discard = segment.tags?.discard_s ?? DISCARD * (end_s - start_s);
    visits.set(segment.throttle, [...(visits.get(segment.throttle) ?? []), { from_s: start_s + discard, to_s: end_s }]);
  }
  const throttle = [...visits.keys()].sort((a, b) => a - b);
  if (throttle.length < 2) return absent(`${throttle.length} levels were played to their end; a curve needs two or more`);
  const flags = [...zero.flags];
  const read: Record<CurveQuantity, (span: Span) => Maybe<number>> = {
    thrust_N: (span) => valueOf(thrustReading(data, zero, span)),
    speed_rpm: (span) => valueOf(meanReading(data, 'speed', span)),
    current_A: (span) => valueOf(meanReading(data, 'current', span)),
    power_W: (span) => { const e = electrical(data, span); return e.ok ? found(e.value.power.value) : e; },
  };
  const quantity = (name: CurveQuantity): number[] | null => {
    const values: number[] = [];
    for (const x of throttle) {
      const means = (visits.get(x) ?? []).map(read[name]);
      const good = means.flatMap((m) => (m.ok ? [m.value] : []));
      if (good.length === 0) {
        flags.push(`${name} at ${(100 * x).toFixed(1)} %: ${means.flatMap((m) => (m.ok ? [] : [m.reason]))[0] ?? 'nothing measured'}`);
        return null;
      }
      values.push(good.reduce((a, b) => a + b, 0) / good.length);
    }
    return Array.from(isotonic(values));
  };
  const voltage = channelOf(data, 'voltage');
  const volts = voltage === null ? [] : throttle.flatMap((x) => (visits.get(x) ?? []).flatMap((span) => { const e = electrical(data, span); return e.ok ? [e.value.voltage.value] : []; }));
  return found({
    source: 'staircase', throttle,
    values: { thrust_N: quantity('thrust_N'), speed_rpm: quantity('speed_rpm'), current_A: quantity('current_A'), power_W: quantity('power_W') },
    scatter: { thrust_N: null, speed_rpm: null, current_A: null, power_W: null },
    instruments: instrumentsOf(data, zero), voltage_V: volts.length === 0 ? null : volts.reduce((a, b) => a + b, 0) / volts.length, flags,
  });
}

const valueOf = (m: Maybe): Maybe<number> => (m.ok ? found(m.value.value) : m);
