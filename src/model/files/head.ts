// What every file starts with: the format's version and the key that names the thing.
import { z } from 'zod';
import { noted, slug } from '../fields';

/** Version of the file formats that this program reads and writes. */
export const FORMAT_VERSION = 1;

/** The seven kinds of file, each named by its own key. */
export const FILE_KINDS = ['rig', 'article', 'craft', 'protocol', 'campaign', 'calibration', 'answers'] as const;
export type FileKind = (typeof FILE_KINDS)[number];

/** `spoolbench: 1` and the naming key. */
export function head<K extends FileKind>(kind: K, about: string, example: string) {
  const version = noted(z.literal(FORMAT_VERSION).meta({ description: 'Version of the file format' }), `spoolbench: ${FORMAT_VERSION}`);
  const name = slug(about, example);
  return { spoolbench: version, [kind]: name } as { spoolbench: typeof version } & Record<K, typeof name>;
}
