// A starter bench folder on the simulated rig.
import { exists, filesBelow, isFolder, join, list, packageFolder, readText, relative, writeNew } from '../host/files';
import { BadInput } from './errors';

/**
 * Copies the demo bench to a new folder. Returns the files written, relative to it.
 * @throws BadInput when the folder is there and not empty
 */
export function newBench(folder: string): string[] {
  if (exists(folder) && (!isFolder(folder) || list(folder).length > 0)) {
    throw new BadInput([`${folder}: it exists and is not empty; nothing is ever overwritten. Name a new folder.`]);
  }
  const template = join(packageFolder(), 'demo', 'bench');
  const files = filesBelow(template).filter((path) => /\.(yaml|ts)$/.test(path)).map((path) => relative(template, path));
  for (const file of files) writeNew(join(folder, file), readText(join(template, file)));
  return files;
}
