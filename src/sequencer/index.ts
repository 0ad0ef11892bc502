// Playing a protocol on a bench.
export { runProtocol } from './sequencer';
export { BOUNDS, BOUND_MARGIN_S, type Bounds, type OperatorRequest, type RunOptions, type RunPorts, type RunProgress } from './options';
export { RUN_STATES, type RunState } from './machine';
export type { Bench, Clock, NumberedSegment, RunLog } from './ports';
