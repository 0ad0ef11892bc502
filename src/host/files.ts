// The file system, as far as the use cases need it.
import { closeSync, existsSync, fsyncSync, mkdirSync, openSync, readdirSync, readFileSync, renameSync, statfsSync, statSync, unlinkSync, writeSync } from 'node:fs';
import { dirname, join, resolve } from 'node:path';
import { fileURLToPath } from 'node:url';

export { basename, dirname, join, relative, resolve } from 'node:path';

/** The folder that relative paths start from. */
export function workingFolder(): string {
  return process.cwd();
}

/** A file that could not be read or written, with what to do about it. */
export class FileProblem extends Error {
  constructor(readonly path: string, what: string, cause?: unknown) {
    super(`${path}: ${what}`, cause === undefined ? undefined : { cause });
    this.name = 'FileProblem';
  }
}

/** Code of a node error (`ENOENT`, …) or `''`. */
export function errorCode(error: unknown): string {
  return error instanceof Error && 'code' in error && typeof error.code === 'string' ? error.code : '';
}

const REASONS: Readonly<Record<string, string>> = {
  ENOENT: 'there is no such file or folder',
  EISDIR: 'this is a folder, a file is needed',
  ENOTDIR: 'a part of the path is not a folder',
  EACCES: 'permission denied',
  EEXIST: 'it exists already, and nothing is ever overwritten',
  ENOSPC: 'the disk is full',
};

function explain(path: string, error: unknown): FileProblem {
  const code = errorCode(error);
  return new FileProblem(path, REASONS[code] ?? (error instanceof Error ? error.message : String(error)), error);
}

/** Whole text of a UTF-8 file. Throws {@link FileProblem}. */
export function readText(path: string): string {
  try {
    return readFileSync(path, 'utf8');
  } catch (error) {
    throw explain(path, error);
  }
}

/** Whole content of a file. Throws {@link FileProblem}. */
export function readBytes(path: string): Uint8Array {
  try {
    return readFileSync(path);
  } catch (error) {
    throw explain(path, error);
  }
}

/** Writes a new file and syncs it to disk. Throws {@link FileProblem} when it exists. */
export function writeNew(path: string, content: string | Uint8Array): void {
  try {
    mkdirSync(dirname(path), { recursive: true });
    const fd = openSync(path, 'wx');
    try {
      const bytes = typeof content === 'string' ? new TextEncoder().encode(content) : content;
      let done = 0;
      while (done < bytes.length) done += writeSync(fd, bytes, done);
      fsyncSync(fd);
    } finally {
      closeSync(fd);
    }
  } catch (error) {
    throw explain(path, error);
  }
}

/** Makes a folder that must not exist yet. Throws {@link FileProblem}. */
export function makeNewFolder(path: string): void {
  try {
    mkdirSync(dirname(path), { recursive: true });
    mkdirSync(path);
  } catch (error) {
    throw explain(path, error);
  }
}

/** Makes a folder with its parents; fine when it is there already. */
export function ensureFolder(path: string): void {
  try {
    mkdirSync(path, { recursive: true });
  } catch (error) {
    throw explain(path, error);
  }
}

/** Puts a folder's own entries on the medium, so that a new file in it survives a power cut. Some systems cannot; then nothing happens. */
export function syncFolder(path: string): void {
  try {
    const fd = openSync(path, 'r');
    try {
      fsyncSync(fd);
    } finally {
      closeSync(fd);
    }
  } catch (error) {
    if (!['EISDIR', 'EPERM', 'EINVAL', 'EACCES'].includes(errorCode(error))) throw explain(path, error);
  }
}

export function exists(path: string): boolean {
  return existsSync(path);
}

export function isFolder(path: string): boolean {
  return existsSync(path) && statSync(path).isDirectory();
}

/** Names in a folder, sorted; empty when it is missing. */
export function list(path: string): string[] {
  return existsSync(path) ? readdirSync(path).sort() : [];
}

/** Gives a file of ours another name that nothing has yet. Throws {@link FileProblem}. */
export function renameOwn(path: string, to: string): void {
  if (existsSync(to)) throw new FileProblem(to, 'it exists already, and nothing is ever overwritten');
  try {
    renameSync(path, to);
  } catch (error) {
    throw explain(path, error);
  }
}

/** Removes a file that this process made itself (locks). */
export function removeOwn(path: string): void {
  if (existsSync(path)) unlinkSync(path);
}

/** Bytes that may still be written in the file system of a path (or of its nearest existing parent). */
export function freeBytes(path: string): number {
  let at = resolve(path);
  while (!existsSync(at) && dirname(at) !== at) at = dirname(at);
  const s = statfsSync(at);
  return s.bavail * s.bsize;
}

/** Files below a folder with an ending, sorted, as paths. */
export function filesIn(folder: string, ending: string): string[] {
  return list(folder).filter((name) => name.endsWith(ending)).map((name) => join(folder, name));
}

/** Every file below a folder, sorted; folders named records are left out. */
export function filesBelow(folder: string): string[] {
  return list(folder).flatMap((name) => {
    const path = join(folder, name);
    if (!isFolder(path)) return [path];
    return name === 'records' ? [] : filesBelow(path);
  });
}

/** The folder that this program is installed in: the nearest above this file with a package.json. */
export function packageFolder(): string {
  let at = dirname(fileURLToPath(import.meta.url));
  while (!existsSync(join(at, 'package.json')) && dirname(at) !== at) at = dirname(at);
  return at;
}
