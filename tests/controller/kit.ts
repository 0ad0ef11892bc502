// What the controller's tests share: a codec of their own (so that the core's is not checked with itself), command builders,
// and one face for the core as plain JavaScript and as wasm.
import * as js from '../../src/controller/main';
import { instantiateCore } from '../../src/controller/wasm';
import * as m from '../../src/wire/messages';

/** The calls that both builds of the core offer. */
export interface Core {
  readonly init: (tick_us: number, uid: number, resetCause: number) => void;
  readonly declareChannel: (id: number, kind: number, scale: number, exponent: number, zero: number, period_us: number) => number;
  readonly setInput: (channel: number, counts: number, valid: number) => void;
  readonly inputs: Record<number, number>;
  readonly takeInputs: (came: number, possible: number) => void;
  readonly stopInput: (on: number) => void;
  readonly rxByte: (byte: number) => void;
  readonly tick: (dt_us: number) => number;
  readonly outLength: () => number;
  readonly drop: (n: number) => void;
  readonly outLost: () => number;
  readonly getState: () => number;
  readonly getCause: () => number;
  readonly getThrottle: () => number;
  readonly getOrdinal: () => number;
  readonly getRowInterval: () => number;
  readonly fold: (hash: number) => number;
  readonly checksum: () => number;
  readonly view: ArrayLike<number>;
}

/** The core as plain JavaScript. There is only one per process: `init` starts it over. */
export const jsCore: Core = {
  init: js.init, declareChannel: js.declareChannel, setInput: js.setInput, inputs: js.inputs, takeInputs: js.takeInputs, stopInput: js.stopInput, rxByte: js.rxByte, tick: js.tick,
  outLength: js.outLength, drop: js.drop, outLost: js.outLost, getState: js.getState, getCause: js.getCause,
  getThrottle: js.getThrottle, getOrdinal: js.getOrdinal, getRowInterval: js.getRowInterval, fold: js.fold,
  checksum: () => js.getChecksum() >>> 0,
  view: js.out,
};
/** A wasm core of its own. */
export function wasmCore(): Core {
  return instantiateCore();
}

/** CRC-16/IBM-3740, bit by bit (polynomial 0x1021, start 0xFFFF). */
export function crc16(bytes: Iterable<number>): number {
  let crc = 0xffff;
  for (const byte of bytes) {
    crc ^= byte << 8;
    for (let k = 0; k < 8; k++) crc = crc & 0x8000 ? ((crc << 1) ^ 0x1021) & 0xffff : (crc << 1) & 0xffff;
  }
  return crc;
}

/** COBS of fewer than 254 bytes, without delimiters. */
export function cobs(bytes: readonly number[]): number[] {
  const out: number[] = [];
  let block: number[] = [];
  for (const byte of [...bytes, 0]) {
    if (byte !== 0) block.push(byte);
    else {
      out.push(block.length + 1, ...block);
      block = [];
    }
  }
  return out;
}

/** Undoes COBS; throws when a code byte points past the end. */
export function uncobs(bytes: readonly number[]): number[] {
  const out: number[] = [];
  for (let at = 0; at < bytes.length; ) {
    const code = bytes[at] ?? 0;
    if (code === 0 || at + code > bytes.length) throw new Error(`bad code byte ${String(code)} at ${String(at)}`);
    out.push(...bytes.slice(at + 1, at + code));
    at += code;
    if (at < bytes.length) out.push(0);
  }
  return out;
}

/** A frame with both delimiters. */
export function frameOf(payload: readonly number[]): number[] {
  const crc = crc16(payload);
  return [0, ...cobs([...payload, crc & 255, crc >> 8]), 0];
}

/** The payloads in a stretch of output; throws on a damaged frame. */
export function payloadsOf(bytes: readonly number[]): number[][] {
  const found: number[][] = [];
  let start = 0;
  bytes.forEach((byte, at) => {
    if (byte !== 0) return;
    if (at > start) {
      const plain = uncobs(bytes.slice(start, at));
      if (crc16(plain.slice(0, -2)) !== (plain.at(-2) ?? 0) + 256 * (plain.at(-1) ?? 0)) throw new Error('bad CRC in output');
      found.push(plain.slice(0, -2));
    }
    start = at + 1;
  });
  return found;
}

export const u8 = (v: number): number[] => [v & 255];
export const u16 = (v: number): number[] => [v & 255, (v >> 8) & 255];
export const i32 = (v: number): number[] => [v & 255, (v >> 8) & 255, (v >> 16) & 255, (v >>> 24) & 255];
export const read16 = (p: readonly number[], at: number): number => (p[at] ?? NaN) + 256 * (p[at + 1] ?? NaN);
export const read32 = (p: readonly number[], at: number): number => (read16(p, at) + 65536 * read16(p, at + 2)) | 0;

export interface LimitSpec {
  rule: number;
  channel?: number;
  cause?: number;
  threshold?: number;
  bad?: number;
  window?: number;
  span_us?: number;
}
export interface GuardSpec {
  deadman_us?: number;
  longestRun_us?: number;
  cap?: number;
  currentZero?: number;
  voltageZero?: number;
  stillPeriod?: number;
}
export interface SegmentSpec {
  kind: number;
  target?: number;
  duration_us?: number;
  last?: boolean;
  cap?: number;
  slew?: number;
  gainP?: number;
  gainI?: number;
  flags?: number;
}

