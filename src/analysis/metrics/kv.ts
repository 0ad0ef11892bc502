/** kv: speed per volt and no-load current at the full-throttle plateau. */
import { speedConstant } from '../physics/motor';
import { withRole, type RunData } from '../run-data';
import type { MetricName } from './catalogue';
import { desyncIn, electrical, meanReading, plateauSpan } from './common';
import { derived, metric, noMetric, over, type RunMetric } from './reading';

const NAMES = ['kv_rpm_per_V', 'no_load_current_A', 'no_load_speed_rpm', 'kt_apparent_Nm_per_A'] as const satisfies readonly MetricName[];
const METHOD = 'mean of 0.4 to 0.9 s after arrival at full throttle, voltage at the ESC';

/** Metrics of a kv run. */
export function kvMetrics(data: RunData): RunMetric[] {
  const none = (reason: string): RunMetric[] => NAMES.map((n) => noMetric(n, reason));
  const plateau = withRole(data, 'plateau').at(-1);
  if (plateau === undefined) return none('the run has no full-throttle plateau');
  const span = plateauSpan(plateau);
  if (!span.ok) return none(span.reason);
  const spoiled = desyncIn(data, span.value);
  if (spoiled !== null) return none(spoiled);
  const speed = meanReading(data, 'speed', span.value);
  if (!speed.ok) return none(speed.reason);
  if (!(speed.value.value > 0)) return none('the motor did not turn on the plateau');
  const power = electrical(data, span.value);
  if (!power.ok) return none(power.reason);
  const { current, voltage } = power.value;
  const kv = over(speed.value, voltage);
  const resistance = data.facts.motor_resistance_ohm;
  const drop = resistance === null ? 0 : resistance * current.value;
  const ratio = resistance !== null && drop < voltage.value && current.value >= 0
    ? speedConstant({ speed_rpm: speed.value.value, voltage_V: voltage.value, noLoadCurrent_A: current.value, resistance_ohm: resistance })
    : speedConstant({ speed_rpm: speed.value.value, voltage_V: voltage.value });
  return [
    metric('kv_rpm_per_V', kv, METHOD),
    metric('no_load_current_A', current, METHOD),
    metric('no_load_speed_rpm', speed.value, METHOD),
    metric('kt_apparent_Nm_per_A', derived(ratio.kt_Nm_A, [[kv, -ratio.kt_Nm_A / kv.value]]), `60/(2π·KV), not corrected for ${ratio.notCorrected.join(', ')}`, [ratio.label]),
  ];
}
