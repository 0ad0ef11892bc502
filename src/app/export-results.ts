// Use case: the results of a campaign as tables for other people's tools.
import { exists, FileProblem, join, readBytes, writeNew } from '../host/files';
import type { ResultCurve, Results } from '../model/results';
import { sheetCsv, sheetParquet, type SheetColumn } from '../record/export-sheet';
import { GRAM_FORCE } from '../units';
import { BadInput } from './errors';
import type { ExportFormat } from './records';
import { readResults } from './result-files';
import { SPOOLBENCH_VERSION } from './version';

/** Folder for the tables inside a campaign's. */
const EXPORT_FOLDER = 'export';

export interface ResultsExport {
  readonly simulated: boolean;
  readonly files: readonly { readonly path: string; readonly rows: number; readonly bytes: number }[];
}

/**
 * Writes metrics, repeats, curves and steps of an analyzed campaign, one table each.
 * @param out folder for them; export/ in the campaign's folder when left out
 * @throws BadInput when there are no results, or a file of another content stands there: nothing is ever overwritten
 */
export function exportResults(folder: string, format: ExportFormat, out = join(folder, EXPORT_FOLDER), force: 'N' | 'gf' = 'N'): ResultsExport {
  const results = readResults(folder);
  const notes = { simulated: String(results.simulated), campaign: results.campaign, provenance: JSON.stringify(results.provenance), confidence: String(results.confidence), estimand: results.estimand };
  const tables = { metrics: metricTable(results, force), repeats: repeatTable(results, force), curves: curveTable(results, force), steps: stepTable(results) };
  const made = Object.entries(tables).map(([name, columns]) => {
    const bytes = format === 'csv' ? new TextEncoder().encode(sheetCsv(columns)) : sheetParquet(columns, { ...notes, table: name }, `spoolbench ${SPOOLBENCH_VERSION}`);
    return { path: join(out, `${name}.${format}`), bytes, rows: columns[0]?.values.length ?? 0 };
  });
  const other = made.filter(({ path, bytes }) => exists(path) && Buffer.compare(readBytes(path), bytes) !== 0).map(({ path }) => `${path}: another export stands there, and nothing is ever overwritten; name another folder with --out`);
  if (other.length > 0) throw new BadInput(other);
  try {
    for (const { path, bytes } of made) if (!exists(path)) writeNew(path, bytes);
  } catch (error) {
    if (error instanceof FileProblem) throw new BadInput([error.message], { cause: error });
    throw error;
  }
  return { simulated: results.simulated, files: made.map(({ path, rows, bytes }) => ({ path, rows, bytes: bytes.length })) };
}

type Force = 'N' | 'gf';
type Row = Readonly<Record<string, string | number | null>>;

/** Forces, and what is per force, in the unit asked for. */
const inUnit = (unit: string, force: Force): { readonly unit: string; readonly times: number } =>
  (force === 'gf' && (unit === 'N' || unit === 'N/W') ? { unit: unit.replace('N', 'gf'), times: 1 / GRAM_FORCE } : { unit, times: 1 });
const scaled = (v: number | null | undefined, times: number): number | null => (v === null || v === undefined ? null : v * times);

function metricTable(results: Results, force: Force): SheetColumn[] {
  const rows = results.metrics.flatMap((m) => m.settings.map((s): Row => {
    const { unit, times } = inUnit(m.unit, force);
    const c = m.contrasts.find((x) => x.setting === s.setting);
    const e = s.estimate;
    return {
      metric: m.key, protocol: m.label, ...settingOf(results, s.setting), unit, n: s.n, value: scaled(e.value, times), u: scaled(e.u, times), dof: e.dof, lower: scaled(e.interval.lower, times), upper: scaled(e.interval.upper, times),
      u_repeats: scaled(s.type_a, times), u_calibration: scaled(s.type_b, times), u_remount: scaled(s.remount, times), difference: scaled(c?.difference, times), u_difference: scaled(c?.u, times), dof_difference: c?.dof ?? null,
      difference_lower: scaled(c?.interval.lower, times), difference_upper: scaled(c?.interval.upper, times), p: c?.p ?? null, p_over_metrics: c?.p_metrics ?? null, margin: scaled(m.margin, times),
      verdict: s.setting === results.baseline ? 'baseline' : c?.verdict ?? '', method: e.method, estimand: e.estimand, flags: e.flags.join('; '), reason: e.reason ?? c?.reason ?? '', simulated: String(results.simulated),
    };
  }));
  const names = ['value', 'u', 'dof', 'lower', 'upper', 'u_repeats', 'u_calibration', 'u_remount', 'difference', 'u_difference', 'dof_difference', 'difference_lower', 'difference_upper', 'p', 'p_over_metrics', 'margin'];
  return columnsOf(rows, [text('metric'), text('protocol'), ...settingColumns(results), text('unit'), integer('n'), ...names.map((n) => real(n)), ...['verdict', 'method', 'estimand', 'flags', 'reason', 'simulated'].map(text)]);
}

