// Which versions made a result.
import { CORE_FINGERPRINT } from '../controller/wasm';
import { RECORD_FORMAT } from '../record/header';
import { WIRE_VERSION } from '../wire/messages';
import packageFile from '../../package.json' with { type: 'json' };

/** Version of this program, as in its package. */
export const SPOOLBENCH_VERSION: string = packageFile.version;

/** Everything that decides what a record looks like, by name. */
export function versions(): { spoolbench: string; wire: number; controller: string; record: number } {
  return { spoolbench: SPOOLBENCH_VERSION, wire: WIRE_VERSION, controller: CORE_FINGERPRINT, record: RECORD_FORMAT };
}
