/**
 * The controller core for hosts: the wasm build behind typed functions. The only file of this folder that others import.
 * One instance a bench; instances share nothing.
 */
import { CORE_BASE64, CORE_FINGERPRINT } from './generated/core';

export { CORE_FINGERPRINT };

// The part of the WebAssembly API used here; the project's `lib` has no DOM.
interface WasmModule {
  readonly brand?: never;
}
declare const WebAssembly: {
  readonly Module: new (bytes: Uint8Array) => WasmModule;
  readonly Instance: new (module: WasmModule, imports: object) => { readonly exports: unknown };
};

/** What the module exports; all numbers are i32. */
interface RawExports {
  readonly memory: { readonly buffer: ArrayBuffer };
  readonly out: { readonly value: number };
  readonly inputs: { readonly value: number };
  readonly init: (tick_us: number, uid: number, resetCause: number) => void;
  readonly declareChannel: (id: number, kind: number, scaleMantissa: number, exponent: number, zero: number, period_us: number) => number;
  readonly setInput: (channel: number, counts: number, valid: number) => void;
  readonly takeInputs: (came: number, possible: number) => void;
  readonly stopInput: (on: number) => void;
  readonly rxByte: (byte: number) => void;
  readonly tick: (dt_us: number) => number;
  readonly drop: (bytes: number) => void;
  readonly outLength: () => number;
  readonly outLost: () => number;
  readonly getState: () => number;
  readonly getCause: () => number;
  readonly getThrottle: () => number;
  readonly getOrdinal: () => number;
  readonly getChecksum: () => number;
  readonly getRowInterval: () => number;
  readonly fold: (hash: number) => number;
}

/** Bytes of the core's output buffer (OUT_SIZE in outbox.ts). */
const OUT_SIZE = 32768;

/** Channels at most (CHANNELS_MAX in wire/messages.ts). */
const CHANNELS = 8;

/** A controller core of its own. */
export interface CoreInstance {
  /**
   * Power-on: safe, nothing declared, no limits, guards as in wire/layout.ts (throttle cap 0). Call declareChannel next.
   * @param tick_us nominal tick, held within 125..20000. @param resetCause as IDENTITY_RESET in wire/layout.ts.
   */
  readonly init: (tick_us: number, uid: number, resetCause: number) => void;
  /**
   * Declares the next channel; ids count up from 0, at most CHANNELS_MAX. SI per count = scaleMantissa * 10^exponent.
   * @returns 1, or 0 when refused. @param period_us between samples; 0 when it has none (then it never blocks arming).
   */
  readonly declareChannel: (id: number, kind: number, scaleMantissa: number, exponent: number, zero: number, period_us: number) => number;
  /** A new sample since the last tick: raw counts, valid 1 or 0. The last one before a tick counts. */
  readonly setInput: (channel: number, counts: number, valid: number) => void;
  /** Raw counts by channel id for takeInputs. Stays valid for the life of the instance. */
  readonly inputs: Int32Array;
  /** The same as setInput for several channels in one call: bits of the ids whose counts in `inputs` are new, and of those that are valid. */
  readonly takeInputs: (came: number, possible: number) => void;
  /** The emergency-stop input: 1 pressed (trips, in every state), 0 released. */
  readonly stopInput: (on: number) => void;
  /** One byte from the host. */
  readonly rxByte: (byte: number) => void;
  /** All bytes of a chunk from the host, in order. */
  readonly receive: (bytes: Uint8Array) => void;
  /** One control period; returns the raw throttle (0..10000) to apply now. A dt_us outside 125..20000 trips. */
  readonly tick: (dt_us: number) => number;
  /** Bytes of whole frames that wait in `view`. */
  readonly outLength: () => number;
  /** The output buffer itself: its first outLength() bytes are frames. Stays valid for the life of the instance. */
  readonly view: Uint8Array;
  /** Forgets the first bytes of the output. */
  readonly drop: (bytes: number) => void;
  /**
   * Copies waiting output into `into` (as much as fits, perhaps cutting a frame) and drops it.
   * @returns how many bytes were copied.
   */
  readonly drain: (into: Uint8Array) => number;
  /** Frames that found no room in the output; their sequence numbers are missing. Wraps at 65536. */
  readonly outLost: () => number;
  readonly getState: () => number;
  readonly getCause: () => number;
  /** Raw throttle now: zero at once after a stop or trip, even before the next tick. */
  readonly getThrottle: () => number;
  /** Ordinal of the segment being played, 0 when none is. */
  readonly getOrdinal: () => number;
  /** Microseconds between telemetry rows, 0 while none are sent. */
  readonly getRowInterval: () => number;
  /** Checksum of limits and guards, unsigned (CMD_ARM's field). */
  readonly checksum: () => number;
  /** Folds the core's memory into a hash, for comparisons. */
  readonly fold: (hash: number) => number;
}

let compiled: WasmModule | undefined;

/** Compiles once per process, from the module that `npm run build:core` wrote. */
function coreModule(): WasmModule {
  compiled ??= new WebAssembly.Module(Uint8Array.from(atob(CORE_BASE64), (letter) => letter.charCodeAt(0)));
  return compiled;
}

/** A fresh core. Call `init` before anything else. */
export function instantiateCore(): CoreInstance {
  const raw = new WebAssembly.Instance(coreModule(), {}).exports as RawExports;
  // The memory never grows (--maximumMemory 1), so the views never detach.
  const view = new Uint8Array(raw.memory.buffer, raw.out.value, OUT_SIZE);
  const inputs = new Int32Array(raw.memory.buffer, raw.inputs.value, CHANNELS);
  const { outLength, drop, rxByte } = raw;
  return {
    init: raw.init, declareChannel: raw.declareChannel, setInput: raw.setInput, inputs, takeInputs: raw.takeInputs, stopInput: raw.stopInput,
    rxByte, tick: raw.tick,
    outLength, view, drop, outLost: raw.outLost, fold: raw.fold,
    getState: raw.getState, getCause: raw.getCause, getThrottle: raw.getThrottle, getOrdinal: raw.getOrdinal, getRowInterval: raw.getRowInterval,
    checksum: () => raw.getChecksum() >>> 0,
    receive: (bytes) => {
      for (let i = 0; i < bytes.length; i++) rxByte(bytes[i]);
    },
    drain: (into) => {
      const n = Math.min(outLength(), into.length);
      into.set(view.subarray(0, n));
      drop(n);
      return n;
    },
  };
}
