// One program at a time in a folder.
import { linkSync, readFileSync, renameSync, unlinkSync, writeFileSync } from 'node:fs';
import { join } from 'node:path';
import { errorCode } from './files';

const NAME = '.in-use';

/** Somebody else works in the folder. */
export class FolderInUse extends Error {
  override name = 'FolderInUse';
}

/**
 * Takes the folder for this process. Returns what gives it back. A lock left by a process that is gone is taken over: also
 * one whose number has meanwhile been given to another process (told by its start time, where the system tells it).
 * @throws FolderInUse naming the process that holds it
 */
export function lockFolder(folder: string): () => void {
  const path = join(folder, NAME);
  const mine = `${path}.${process.pid}`;
  // Written aside and linked into place, so that nobody ever reads half a lock.
  const lock = `${process.pid} ${startOf(process.pid) ?? ''}`;
  writeFileSync(mine, lock);
  try {
    for (let attempt = 0; attempt < 3; attempt++) {
      try {
        linkSync(mine, path);
        return () => {
          if (textOf(path) === lock) unlinkSync(path);
        };
      } catch (error) {
        if (errorCode(error) !== 'EEXIST') throw error;
        const found = textOf(path);
        const holder = holderIn(found ?? '');
        if (holder !== null) throw new FolderInUse(`${folder} is in use by process ${holder}; wait for it or stop it`, { cause: error });
        if (found !== null) removeStale(path, found);
      }
    }
  } finally {
    unlinkSync(mine);
  }
  throw new FolderInUse(`${folder}: another program took it at the same moment; try again`);
}

/** The live process that works in a folder, or null. Takes no lock. */
export function processIn(folder: string): number | null {
  return holderIn(textOf(join(folder, NAME)) ?? '');
}

/** Takes a dead process's lock away, and only that one: of two programs that try at once, one gets the file. */
function removeStale(path: string, seen: string): void {
  const aside = `${path}.stale-${process.pid}`;
  try {
    renameSync(path, aside);
  } catch (error) {
    if (errorCode(error) === 'ENOENT') return;
    throw error;
  }
  if (textOf(aside) !== seen) {
    // It was no longer the dead one's: put it back unless somebody is in again.
    try {
      linkSync(aside, path);
    } catch (error) {
      if (errorCode(error) !== 'EEXIST') throw error;
    }
  }
  unlinkSync(aside);
}

/** The process that a lock names, if it is alive and still the same one. */
function holderIn(lock: string): number | null {
  const [pid, start] = lock.split(' ');
  const holder = Number(pid);
  if (!isAlive(holder)) return null;
  const now = startOf(holder);
  return start !== undefined && start !== '' && now !== null && now !== start ? null : holder;
}

/** When a process began, in the kernel's own count (proc_pid_stat(5), field 22); null where the system does not tell. */
function startOf(pid: number): string | null {
  const stat = textOf(`/proc/${pid}/stat`) ?? '';
  const afterName = stat.slice(stat.lastIndexOf(')') + 2).split(' ');
  return afterName[19] ?? null;
}

/** Text of a file, or null when it is not there. */
function textOf(path: string): string | null {
  try {
    return readFileSync(path, 'utf8');
  } catch {
    return null;
  }
}

function isAlive(pid: number): boolean {
  if (!Number.isInteger(pid) || pid <= 0) return false;
  try {
    process.kill(pid, 0);
    return true;
  } catch (error) {
    return errorCode(error) === 'EPERM';
  }
}
