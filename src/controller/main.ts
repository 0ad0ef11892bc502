// Exports of the wasm module: numbers only. `out` is exported as the address of the output buffer.
export { declareChannel, setInput } from './channels';
export { fold, getCause, getChecksum, getOrdinal, getState, getThrottle, init, rxByte, stopInput, tick } from './core';
export { drop, out, outLength, outLost } from './outbox';
export { getRowInterval } from './telemetry';
