// What follows a run that did not end well: stop unless the campaign file says otherwise, and some things stop whatever it says.
import type { Outcome } from '../model/events';
import { FINAL_TRIPS, type TripCode } from '../model/trip';

/** The campaign file's `on_trip`; a code that is not listed stops the campaign. */
export interface TripPolicy {
  readonly retry_once: readonly TripCode[];
  readonly skip_setting: readonly TripCode[];
}

export interface Ended {
  readonly run: number;
  readonly outcome: Outcome;
  /** First cause, when tripped. */
  readonly trip?: TripCode | undefined;
  readonly detail?: string | undefined;
}

/** The ledger's memory of earlier trips and retries. It must already know of the run that has just ended. */
export interface TripHistory {
  runsTrippedOn(code: TripCode): number;
  retriesOf(run: number): number;
}

export interface Decision {
  readonly what: 'go-on' | 'retry' | 'skip-setting' | 'stop';
  /** One sentence for the journal and the person. */
  readonly why: string;
}

/** So many different runs tripping on one code stop the campaign whatever is listed. */
export const SAME_TRIP_STOPS_AT = 3;

/**
 * Decides after a run. Stop is the rule; a trip may be retried once or its setting skipped where the campaign file
 * lists its code (listed under both: first retried, then skipped). A stop that a person asked for (stopped, finished
 * early, stop input), a stop that was not confirmed, a failure of record, link or program, and three different runs on one code are never gone over.
 */
export function decideAfter(ended: Ended, policy: TripPolicy, history: TripHistory): Decision {
  switch (ended.outcome) {
    case 'done': return { what: 'go-on', why: `Run ${ended.run} is good.` };
    case 'stopped':
    case 'finished-early': return { what: 'stop', why: `A person ended run ${ended.run} (${ended.outcome}); nothing goes on until a person resumes.` };
    case 'stop-unconfirmed': return { what: 'stop', why: `Run ${ended.run}: nothing shows that the motor stands still. Cut the power, find out why, then resume.` };
    case 'tripped': return afterTrip(ended, policy, history);
    case 'starved':
    case 'refused':
    case 'failed': return { what: 'stop', why: `Run ${ended.run} ended as ${ended.outcome}${ended.detail === undefined ? '' : `: ${ended.detail}`}. Only after a trip can a run be made again or its setting be left out.` };
  }
}

function afterTrip(ended: Ended, policy: TripPolicy, history: TripHistory): Decision {
  const { run, trip } = ended;
  if (trip === undefined) return { what: 'stop', why: `Run ${run} tripped without a code.` };
  if (trip === 'STOP_INPUT') return { what: 'stop', why: `A person pressed the stop input in run ${run}; nothing goes on until a person resumes.` };
  if (FINAL_TRIPS.includes(trip)) return { what: 'stop', why: `Run ${run} tripped on ${trip}; from that no campaign goes on by itself.` };
  const runs = history.runsTrippedOn(trip);
  if (runs >= SAME_TRIP_STOPS_AT) return { what: 'stop', why: `${runs} different runs tripped on ${trip}; the ${ordinal(runs)} was run ${run}. That is no accident of one run: look at the bench.` };
  const retry = policy.retry_once.includes(trip);
  if (retry && history.retriesOf(run) === 0) return { what: 'retry', why: `Run ${run} tripped on ${trip}; it is made once more.` };
  if (policy.skip_setting.includes(trip)) return { what: 'skip-setting', why: `Run ${run} tripped on ${trip}; its setting is left out.` };
  return { what: 'stop', why: retry ? `Run ${run} tripped on ${trip} again after its one retry.` : `Run ${run} tripped on ${trip}, and nothing (on_trip) says to go on after that.` };
}

function ordinal(n: number): string {
  return n === 3 ? 'third' : `${n}th`;
}
