// Goal: the handshake arms nothing but the right board with exactly our limits, and survives lost answers.
// Method: a scripted board that answers commands as the wire says, losing or falsifying answers on request.
import { describe, expect, test } from 'vitest';
import { limitsChecksum } from '../../src/link/checksum';
import { FrameDecoder } from '../../src/link/codec';
import { CommandChannel, type CommandResult } from '../../src/link/command-channel';
import { COMMAND_ID, type Guards, type LimitRow } from '../../src/link/commands';
import { LinkError } from '../../src/link/errors';
import type { BoardMessage, ChannelDeclaration, Identity, Status } from '../../src/link/messages';
import { Session, type SessionPlan } from '../../src/link/session';
import * as M from '../../src/wire/messages';

const guards: Guards = { deadman: 100_000, longestRun: 60_000_000, throttleCap: 10_000, currentZero: 0, voltageZero: 0, stillPeriod: 20_000 };
const limits: LimitRow[] = [{ slot: 0, rule: M.RULE_ABOVE, channel: 0, cause: 1, threshold: 4000, bad: 3, window: 5, span: 0 }];
const plan: SessionPlan = {
  uid: 77, simulated: false, tick_us: 1000, divider: 100, limits, guards,
  channels: [
    { id: 0, kind: M.KIND_CURRENT, scale: 0.01, zero: 0, period_us: 1000, name: 'current' },
    { id: 1, kind: M.KIND_PERIOD, scale: 1e-6, zero: 0, period_us: 1000, name: 'speed' },
  ],
};

class ScriptedBoard {
  readonly seen: number[] = [];
  state: number = M.STATE_SAFE;
  checksum = limitsChecksum(limits, guards);
  identity: Partial<Identity> = {};
  channels: Partial<ChannelDeclaration>[] = [];
  /** Answers (counted from 1) that get lost. */
  lose = new Set<number>();
  refuse: number | null = null;
  silent = false;
  answers = 0;
  receive: (message: BoardMessage) => void = () => undefined;
  private readonly decoder = new FrameDecoder((bytes) => this.command(bytes[0], bytes[1], bytes[2] ?? 0));
  private readonly outgoing: BoardMessage[] = [];

  send(frame: Uint8Array): void {
    this.decoder.push(frame);
  }

  /** Delivers answers until none is left. */
  deliver(): void {
    for (let m = this.outgoing.shift(); m !== undefined; m = this.outgoing.shift()) this.receive(m);
  }

  private command(id: number, sequence: number, first: number): void {
    this.seen.push(id);
    if (this.silent || this.lose.has(++this.answers)) return;
    const ack = (result: number) => this.outgoing.push({ type: 'ack', sequence: 0, command: id, commandSequence: sequence, result, state: this.state, cause: 0 });
    if (id === this.refuse) {
      ack(M.RESULT_WRONG_STATE);
      return;
    }
    ack(M.RESULT_OK);
    if (id === M.CMD_HELLO)
      this.outgoing.push({ type: 'identity', sequence: 0, version: 1, board: 1, firmware: 1, tick_us: 1000, channels: 2, queue: 16, slots: 24, reset: 1, simulated: false, uid: 77, ...this.identity });
    if (id === M.CMD_DESCRIBE) {
      const own = first === 0
        ? { kind: M.KIND_CURRENT, scaleMantissa: 1, exponent: -2 }
        : { kind: M.KIND_PERIOD, scaleMantissa: 1, exponent: -6 };
      this.outgoing.push({ type: 'channel', sequence: 0, channel: first, zero: 0, period_us: 1000, ...own, ...this.channels[first] });
    }
    if (id === M.CMD_DISARM) this.state = M.STATE_SAFE;
    if (id === M.CMD_STATUS) {
      const status: Status = { type: 'status', sequence: 0, state: this.state, cause: 1, slot: 0, tick_us: 5, value: 6, limit: 7, ordinal: 8, checksum: this.checksum, badFrames: 0 };
      this.outgoing.push(status);
    }
  }
}

function setUp(change: (board: ScriptedBoard) => void = () => undefined, over: Partial<SessionPlan> = {}) {
  const board = new ScriptedBoard();
  change(board);
  const channel = new CommandChannel((frame) => board.send(frame), { timeout_us: 50_000, tries: 4 });
  board.receive = (m) => channel.message(m);
  const session = new Session(channel, { ...plan, ...over });
  let outcome: LinkError | null | undefined;
  session.open((error) => (outcome = error));
  const run = (seconds = 2) => {
    for (let t = 0; t <= seconds * 1e6 && outcome === undefined; t += 10_000) {
      board.deliver();
      channel.time('host', t);
    }
    return outcome;
  };
  return { board, channel, session, run };
}

