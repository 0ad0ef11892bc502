// Exports of the wasm module: numbers only. `out` and `inputs` are exported as the addresses of their arrays.
export { declareChannel, inputs, setInput, takeInputs } from './channels';
export { fold, getCause, getChecksum, getOrdinal, getState, getThrottle, init, rxByte, stopInput, tick } from './core';
export { drop, out, outLength, outLost } from './outbox';
export { getRowInterval } from './telemetry';
