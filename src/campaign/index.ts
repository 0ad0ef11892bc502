// What to run next. Pure: no I/O, no clock, and no chance but a seeded generator.
export { Pcg32, shuffle } from './rng';
export { AS_IT_IS, CannotPlan, describeSetting, settingsOf, type Applier, type Design, type Factor, type Level, type Point, type Setting } from './design';
export { orderRuns, type Cell, type CostlyCondition, type OrderedRun, type OrderInput } from './order';
export {
  MOUNTING, PROPELLER, SUPPLY, changesFor, estimate, labelsFor, planCampaign,
  type CampaignPlan, type Change, type ChangeTimes, type Estimate, type Hands, type PlanInput, type PlannedRun, type ProtocolUse, type Stretch, type Wanted,
} from './plan';