describe('handshake', () => {
  test('greets, reads every channel, sets telemetry, every slot and the guards, and compares the checksum', () => {
    const { board, session, run } = setUp();
    expect(run()).toBeNull();
    expect(session.phase).toBe('ready');
    expect(session.facts!.checksum).toBe(limitsChecksum(limits, guards));
    expect(session.facts!.identity.uid).toBe(77);
    const expected = [M.CMD_HELLO, M.CMD_DESCRIBE, M.CMD_DESCRIBE, M.CMD_STATUS, M.CMD_SET_TELEMETRY, ...new Array<number>(24).fill(M.CMD_SET_LIMIT), M.CMD_SET_GUARDS, M.CMD_STATUS];
    expect(board.seen).toEqual(expected);
  });

  test('completes whichever answer gets lost, once', () => {
    for (let lost = 1; lost <= 31; lost++) {
      const { channel, run } = setUp((b) => b.lose.add(lost));
      expect(run(), `answer ${lost} lost`).toBeNull();
      expect(channel.resent).toBe(1);
    }
  });

  test('a board left armed by a host that died is disarmed before its limits change', () => {
    const { board, run } = setUp((b) => (b.state = M.STATE_DRIVING));
    expect(run()).toBeNull();
    expect(board.seen.indexOf(M.CMD_DISARM)).toBeGreaterThan(0);
    expect(board.seen.indexOf(M.CMD_DISARM)).toBeLessThan(board.seen.indexOf(M.CMD_SET_LIMIT));
  });

  const refusals: [string, (b: ScriptedBoard) => void, LinkError['code'], RegExp][] = [
    ['a board that does not answer', (b) => (b.silent = true), 'NO_ANSWER', /did not answer "hello" \(sent 4 times\).*Check its power/],
    ['another wire version', (b) => (b.identity = { version: 2 }), 'WIRE_VERSION', /wire version 2, this program 1\. Load/],
    ['a foreign board', (b) => (b.identity = { uid: 78 }), 'FOREIGN_BOARD', /0x0000004e answered, the rig file names 0x0000004d/],
    ['a simulated board on a rig that is said to be real', (b) => (b.identity = { simulated: true }), 'NOT_AS_SIMULATED', /is a simulated one.*Add `simulated: true` under `link`/],
    ['another tick', (b) => (b.identity = { tick_us: 500 }), 'TICK_MISMATCH', /every 500 µs, the rig file says 1000 µs/],
    ['too few limit slots', (b) => (b.identity = { slots: 0 }), 'TOO_MANY_LIMITS', /has 0 limit slots/],
    ['more limit slots than the wire knows', (b) => (b.identity = { slots: 25 }), 'TOO_MANY_LIMITS', /has 25 limit slots/],
    ['a missing channel', (b) => (b.identity = { channels: 1 }), 'CHANNEL_MISMATCH', /channel 1 \(speed\) is missing/],
    ['one channel too many', (b) => (b.identity = { channels: 3 }), 'CHANNEL_MISMATCH', /the board has 3 channels, the rig file 2/],
    ['a channel of another kind', (b) => (b.channels[0] = { kind: M.KIND_VOLTAGE }), 'CHANNEL_MISMATCH', /channel 0 \(current\) is of kind 2, not 1/],
    ['another scale', (b) => (b.channels[0] = { scaleMantissa: 2 }), 'CHANNEL_MISMATCH', /has 0.02 per count, not 0.01/],
    ['another zero', (b) => (b.channels[0] = { zero: 5 }), 'CHANNEL_MISMATCH', /zero at 5 counts, not 0/],
    ['another period', (b) => (b.channels[1] = { period_us: 2000 }), 'CHANNEL_MISMATCH', /period of 2000 µs, not 1000 µs/],
    ['limits that did not arrive', (b) => (b.checksum = 1), 'CHECKSUM', /checksum 0x00000001, ours 0x/],
    ['a trip from before', (b) => (b.state = M.STATE_TRIPPED), 'TRIPPED_BEFORE', /cause 1 at segment 8.*connecting does not clear it/],
    ['a refused limit', (b) => (b.refuse = M.CMD_SET_LIMIT), 'REFUSED', /refused "set-limit": not in this state \(board is safe\)/],
  ];

  test('a real board on a rig that is said to be simulated is refused; with the same answer on both sides it is taken', () => {
    const real = setUp(undefined, { simulated: true }).run();
    expect(real?.code).toBe('NOT_AS_SIMULATED');
    expect(real?.message).toMatch(/is a real one.*its motor can turn/);
    expect(setUp((b) => { b.identity = { simulated: true }; }, { simulated: true }).run()).toBeNull();
    expect(setUp(undefined, { simulated: false }).run()).toBeNull();
    // The simulated rig in one process is not asked.
    expect(setUp((b) => { b.identity = { simulated: true }; }, { simulated: null }).run()).toBeNull();
  });

  test.each(refusals)('%s is refused by name, with what to do', (_what, change, code, words) => {
    const { session, run } = setUp(change);
    const error = run();
    expect(error).toBeInstanceOf(LinkError);
    expect(error!.code).toBe(code);
    expect(error!.message).toMatch(words);
    expect(session.phase).toBe('failed');
    expect(session.error).toBe(error);
    expect(session.facts).toBeNull();
  });

  test('a rig file that names no board takes any', () => {
    expect(setUp((b) => (b.identity = { uid: 4 }), { uid: null }).run()).toBeNull();
  });

  test('opening again starts from the greeting and can succeed', () => {
    const { board, channel, session, run } = setUp((b) => (b.silent = true));
    expect(run()!.code).toBe('NO_ANSWER');
    board.silent = false;
    let second: LinkError | null | undefined;
    session.open((e) => (second = e));
    for (let t = 3e6; t < 4e6 && second === undefined; t += 1000) {
      board.deliver();
      channel.time('host', t);
    }
    expect(second).toBeNull();
    expect(session.phase).toBe('ready');
  });
});

