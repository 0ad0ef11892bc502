// What people and programs said when they changed something: kept for every record that is made under it.
import type { JournalEntry } from '../campaign';
import { FileProblem, basename, readBytes, resolve } from '../host/files';
import type { RecordAttachment } from '../record/header';
import type { CommandNote } from './commands';
import type { HandsDone } from './operator';

/** A change by hand as the journal and the records keep it. */
export interface OperatorNote extends HandsDone {
  readonly condition: string;
  readonly to: string;
  readonly checklist: readonly string[];
}

/** Types of photos by the ending of their name; anything else is kept as plain bytes. */
const MEDIA: Readonly<Record<string, string>> = { jpg: 'image/jpeg', jpeg: 'image/jpeg', png: 'image/png', webp: 'image/webp', heic: 'image/heic' };
/** A photo above this is named in the record, not kept in it. */
const LARGEST_PHOTO_BYTES = 20e6;

/** What is in force, by condition. The journal tells a later session what an earlier one was told. */
export class Applied {
  private readonly byOperator = new Map<string, OperatorNote>();
  private readonly byCommand = new Map<string, CommandNote>();

  constructor(private readonly benchFolder: string, before: readonly JournalEntry[]) {
    for (const e of before) {
      if (e.type === 'noted' && e.what === 'operator') this.operator(e.data as OperatorNote);
    }
  }

  operator(note: OperatorNote): void {
    this.byOperator.set(note.condition, note);
  }

  command(note: CommandNote): void {
    this.byCommand.set(note.factor, note);
  }

  /** Everything in force as JSON, and the photos beside it. */
  attachments(more: Readonly<Record<string, unknown>>): RecordAttachment[] {
    const content = { by_hand: [...this.byOperator.values()], by_command: [...this.byCommand.values()], ...more };
    const json = new TextEncoder().encode(`${JSON.stringify(content, null, 1)}\n`);
    const photos = [...new Set([...this.byOperator.values()].flatMap((n) => n.photo ?? []))];
    return [
      { name: 'before-run.json', media_type: 'application/json', data: json },
      ...photos.flatMap((photo) => this.photo(photo)),
    ];
  }

  private photo(path: string): RecordAttachment[] {
    const data = photoBytes(this.benchFolder, path);
    if (data === null) return [];
    const ending = /\.([a-z]+)$/i.exec(path)?.[1]?.toLowerCase() ?? '';
    return [{ name: `photos/${basename(path)}`, media_type: MEDIA[ending] ?? 'application/octet-stream', data }];
  }
}

/** Why a photo cannot be kept in a record; null when it can. */
export function photoProblem(benchFolder: string, path: string): string | null {
  return photoBytes(benchFolder, path) === null ? `${path} cannot be read in ${benchFolder}, or is above ${LARGEST_PHOTO_BYTES / 1e6} MB` : null;
}

/** Content of a photo that a person named; null when it cannot be read or is too large to keep. */
export function photoBytes(benchFolder: string, path: string): Uint8Array | null {
  try {
    const data = readBytes(resolve(benchFolder, path));
    return data.length <= LARGEST_PHOTO_BYTES ? data : null;
  } catch (error) {
    if (error instanceof FileProblem) return null;
    throw error;
  }
}
