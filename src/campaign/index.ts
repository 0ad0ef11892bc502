// What to run next. Pure: no I/O, no clock, and no chance but a seeded generator.
export { Pcg32, shuffle } from './rng';
export { AS_IT_IS, CannotPlan, describeSetting, settingsOf, type Applier, type Design, type Factor, type Level, type Point, type Setting } from './design';
export { orderRuns, type Cell, type CostlyCondition, type OrderedRun, type OrderInput } from './order';
export {
  changesFor, estimate, planCampaign,
  type CampaignPlan, type Change, type Estimate, type PlannedRun, type Stretch, type Wanted,
} from './plan';
export { MOUNTING, PROPELLER, SUPPLY, type ChangeTimes, type Hands, type PlanInput, type ProtocolUse } from './plan-input';
export { labelsFor } from './plan-problems';
export { planInput } from './from-file';
export { describeDifference, diffPlans, freezePlan, thawPlan, type FrozenPlan, type FrozenRun, type Hash, type Json, type PlanDifference, type PlanIdentity, type Thawed } from './frozen';
export { changeover, titleOf, type BetweenRuns, type ChangeoverInput, type FactorMeans, type Step } from './changeover';
export {
  journalLine, readJournal,
  type ChangeEntry, type DecidedEntry, type EndedEntry, type JournalEntry, type NotedEntry, type NoteKind, type PlannedEntry, type ReadJournal, type StartedEntry,
} from './journal';
export { JournalMismatch, Ledger, recordStem, type LedgerRun, type Next } from './resume';
export { SAME_TRIP_STOPS_AT, decideAfter, type Decision, type Ended, type TripHistory, type TripPolicy } from './trips';
export { FigureBoard, ProgressMeter, type NextHands, type Progress, type RunningFigure } from './progress';
export {
  MOST_REPEATS, cautiousSd, chanceToSettle, marginReached, pooledSpread, repeatsNeeded,
  type ChiSquareQuantile, type Distributions, type RepeatsAnswer, type RepeatsQuestion, type Spread,
} from './repeats';
