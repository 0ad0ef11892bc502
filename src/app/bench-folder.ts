// Loads the files of a bench folder, with every problem in any of them at once.
import { exists, filesIn, isFolder, join, dirname, readText, relative, resolve, workingFolder, FileProblem } from '../host/files';
import { today } from '../host/wall-clock';
import { checkBench, checkCalibration, checkRig } from '../model/check-rig';
import type { Article, Calibration, Craft, ProtocolFile, Rig } from '../model/files';
import { loadFile, type Loaded } from '../model/load';
import { formatProblem, sortProblems, type Problem } from '../model/problem';
import { catalogue, type Catalogue } from '../protocols/catalogue';
import type { Protocol } from '../protocols/protocol';
import { BadInput } from './errors';

/** A file as it was written, kept in every record. */
export interface WrittenFile {
  readonly name: string;
  readonly text: string;
}

/** What is needed to run anything, loaded but not yet known to be free of problems. */
export interface BenchFiles {
  readonly folder: string;
  readonly rig: Loaded<Rig>;
  readonly article: Loaded<Article>;
  readonly craft: Loaded<Craft> | null;
  readonly calibrations: readonly Loaded<Calibration>[];
  readonly protocols: readonly Loaded<ProtocolFile>[];
  readonly catalogue: Catalogue;
  readonly written: readonly WrittenFile[];
  /** Of all of these files together. */
  readonly problems: readonly Problem[];
}

/** The bench folder that a file belongs to: the nearest folder above it with a rig.yaml. Throws {@link BadInput}. */
export function benchFolderOf(path: string): string {
  let at = isFolder(path) ? resolve(path) : dirname(resolve(path));
  for (;;) {
    if (exists(join(at, 'rig.yaml'))) return at;
    if (dirname(at) === at) throw new BadInput([`${path}: no bench folder: neither its folder nor any above holds a rig.yaml; make one with: spoolbench new DIR`]);
    at = dirname(at);
  }
}

/**
 * Loads the bench; `own` are protocols in TypeScript, `rigPath` and `articlePath` name other files than rig.yaml and article.yaml.
 * Throws {@link BadInput} when one cannot be read.
 */
export function loadBench(folder: string, own: readonly Protocol[] = [], rigPath = join(folder, 'rig.yaml'), articlePath = join(folder, 'article.yaml')): BenchFiles {
  const written: WrittenFile[] = [];
  const read = (path: string): [string, string] => {
    const text = readOrRefuse(path);
    written.push({ name: relative(folder, path), text });
    return [relative(workingFolder(), path), text];
  };
  const rig = loadFile('rig', ...read(rigPath));
  const article = loadFile('article', ...read(articlePath));
  const craftPath = join(folder, 'craft.yaml');
  const craft = exists(craftPath) ? loadFile('craft', ...read(craftPath)) : null;
  const calibrations = filesIn(join(folder, 'calibration'), '.yaml').map((path) => loadFile('calibration', ...read(path)));
  const protocols = filesIn(join(folder, 'protocols'), '.yaml').map((path) => loadFile('protocol', ...read(path)));
  for (const path of filesIn(join(folder, 'protocols'), '.ts')) read(path);
  const known = catalogue(own, protocols.flatMap((p) => p.value ?? []));
  return {
    folder, rig, article, craft, calibrations, protocols, catalogue: known, written,
    problems: sortProblems([
      ...[rig, article, ...(craft === null ? [] : [craft]), ...calibrations, ...protocols].flatMap((f) => f.problems),
      ...checkRig(rig, calibrations.flatMap((c) => c.usable ?? [])),
      ...checkBench(rig, article),
      ...calibrations.flatMap((c) => (rig.usable === null ? [] : checkCalibration(c, rig.usable, today()))),
      ...protocolProblems(protocols, known),
    ]),
  };
}

function protocolProblems(files: readonly Loaded<ProtocolFile>[], known: Catalogue): Problem[] {
  return known.problems.flatMap((p) => {
    const file = files.find((f) => f.value?.name === p.protocol);
    if (file !== undefined) return [file.source.problem(p.path, p.message, p.accepted)];
    return [{ file: `protocol ${p.protocol} (TypeScript)`, line: 1, column: 1, key: '', message: p.message, accepted: p.accepted }];
  });
}

/** Text of a file that a person named. Throws {@link BadInput}. */
export function readOrRefuse(path: string): string {
  try {
    return readText(path);
  } catch (error) {
    if (error instanceof FileProblem) throw new BadInput([error.message], { cause: error });
    throw error;
  }
}

/** Throws {@link BadInput} with every problem, if there is any. */
export function refuse(problems: readonly Problem[]): void {
  if (problems.length > 0) throw new BadInput(sortProblems(problems).map(formatProblem));
}