/** Payload fields of the commands that have many (without id and sequence number). */
export const fields = {
  limit: (slot: number, s: LimitSpec): number[] => [
    ...u8(slot), ...u8(s.rule), ...u8(s.channel ?? 0), ...u8(s.cause ?? 1), ...i32(s.threshold ?? 0),
    ...u16(s.bad ?? 1), ...u16(s.window ?? 1), ...i32(s.span_us ?? 0),
  ],
  guards: (g: GuardSpec = {}): number[] => [
    ...i32(g.deadman_us ?? 100_000), ...i32(g.longestRun_us ?? 1_000_000_000), ...u16(g.cap ?? 10_000),
    ...i32(g.currentZero ?? 0), ...i32(g.voltageZero ?? 0), ...i32(g.stillPeriod ?? 20_000),
  ],
  segment: (ordinal: number, s: SegmentSpec): number[] => [
    ...u16(ordinal), ...u8(s.kind), ...u8(s.flags ?? (s.last ? m.SEG_FLAG_LAST : 0)), ...i32(s.target ?? 0),
    ...i32(s.duration_us ?? 100_000), ...u16(s.cap ?? 10_000), ...u16(s.slew ?? 0), ...u16(s.gainP ?? 0), ...u16(s.gainI ?? 0),
  ],
};

/** An ACK, decoded. */
export interface Ack {
  command: number;
  sequence: number;
  result: number;
  state: number;
  cause: number;
}

/** Channels of a small rig: current, voltage, period, thrust. */
export const KINDS = [m.KIND_CURRENT, m.KIND_VOLTAGE, m.KIND_PERIOD, m.KIND_THRUST] as const;

/** A board on the test bench: sends commands, keeps the frames that come back, feeds good samples while it ticks. */
export class Board {
  sequence = 0;
  /** Every frame received so far that `take` has not taken. */
  frames: number[][] = [];
  /** Samples that `run` sets before each tick; `null` sends none. */
  samples: ({ counts: number; valid: boolean } | null)[];
  /** `run` sends a permit before every tick while this is positive. */
  permit_us = 1_000_000;

  constructor(readonly core: Core, readonly tick_us = 1000, kinds: readonly number[] = KINDS) {
    core.init(tick_us, 0x1234, 1);
    kinds.forEach((kind, id) => core.declareChannel(id, kind, 1, -3, 0, 1000));
    this.samples = kinds.map(() => ({ counts: 100, valid: true }));
  }

  /** Sends bytes as they are. */
  bytes(bytes: readonly number[]): void {
    for (const byte of bytes) this.core.rxByte(byte);
    this.collect();
  }

  private collect(): void {
    const n = this.core.outLength();
    if (n === 0) return;
    const raw: number[] = [];
    for (let i = 0; i < n; i++) raw.push(this.core.view[i] ?? NaN);
    this.core.drop(n);
    this.frames.push(...payloadsOf(raw));
  }

  /** Takes (and forgets) the frames with this id; all of them without one. */
  take(id?: number): number[][] {
    const taken = this.frames.filter((f) => id === undefined || f[0] === id);
    this.frames = this.frames.filter((f) => !taken.includes(f));
    return taken;
  }

  /** Sends a command and returns its ACK. `sequence` repeats an earlier number. */
  command(id: number, body: readonly number[] = [], sequence?: number): Ack {
    this.sequence = sequence ?? (this.sequence + 1) & 255;
    this.take(m.MSG_ACK);
    this.bytes(frameOf([id, this.sequence, ...body]));
    const acks = this.take(m.MSG_ACK);
    const ack = acks[0];
    if (ack === undefined || acks.length > 1) throw new Error(`${String(acks.length)} answers to command ${String(id)}`);
    return { command: ack[3] ?? NaN, sequence: ack[4] ?? NaN, result: ack[5] ?? NaN, state: ack[6] ?? NaN, cause: ack[7] ?? NaN };
  }

  /** As `command`, and throws unless the answer is OK. */
  must(id: number, body: readonly number[] = []): Ack {
    const ack = this.command(id, body);
    if (ack.result !== m.RESULT_OK) throw new Error(`command ${String(id)} refused: ${JSON.stringify(ack)}`);
    return ack;
  }

  permit(span_us: number): void {
    this.bytes(frameOf([m.CMD_PERMIT, 0, ...i32(span_us)]));
  }

  setSamples(): void {
    this.samples.forEach((s, c) => {
      if (s !== null) this.core.setInput(c, s.counts, s.valid ? 1 : 0);
    });
  }

  /** Plays n ticks with samples and permits; returns the throttle of the last. */
  run(n = 1, dt_us = this.tick_us): number {
    let throttle = this.core.getThrottle();
    for (let k = 0; k < n; k++) {
      if (this.permit_us > 0) this.permit(this.permit_us);
      this.setSamples();
      throttle = this.core.tick(dt_us);
      this.collect();
    }
    return throttle;
  }

  /** Guards, then armed with these limits. */
  arm(limits: readonly LimitSpec[] = [], guards: GuardSpec = {}): void {
    this.must(m.CMD_SET_GUARDS, fields.guards(guards));
    limits.forEach((spec, slot) => this.must(m.CMD_SET_LIMIT, fields.limit(slot, spec)));
    this.run();
    this.must(m.CMD_ARM, [...u16(m.KEY_ARM), ...i32(this.core.checksum())]);
  }

  /** Queues segments from ordinal `first` on. */
  queue(segments: readonly SegmentSpec[], first = 1): void {
    segments.forEach((s, k) => this.must(m.CMD_SEGMENT, fields.segment(first + k, s)));
  }

  /** Starts the queued segments; the first one begins with the next tick. */
  start(): void {
    if (this.permit_us > 0) this.permit(this.permit_us);
    this.must(m.CMD_START);
  }

  /** Armed and driving these segments. */
  drive(segments: readonly SegmentSpec[], limits: readonly LimitSpec[] = [], guards: GuardSpec = {}): void {
    this.arm(limits, guards);
    this.queue(segments);
    this.start();
  }
}
