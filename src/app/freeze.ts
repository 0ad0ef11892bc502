// What makes a campaign the same campaign when it is taken up again.
import { freezePlan, type FrozenPlan } from '../campaign';
import { sha256 } from '../host/digest';
import type { ReadyCampaign } from './prepare';
import { versions } from './version';

/**
 * Freezes the plan with all that its results rest on: rig, calibration, limits, article, what the protocols play, what happens
 * between runs and who changes what. Comments do not count, nor do the air at the bench (logged with each run), the
 * faults of a simulated rig (a bench may be repaired), margins, `on_trip` and `notify` (a person may think again).
 */
export function freeze(ready: ReadyCampaign): FrozenPlan {
  const { rig, campaign } = ready;
  const link = rig.link.kind === 'twin' ? { ...rig.link, faults: [] } : rig.link;
  const bench = {
    rig: plain({ ...rig, link, environment: null, limits: null }), limits: plain(rig.limits), article: plain(ready.article), calibration: plain(ready.calibrations),
    between_runs: plain(campaign.between_runs), factors: plain(campaign.factors),
    'segments of': Object.fromEntries([...ready.protocols.values()].map((p) => [p.label, sha256(JSON.stringify(p.walk.segments))])),
  };
  const { spoolbench, wire, controller } = versions();
  return freezePlan(ready.plan, bench, { spoolbench, wire: String(wire), controller }, sha256);
}

type Plain = null | boolean | number | string | readonly Plain[] | { readonly [key: string]: Plain };
function plain(value: unknown): Plain {
  return JSON.parse(JSON.stringify(value)) as Plain;
}
