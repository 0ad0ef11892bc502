/** The simulated drive and rig as plain numbers. Start at `SimulatedRig`; `docs/twin.md` tells what is modelled. */
export { scout, tinyClass } from './articles';
export { MapCache } from './bridge-map';
export { CHANNEL, CHANNEL_COUNT } from './faults';
export type { ChannelName, Fault, FaultKind } from './faults';
export { scaleArticle, withSettings } from './parameters';
export type { EscSettings, RigParameters } from './parameters';
export { MAX_STEP_US, SimulatedRig, TICK_US } from './rig';
export type { RigOptions } from './rig';
export type { RigTruth } from './rig-truth';
export { Rng } from './rng';
export { NO_COMMUTATION } from './sensors';
export type { ChannelFact } from './sensors';
export { SETTING_NAMES } from './settings';
export type { SettingName } from './settings';
export { Truth } from './truth';
export type { OperatingPoint, TruthOptions } from './truth';