describe('command channel', () => {
  function bare() {
    const frames: Uint8Array[] = [];
    const channel = new CommandChannel((f) => frames.push(f), { timeout_us: 1000, tries: 3 });
    const results: CommandResult[] = [];
    const ack = (commandSequence: number, command: number = COMMAND_ID.start, result: number = M.RESULT_OK): BoardMessage =>
      ({ type: 'ack', sequence: 0, command, commandSequence, result, state: 0, cause: 0 });
    return { frames, channel, results, ack, ask: () => channel.request({ name: 'start' }, (r) => results.push(r)) };
  }

  test('keeps one command outstanding and sends the next only after the answer', () => {
    const { frames, channel, results, ack, ask } = bare();
    ask();
    ask();
    expect(frames).toHaveLength(1);
    expect(channel.pending).toBe(2);
    expect(channel.message(ack(2))).toBe(false); // another number
    expect(channel.message(ack(1, COMMAND_ID.arm))).toBe(false); // another command
    expect(results).toHaveLength(0);
    expect(channel.message(ack(1))).toBe(true);
    expect(frames).toHaveLength(2);
    expect(channel.message(ack(1))).toBe(false); // a second answer to the first
    expect(channel.message(ack(2))).toBe(true);
    expect(results.map((r) => r.ok)).toEqual([true, true]);
    expect(channel.pending).toBe(0);
  });

  test('sends the same bytes again at the timeout of either clock, not before, and gives up after the last try', () => {
    for (const base of ['device', 'host'] as const) {
      const { frames, channel, results, ask } = bare();
      channel.time(base, 5_000_000);
      ask();
      channel.time(base, 5_000_999);
      expect(frames).toHaveLength(1);
      channel.time(base, 5_001_000);
      expect(frames).toHaveLength(2);
      expect(frames[1]).toEqual(frames[0]);
      channel.time(base, 5_002_000);
      channel.time(base, 5_002_999);
      expect(frames).toHaveLength(3);
      expect(results).toHaveLength(0);
      channel.time(base, 5_003_000);
      expect(results).toEqual([{ ok: false, why: 'no-answer', tries: 3 }]);
      expect(channel.resent).toBe(2);
    }
  });

  test('numbers of queued commands rise by one whatever is sent in between: the board drops a repeated number', () => {
    const { frames, channel, ack, ask } = bare();
    ask();
    channel.message(ack(1));
    for (let i = 0; i < 256; i++) channel.urgent({ name: 'permit', span: 1000 });
    ask();
    const sequences: number[] = [];
    const decoder = new FrameDecoder((bytes) => bytes[0] === M.CMD_START && sequences.push(bytes[1]));
    frames.forEach((f) => decoder.push(f));
    expect(sequences).toEqual([1, 2]);
  });

  test('a clock that jumps back resends nothing early', () => {
    const { frames, channel, ask } = bare();
    channel.time('host', 10_000);
    ask();
    channel.time('host', 0);
    channel.time('host', 999);
    expect(frames).toHaveLength(1);
    channel.time('host', 1000);
    expect(frames).toHaveLength(2);
  });

  test('a refusal ends the command; an urgent command passes the queue; abandoning forgets', () => {
    const { frames, channel, results, ack, ask } = bare();
    ask();
    ask();
    channel.urgent({ name: 'stop' });
    expect(frames).toHaveLength(2);
    channel.message(ack(1, COMMAND_ID.start, M.RESULT_CONDITION));
    expect(results[0]).toMatchObject({ ok: false, why: 'refused' });
    channel.abandon();
    expect(channel.pending).toBe(0);
    channel.time('host', 1);
    channel.time('host', 1e9);
    expect(results).toHaveLength(1);
  });
});
