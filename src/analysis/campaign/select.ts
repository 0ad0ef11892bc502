/** Which record stands for which planned run. Everything else is named with the reason. */

/** What a file in the runs folder turned out to be. */
export type RecordNote = {
  readonly file: string;
  /** Null when the file is no readable record; `problem` then says why. */
  readonly record_id: string | null;
  readonly campaign: string | null;
  readonly version: string | null;
  readonly status: 'complete' | 'cut-off' | 'damaged' | 'unreadable';
  readonly outcome: string | null;
  /** In words; empty when nothing is wrong. */
  readonly problem: string;
};

/** The answer for every planned run, in the order asked, and the files that belong to none. */
export type Selection = {
  readonly runs: readonly { readonly id: string; readonly file: string | null; readonly status: 'used' | 'left-out' | 'missing'; readonly reason: string | null }[];
  readonly foreign: readonly { readonly file: string; readonly reason: string }[];
};

/**
 * Picks one good record a planned run: complete, ended as `done`, of this campaign and of the version that it was planned
 * with. Of several good ones the first by file name counts.
 */
export function selectRecords(planned: readonly string[], found: readonly RecordNote[], plan: { readonly campaign: string; readonly version: string }): Selection {
  const sorted = [...found].sort((a, b) => (a.file < b.file ? -1 : 1));
  const foreign: { file: string; reason: string }[] = [];
  const ids = new Set(planned);
  const byRun = new Map<string, { note: RecordNote; fault: string | null }[]>();
  for (const note of sorted) {
    const strange = note.record_id === null ? `no usable record: ${note.problem}`
      : note.campaign !== null && note.campaign !== plan.campaign ? `it belongs to the campaign ${note.campaign}, not to ${plan.campaign}`
        : !ids.has(note.record_id) ? `its run ${note.record_id} is not in the plan` : null;
    if (strange !== null || note.record_id === null) foreign.push({ file: note.file, reason: strange ?? note.problem });
    else byRun.set(note.record_id, [...(byRun.get(note.record_id) ?? []), { note, fault: faultOf(note, plan.version) }]);
  }
  const runs = planned.map((id): Selection['runs'][number] => {
    const mine = byRun.get(id) ?? [];
    if (mine.length === 0) return { id, file: null, status: 'missing', reason: 'there is no record of this run' };
    const good = mine.find((m) => m.fault === null);
    for (const other of mine) {
      if (other === good || (good === undefined && other === mine[0])) continue;
      foreign.push({ file: other.note.file, reason: other.fault === null && good !== undefined ? `a second good record of run ${id}; ${good.note.file} is used` : `another record of run ${id}: ${other.fault ?? ''}` });
    }
    if (good !== undefined) return { id, file: good.note.file, status: 'used', reason: null };
    return { id, file: mine[0].note.file, status: 'left-out', reason: mine[0].fault };
  });
  return { runs, foreign };
}

/** Why a record must not enter a metric; null when it may. */
function faultOf(note: RecordNote, version: string): string | null {
  if (note.status !== 'complete') return `the record is ${note.status === 'cut-off' ? 'cut off' : note.status}: ${note.problem}`;
  if (note.outcome !== 'done') return `the run ended as ${note.outcome ?? 'nothing'}${note.problem === '' ? '' : `: ${note.problem}`}`;
  if (note.version !== version) return `made by version ${note.version ?? 'unknown'}, the campaign by ${version}`;
  return null;
}
