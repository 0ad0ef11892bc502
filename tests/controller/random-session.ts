// A seeded, endless session for two cores in lockstep: samples, commands that lead somewhere, damaged frames, odd ticks.
// Both cores get the same calls; after each tick throttle, output bytes and a fold of the memory must agree.
import * as layout from '../../src/wire/layout';
import * as m from '../../src/wire/messages';
import type { Core, LimitSpec, SegmentSpec } from './kit';
import { fields, frameOf, i32, KINDS, u16 } from './kit';

/** xorshift32; `below(n)` is 0..n-1. */
export class Dice {
  constructor(private s: number) {
    this.s = s | 0 || 1;
  }
  below(n: number): number {
    let x = this.s;
    x ^= x << 13;
    x ^= x >>> 17;
    x ^= x << 5;
    this.s = x;
    return (x >>> 0) % n;
  }
  any(): number {
    return (this.below(65536) << 16) | this.below(65536);
  }
  pick<T>(from: readonly T[]): T {
    return from[this.below(from.length)];
  }
}

export interface Tally {
  ticks: number;
  bytes: number;
  frames: number;
  states: Set<number>;
  causes: Set<number>;
  kinds: Set<number>;
  results: Set<number>;
  ends: Set<number>;
}

/** Throws at the first difference, with what to run again. */
export function lockstep(a: Core, b: Core, seed: number, ticks: number): Tally {
  const dice = new Dice(seed);
  const tally: Tally = { ticks: 0, bytes: 0, frames: 0, states: new Set(), causes: new Set(), kinds: new Set(), results: new Set(), ends: new Set() };
  const both = [a, b];
  let sequence = 0, ordinal = 1, hash = 0;
  const tick_us = dice.pick([125, 1000, 5000]);
  for (const core of both) {
    core.init(tick_us, seed, 1);
    KINDS.forEach((kind, id) => core.declareChannel(id, kind, 1, -3, 0, dice.below(1) + 1000));
  }
  const send = (bytes: readonly number[]): void => {
    for (const byte of bytes) for (const core of both) core.rxByte(byte);
  };
  const command = (id: number, body: readonly number[]): void => {
    sequence = dice.below(12) === 0 ? sequence : (sequence + 1) & 255;
    const frame = frameOf([id, sequence, ...body]);
    switch (dice.below(60)) {
      case 0: frame[dice.below(frame.length)] ^= 1 << dice.below(8); break;
      case 1: frame.splice(dice.below(frame.length), 1); break;
      case 2: frame.length = dice.below(frame.length); break;
      case 3: frame.unshift(dice.below(256), dice.below(256)); break;
      default: break;
    }
    send(frame);
  };
  const limit = (): LimitSpec => ({
    rule: dice.below(10), channel: dice.below(10) === 0 ? dice.below(8) : dice.pick([0, 0, 1, 2, 2, 3]), cause: dice.below(18),
    threshold: dice.below(20) === 0 ? dice.any() : 500 + dice.below(3000), bad: 1 + dice.below(60), window: 30 + dice.below(240),
    span_us: dice.below(30) === 0 ? dice.any() : 20_000 + dice.below(500_000),
  });
  const segment = (): SegmentSpec => {
    const kind = dice.below(30) === 0 ? dice.below(9) : 1 + dice.below(6);
    tally.kinds.add(kind);
    return {
      kind, target: dice.below(40) === 0 ? dice.any() : dice.below(kind < m.SEG_HOLD_CURRENT ? 10_001 : kind === m.SEG_HOLD_POWER ? 60_000 : 3000),
      duration_us: dice.below(9) === 0 ? dice.below(3000) : dice.below(200_000), last: dice.below(12) === 0,
      cap: dice.below(10_001), slew: dice.below(2) * dice.below(500), gainP: dice.below(3) * dice.below(65_536), gainI: dice.below(3) * dice.below(65_536),
    };
  };
  const act = (): void => {
    const state = a.getState();
    const roll = dice.below(32);
    if (roll < 8) command(m.CMD_PERMIT, i32(dice.below(30) === 0 ? dice.any() : dice.below(400_000)));
    else if (roll < 9) command(dice.below(20), Array.from({ length: dice.below(26) }, () => dice.below(256)));
    else if (roll < 10) command(m.CMD_SET_TELEMETRY, u16(dice.below(6)));
    else if (roll < 11) command(dice.pick([m.CMD_HELLO, m.CMD_STATUS, m.CMD_DESCRIBE, m.CMD_DISARM, m.CMD_STOP, m.CMD_TRIP]), dice.pick([[], [1, 0], [dice.below(45)]]));
    else if (state === m.STATE_TRIPPED) command(m.CMD_CLEAR_TRIP, u16(dice.below(9) === 0 ? dice.any() : m.KEY_CLEAR));
    else if (state === m.STATE_SAFE) {
      ordinal = 1;
      if (roll < 16) command(m.CMD_SET_LIMIT, fields.limit(dice.below(26), limit()));
      else if (roll < 19) {
        command(m.CMD_SET_GUARDS, fields.guards({
          deadman_us: dice.below(9) === 0 ? dice.any() : 100_000 + dice.below(400_000), longestRun_us: 1 + dice.below(9_000_000), cap: dice.below(11_000),
          currentZero: dice.below(200), voltageZero: dice.below(200) - 100, stillPeriod: dice.below(30_000),
        }));
      } else if (roll < 22) command(m.CMD_SET_LIMIT, fields.limit(dice.below(24), { rule: m.RULE_OFF }));
      else command(m.CMD_ARM, [...u16(m.KEY_ARM), ...i32(a.checksum() ^ (dice.below(9) === 0 ? dice.any() : 0))]);
    } else if (state === m.STATE_READY && roll < 16) command(m.CMD_START, []);
    else if (roll < 29) {
      command(m.CMD_SEGMENT, fields.segment(dice.below(20) === 0 ? dice.below(70) : ordinal, segment()));
      if (dice.below(40) !== 0) ordinal++;
    } else command(dice.pick([m.CMD_END_SEGMENT, m.CMD_END_SEGMENT, m.CMD_CLEAR_AFTER]), u16(a.getOrdinal() + dice.below(3) * dice.below(2)));
    if (state === m.STATE_READY || state === m.STATE_DRIVING) ordinal = Math.max(1, dice.below(30) === 0 ? ordinal - 1 : ordinal);
  };
  const value = [100, 3000, 700, 5000];
  /** Every other tick sample by sample, else all in one call; what lies in the array of a channel that has nothing new does not matter. */
  const samples = (): void => {
    const together = tally.ticks % 2 === 1;
    let came = 0;
    let valid = 0;
    for (let c = 0; c < 4; c++) {
      if (dice.below(4) === 0) continue;
      const odd = dice.below(400);
      const v = odd === 0 ? dice.any() : (value[c] = Math.max(0, (value[c] ?? 0) + dice.below(81) - 40));
      const possible = dice.below(30) === 0 ? 0 : 1;
      const counts = c === 2 && possible === 0 ? m.PERIOD_NONE : v;
      came |= 1 << c;
      valid |= possible << c;
      for (const core of both) {
        if (together) core.inputs[c] = counts | 0;
        else core.setInput(c, counts, possible);
      }
    }
    // Bits of channels that were never declared are ignored.
    if (together) for (const core of both) core.takeInputs(came | (tally.ticks & 2 ? 1 << 7 : 0), valid);
  };
  const fail = (what: string): never => {
    throw new Error(`${what} differs at tick ${String(tally.ticks)} of seed ${String(seed)}; run again: lockstep(a, b, ${String(seed)}, ${String(tally.ticks + 1)})`);
  };
  const drain = (): void => {
    const n = a.outLength();
    if (n !== b.outLength()) fail('output length');
    let start = 0;
    for (let i = 0; i < n; i++) {
      const byte = a.view[i] ?? NaN;
      if (byte !== b.view[i]) fail(`output byte ${String(i)}`);
      if (byte !== 0) continue;
      if (i > start + 1) {
        tally.frames++;
        look(start + 1, i);
      }
      start = i;
    }
    tally.bytes += n;
    a.drop(n);
    b.drop(n);
  };
  const look = (from: number, to: number): void => {
    // the id is never zero: it is the byte after the first code byte
    const id = a.view[from + 1];
    if (id !== m.MSG_ACK && id !== m.MSG_ENDED) return;
    const plain: number[] = [];
    for (let at = from; at < to; at += a.view[at] ?? 1) {
      for (let k = 1; k < (a.view[at] ?? 1); k++) plain.push(a.view[at + k] ?? NaN);
      plain.push(0);
    }
    if (id === m.MSG_ACK) tally.results.add(plain[layout.ACK_RESULT] ?? NaN);
    else tally.ends.add(plain[layout.ENDED_HOW] ?? NaN);
  };
  for (; tally.ticks < ticks; tally.ticks++) {
    if (dice.below(3) === 0) act();
    if (dice.below(20_000) === 0) for (const core of both) core.stopInput(1);
    else if (dice.below(50) === 0) for (const core of both) core.stopInput(0);
    samples();
    const odd = dice.below(6000);
    const dt = odd === 0 ? dice.any() : odd < 200 ? 125 + dice.below(19_876) : tick_us;
    const ta = a.tick(dt);
    if (ta !== b.tick(dt)) fail('throttle');
    const state = a.getState();
    tally.states.add(state);
    if (state === m.STATE_TRIPPED) tally.causes.add(a.getCause());
    if (tally.ticks % 5 === 0) {
      const next = a.fold(hash);
      if (b.fold(hash) !== next) fail('memory');
      hash = next;
    }
    if (dice.below(4) === 0) drain();
  }
  return tally;
}
