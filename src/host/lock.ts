// One program at a time in a folder.
import { closeSync, openSync, readFileSync, unlinkSync, writeSync } from 'node:fs';
import { join } from 'node:path';
import { errorCode } from './files';

const NAME = '.in-use';

/** Somebody else works in the folder. */
export class FolderInUse extends Error {
  override name = 'FolderInUse';
}

/**
 * Takes the folder for this process. Returns what gives it back. A lock left by a process that is gone is taken over.
 * @throws FolderInUse naming the process that holds it
 */
export function lockFolder(folder: string): () => void {
  const path = join(folder, NAME);
  for (let attempt = 0; attempt < 2; attempt++) {
    try {
      const fd = openSync(path, 'wx');
      writeSync(fd, String(process.pid));
      closeSync(fd);
      return () => {
        unlinkSync(path);
      };
    } catch (error) {
      if (errorCode(error) !== 'EEXIST') throw error;
      const holder = Number(readFileSync(path, 'utf8'));
      if (isAlive(holder)) throw new FolderInUse(`${folder} is in use by process ${holder}; wait for it or stop it`, { cause: error });
      unlinkSync(path);
    }
  }
  throw new FolderInUse(`${folder}: another program took it at the same moment; try again`);
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