function repeatTable(results: Results, force: Force): SheetColumn[] {
  const runs = new Map(results.runs.map((r) => [r.id, r]));
  const rows = results.metrics.flatMap((m) => m.settings.flatMap((s) => s.values.map((v): Row => {
    const { unit, times } = inUnit(m.unit, force);
    const run = runs.get(v.run);
    return {
      metric: m.key, ...settingOf(results, s.setting), run: v.run, place: run?.index ?? null, repeat: run?.repeat ?? null, block: run?.block ?? null, mounting: run?.mounting ?? null,
      value: v.value * times, value_without_drift: v.used * times, unit, record: run?.file ?? '', sha256: run?.sha256 ?? '', simulated: String(results.simulated),
    };
  })));
  return columnsOf(rows, [text('metric'), ...settingColumns(results), text('run'), ...['place', 'repeat', 'block', 'mounting'].map(integer), real('value'), real('value_without_drift'), ...['unit', 'record', 'sha256', 'simulated'].map(text)]);
}

const QUANTITIES = [['thrust_N', 'thrust', 'N'], ['speed_rpm', 'speed', 'rpm'], ['current_A', 'current', 'A'], ['power_W', 'power', 'W'], ['efficacy_N_per_W', 'thrust per watt', 'N/W']] as const;

function curveTable(results: Results, force: Force): SheetColumn[] {
  const rows = results.curves.flatMap((c) => QUANTITIES.flatMap(([key, quantity, si]) => pointsOf(c, key).map((p): Row => {
    const { unit, times } = inUnit(si, force);
    // The spread is that of the runs: one degree less than there are.
    return { ...settingOf(results, c.setting), protocol: c.label, source: c.source, throttle_frac: p.throttle, quantity, value: p.mean * times, unit, u: scaled(p.u, times), dof: p.u === null ? null : c.runs - 1, runs: c.runs, simulated: String(results.simulated) };
  })));
  return columnsOf(rows, [...settingColumns(results), text('protocol'), text('source'), real('throttle_frac', '1'), text('quantity'), real('value'), text('unit'), real('u'), integer('dof'), integer('runs'), text('simulated')]);
}

function pointsOf(curve: ResultCurve, key: (typeof QUANTITIES)[number][0]): { throttle: number; mean: number; u: number | null }[] {
  const band = curve[key];
  return band === null ? [] : curve.throttle.flatMap((throttle, i) => { const mean = band.mean[i] ?? null; return mean === null ? [] : [{ throttle, mean, u: band.u[i] ?? null }]; });
}

function stepTable(results: Results): SheetColumn[] {
  const rows = results.steps.flatMap((s) => s.t_s.map((t_s, i): Row => ({ ...settingOf(results, s.setting), protocol: s.label, direction: s.direction, t_s, step_done_frac: s.fraction[i] ?? null, runs: s.runs, simulated: String(results.simulated) })));
  return columnsOf(rows, [...settingColumns(results), text('protocol'), text('direction'), real('t_s', 's'), real('step_done_frac', '1'), integer('runs'), text('simulated')]);
}

/** The setting in words and its level of every factor, each in a column of its own. */
function settingOf(results: Results, id: string): Row {
  const setting = results.settings.find((s) => s.id === id);
  return { setting: setting?.text ?? id, ...Object.fromEntries(results.factors.map((f) => [`factor_${f.name}`, setting?.levels[f.name] ?? ''])) };
}
const settingColumns = (results: Results): Wanted[] => [text('setting'), ...results.factors.map((f) => text(`factor_${f.name}`))];

type Wanted = { readonly name: string; readonly unit: string; readonly kind: SheetColumn['kind'] };
const text = (name: string): Wanted => ({ name, unit: '', kind: 'text' });
const integer = (name: string): Wanted => ({ name, unit: '', kind: 'integer' });
const real = (name: string, unit = ''): Wanted => ({ name, unit, kind: 'real' });

function columnsOf(rows: readonly Row[], wanted: readonly Wanted[]): SheetColumn[] {
  return wanted.map(({ name, unit, kind }): SheetColumn => {
    if (kind === 'text') return { name, unit, kind, values: rows.map((r) => String(r[name] ?? '')) };
    return { name, unit, kind, values: rows.map((r) => { const v = r[name]; return typeof v === 'number' && Number.isFinite(v) ? v : null; }) };
  });
}
