// What every check begins and ends with: files read, a folder for its records, a person who can stop it at any time.
import { Subject } from 'rxjs';
import { join, makeNewFolder } from '../../host/files';
import { onStopSignal } from '../../host/signals';
import { stampForFile, wallClock_ms } from '../../host/wall-clock';
import type { OperatorRequest } from '../../sequencer/options';
import { openWorld } from '../open-world';
import type { ReadyCampaign } from '../prepare';
import type { Reporter } from '../reporter';
import { CheckSession, readyCheck, type CheckBench } from './session';

/** Who is at the bench while it is checked. */
export interface CheckPerson {
  /** A question that must be answered before something turns. */
  ask(question: string, detail: string): Promise<'yes' | 'no' | 'stop'>;
  /** Something to do at once, while it runs. */
  tell(text: string): void;
}

export interface CheckOptions {
  readonly bench: string;
  readonly person: CheckPerson;
  readonly reporter: Reporter;
  /** Where the records go; records/ in the bench folder when left out. */
  readonly records?: string;
  readonly open?: CheckBench['open'];
  readonly now_ms?: () => number;
}

export interface Check {
  readonly ready: ReadyCampaign;
  readonly session: CheckSession;
  readonly records: string;
  readonly open: CheckBench['open'];
  readonly now: () => number;
  /** A person asked to stop. */
  readonly asked: () => boolean;
}

/** Reads the bench by the needs of `protocol` and does `work`; Ctrl-C stops the motor meanwhile. @throws BadInput for bad files */
export async function duringCheck<T>(options: CheckOptions, protocol: string, name: string, work: (check: Check) => Promise<T>): Promise<T> {
  const { bench, reporter, open = opener(reporter), now_ms: now = wallClock_ms } = options;
  const ready = readyCheck(bench, protocol);
  const records = join(options.records ?? join(bench, 'records'), `${name}-${stampForFile(now())}`);
  makeNewFolder(records);
  const requests = new Subject<OperatorRequest>();
  let asked = false;
  const unlisten = onStopSignal(() => {
    asked = true;
    requests.next('stop-now');
  });
  try {
    return await work({ ready, session: new CheckSession({ bench, records, reporter, requests, open }), records, open, now, asked: () => asked });
  } finally {
    unlisten();
  }
}

/** Opens the rig's own world, with the limits of one layer changed where a trial asks for it. */
export function opener(reporter: Reporter): CheckBench['open'] {
  return ({ rig, article, channels }, layers) =>
    openWorld({ rig, article, channels, note: (text) => { reporter.note(text); }, ...(layers === undefined ? {} : { layers }) });
}
