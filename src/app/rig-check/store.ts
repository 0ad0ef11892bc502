// Where checks are kept, which one counts, and whether it still proves anything.
import { sha256 } from '../../host/digest';
import { basename, FileProblem, filesIn, join, readText, writeNew } from '../../host/files';
import { stamp, stampForFile } from '../../host/wall-clock';
import type { Rig } from '../../model/files';
import { rigCheckSchema, type Finding, type RigCheck } from '../../model/rig-check';
import { formatQuantity } from '../../units';

/** Folder of the checks in a bench folder. */
export const CHECKS = 'checks';

/** Digest of everything that the stopping layers depend on. Comments, sensors' uncertainties and notes do not count. */
export function rigDigest(rig: Rig): string {
  const { name, link, throttle, tick_us, row_rate_Hz, limits, cut_off, channels } = rig;
  const measuring = channels.map(({ kind, period_us, gain, zero, pole_pairs }) => ({ kind, period_us, gain, zero, pole_pairs }));
  return sha256(JSON.stringify({ name, link, throttle, tick_us, row_rate_Hz, limits, cut_off, measuring }));
}

/** Writes a check as a new file; returns its path. @throws FileProblem */
export function keepCheck(bench: string, check: RigCheck, now_ms: number): string {
  const path = join(bench, CHECKS, `${check.rig_check}-${stampForFile(now_ms)}.json`);
  writeNew(path, `${JSON.stringify(rigCheckSchema.parse(check), null, 2)}\n`);
  return path;
}

/** The newest check of this rig by its name, readable or not; null when there is none. */
export function newestCheck(bench: string, rig: Pick<Rig, 'name'>): { path: string; check: RigCheck | null } | null {
  const path = checksOf(bench, rig).at(-1);
  return path === undefined ? null : { path, check: readCheck(path) };
}

/** What the newest earlier check of this rig found that had this finding passed; null when none did. */
export function lastPassed(bench: string, rig: Pick<Rig, 'name'>, id: string): { readonly at: string; readonly finding: Finding } | null {
  for (const path of checksOf(bench, rig).reverse()) {
    const check = readCheck(path);
    const finding = check?.findings.find((f) => f.id === id && f.verdict === 'pass');
    if (check !== null && finding !== undefined) return { at: check.at, finding };
  }
  return null;
}

/** Files of a rig's checks, oldest first. */
function checksOf(bench: string, rig: Pick<Rig, 'name'>): string[] {
  return filesIn(join(bench, CHECKS), '.json').filter((p) => basename(p).replace(/-\d{4}-\d\d-\d\dT[-\d]+Z\.json$/, '') === rig.name);
}

function readCheck(path: string): RigCheck | null {
  try {
    const read = rigCheckSchema.safeParse(JSON.parse(readText(path)));
    return read.success ? read.data : null;
  } catch (error) {
    if (error instanceof SyntaxError || error instanceof FileProblem) return null;
    throw error;
  }
}

/** What is known of the proof: for the record, and why the motor may not start (null when it may). */
export interface ProofState {
  readonly check: RigCheck | null;
  readonly problem: string | null;
}

/** Pure: is this check a proof for this rig at this time? `valid_for_s` null: the rig asks for none. */
export function judgeProof(found: ReturnType<typeof newestCheck>, rig: Rig, now_ms: number): ProofState {
  const check = found?.check ?? null;
  const asked = rig.proof;
  const problem = asked === null ? null : whyNot(found, rig, asked.valid_for_s, now_ms);
  return { check, problem: problem === null ? null : `${problem} Run spoolbench rig check, or take proof: out of the rig file and know what you do.` };
}

function whyNot(found: ReturnType<typeof newestCheck>, rig: Rig, valid_for_s: number, now_ms: number): string | null {
  if (found === null) return `the rig file asks for a proof that the motor can be stopped (proof:), and ${rig.name} has never been checked.`;
  const { path, check } = found;
  if (check === null) return `${path} cannot be read as a rig check.`;
  if (check.rig_sha256 !== rigDigest(rig)) return `the rig's link, throttle, channels or limits have changed since it was checked at ${check.at}.`;
  if (!check.proven) return `the check of ${check.at} did not prove every stopping layer (${path}).`;
  const age_s = (now_ms - Date.parse(check.at)) / 1000;
  if (age_s < 0) return `the check is dated ${check.at}, later than this computer's clock (${stamp(now_ms)}).`;
  return age_s > valid_for_s ? `the proof of ${check.at} is ${formatQuantity(age_s, 'time', { digits: 3 })} old; ${formatQuantity(valid_for_s, 'time')} are accepted.` : null;
}
