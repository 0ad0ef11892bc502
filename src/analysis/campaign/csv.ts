/** results.csv: one row a metric and setting, for spreadsheets. Units stand in a column of their own. */
import type { Results } from '../../model/results';

export const RESULT_COLUMNS = [
  'metric', 'setting', 'unit', 'n', 'value', 'u', 'dof', 'lower', 'upper', 'sd_repeats', 'u_type_a', 'u_type_b', 'u_remount', 'estimand',
  'difference', 'difference_lower', 'difference_upper', 'p', 'p_over_metrics', 'margin', 'verdict', 'more_repeats', 'reason', 'simulated',
] as const;

export type ResultRow = Readonly<Record<(typeof RESULT_COLUMNS)[number], string | number | null>>;

/** The rows in the order of metrics and settings. */
export function resultRows(results: Results): ResultRow[] {
  return results.metrics.flatMap((m) => m.settings.map((s): ResultRow => {
    const c = m.contrasts.find((x) => x.setting === s.setting);
    const e = s.estimate;
    return {
      metric: m.key, setting: s.setting, unit: m.unit, n: s.n, value: e.value, u: e.u, dof: e.dof, lower: e.interval.lower, upper: e.interval.upper,
      sd_repeats: s.sd, u_type_a: s.type_a, u_type_b: s.type_b, u_remount: s.remount, estimand: e.estimand,
      difference: c?.difference ?? null, difference_lower: c?.interval.lower ?? null, difference_upper: c?.interval.upper ?? null, p: c?.p ?? null,
      p_over_metrics: c?.p_metrics ?? null, margin: m.margin, verdict: s.setting === results.baseline ? 'baseline' : c?.verdict ?? null,
      more_repeats: c?.more_repeats ?? null, reason: e.reason ?? c?.reason ?? null, simulated: String(results.simulated),
    };
  }));
}

/** The text of results.csv (RFC 4180). A missing number is an empty field. */
export function resultsCsv(results: Results): string {
  const rows = resultRows(results).map((r) => RESULT_COLUMNS.map((c) => field(r[c])).join(','));
  return [RESULT_COLUMNS.join(','), ...rows, ''].join('\r\n');
}

function field(v: string | number | null): string {
  if (v === null) return '';
  if (typeof v === 'number') return String(v);
  // A cell that begins like a formula would be run by a spreadsheet.
  const safe = /^[=+\-@\t\r]/.test(v) ? `'${v}` : v;
  return /[",\r\n]/.test(safe) ? `"${safe.replaceAll('"', '""')}"` : safe;
}
