// An unfinished calibration, kept line by line so that it can be taken up again: calibration/unfinished-CHANNEL.jsonl.
import { ensureFolder, join, removeOwn } from '../../host/files';
import { LineFile, readLines } from '../../record/file-lines';
import { BadInput } from '../errors';
import type { CalibrationStep, Target } from './plan';

/** One finished step. `counts`: mean; for creep, those of the end, with `first` those of its beginning. */
export interface StepDone {
  readonly id: string;
  readonly applied: number;
  readonly counts: number;
  /** Scatter of one reading, counts; left out where it was typed in. */
  readonly sd?: number;
  readonly first?: number;
}

/** What must be the same for points of two sessions to belong together. */
interface Begun {
  readonly rig: string;
  readonly channel: Target;
  readonly steps: readonly string[];
  readonly reference: string;
  readonly u_reference: number;
  readonly date: string;
}

export class CalibrationState {
  private constructor(private readonly path: string, private readonly file: LineFile, readonly done: StepDone[]) {}

  /**
   * Begins, or goes on where it was left.
   * @param restart forgets what there is
   * @throws BadInput when what is there belongs to another calibration, or is damaged
   */
  static open(folder: string, begun: Begun, restart: boolean): CalibrationState {
    const path = join(folder, 'calibration', `unfinished-${begun.channel}.jsonl`);
    if (restart) removeOwn(path);
    const lines = readLines(path).split('\n').filter((l) => l.trim() !== '');
    const entries = lines.flatMap((line) => parsed(line));
    const first = entries[0] as Begun | undefined;
    if (first !== undefined && JSON.stringify(same(first)) !== JSON.stringify(same(begun))) {
      throw new BadInput([`${path}: an unfinished calibration of ${begun.date > first.date ? `${first.date} ` : ''}with other points, another reference or another rig; accepted: the same again, or --restart to forget it`]);
    }
    if (first !== undefined && first.date !== begun.date) {
      throw new BadInput([`${path}: an unfinished calibration of ${first.date}; points of different days do not belong together; accepted: --restart`]);
    }
    ensureFolder(join(folder, 'calibration'));
    const file = new LineFile(path);
    if (first === undefined) file.append(`${JSON.stringify(begun)}\n`);
    return new CalibrationState(path, file, entries.slice(1) as StepDone[]);
  }

  has(step: CalibrationStep): boolean {
    return this.done.some((d) => d.id === step.id);
  }

  take(step: StepDone): void {
    this.file.append(`${JSON.stringify(step)}\n`);
    this.done.push(step);
  }

  /** Everything is in the calibration file now. */
  finish(): void {
    this.file.close();
    removeOwn(this.path);
  }

  /** To be taken up again. */
  leave(): void {
    this.file.close();
  }
}

function same(b: Begun): unknown {
  return [b.rig, b.channel, b.steps, b.reference, b.u_reference];
}

/** A line that was cut off by a crash is left out: its step is taken again. */
function parsed(line: string): unknown[] {
  try {
    return [JSON.parse(line)];
  } catch {
    return [];
  }
}
