// What somebody who writes or plays protocols needs.
export { BUILT_IN, catalogue, type Catalogue } from './catalogue';
export { ENDING_S, ask, holdCurrent, holdPower, holdSpeed, level, mark, ramp, repeat, rest, train, waitUntil, type SegmentOptions, type Steps, type Train } from './builders';
export { useProblems, type ProtocolFileProblem } from './check-uses';
export { parameterRows, type ParameterRow } from './describe';
export { draw, type DrawOptions } from './draw';
export { driveFacts } from './facts';
export { ProtocolError, defineProtocol, prepare, use, type Derived, type DriveFacts, type PreparedProtocol, type Protocol, type ProtocolDefinition } from './protocol';
export { walk, type Peaks, type ProfilePoint, type StepProblem, type Walk, type WalkedSegment } from './walk';
export { PROTOCOL_KIT, type ProtocolKit } from './kit';
