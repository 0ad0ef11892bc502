// What a campaign's bench rests on, in words for provenance: calibration from the frozen plan, the air from a record.
import { join } from '../host/files';
import type { Results } from '../model/results';
import { NotARecord } from '../record/errors';
import { readRecord } from '../record/file-reader';
import { formatNumber } from '../units';
import type { ReadFolder } from './campaign-files';

/** Air at the bench. */
export interface BenchAir { readonly temperature_degC: number; readonly pressure_Pa: number; readonly humidity: number }

/** The air as the first readable of these records has it; null where none states it. */
export function airIn(folder: string, files: readonly string[]): BenchAir | null {
  for (const file of files) {
    try {
      const { header } = readRecord(join(folder, file));
      if (header === null) continue;
      const { temperature_degC, pressure_Pa, humidity } = header.environment ?? {};
      return typeof temperature_degC === 'number' && typeof pressure_Pa === 'number' && typeof humidity === 'number' ? { temperature_degC, pressure_Pa, humidity } : null;
    } catch (error) {
      if (!(error instanceof NotARecord)) throw error;
    }
  }
  return null;
}

/** Calibration and air, as entries of the provenance of results. */
export function provenanceOfBench(folder: ReadFolder, runs: Results['runs']): Record<string, string> {
  const { calibration } = folder.frozen.plan.bench as unknown as { readonly calibration?: readonly { readonly channel?: string; readonly date?: string }[] };
  const stored = (calibration ?? []).map((c) => `${c.channel ?? 'a channel'}${c.date === undefined ? '' : ` of ${c.date}`}`);
  const air = airIn(folder.path, runs.flatMap((r) => (r.status === 'used' && r.file !== null ? [r.file] : [])));
  return {
    calibration: stored.length === 0 ? 'none stored; gains and uncertainties of the rig file hold' : stored.join(', '),
    environment: air === null ? 'temperature, pressure and humidity are not stated' : `${formatNumber(air.temperature_degC, 3)} °C, ${formatNumber(air.pressure_Pa / 100, 5)} hPa, ${formatNumber(100 * air.humidity, 2)} % humidity`,
  };
}
