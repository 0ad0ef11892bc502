// Goal: whatever goes wrong between a board and this program, the motor stops, the record is kept, and the outcome says what it was.
// Method: simulated boards in real time behind pseudo-terminals; faults at the bench, plugs pulled, processes killed.
import { afterAll, beforeAll, describe, expect, test } from 'vitest';
import { sharedClock_us } from '../../src/host/guard/shared-clock';
import { cleanUp } from '../app/kit';
import { cable, connected, endAll, HAS_SOCAT, playOnce, serialBench, Twins, until, type SerialEdits } from './guard-kit';

const SHORT = 'protocols/short.yaml';

describe.skipIf(!HAS_SOCAT)('a run that goes wrong', () => {
  let twins: Twins;
  beforeAll(() => { twins = new Twins(); });
  afterAll(() => { endAll(); cleanUp(); });

  /** A board behind a cable, greeted. */
  async function bench(edits: Partial<SerialEdits> = {}) {
    const line = await cable();
    const folder = serialBench({ port: line.host, level_s: 6, ...edits });
    await twins.serve(line.board, folder, SHORT);
    return { line, folder, ...(await connected(folder, SHORT)) };
  }

  const driving = async (board: string): Promise<void> => {
    await until(() => twins.when(board, 'driving') !== undefined, 20_000, 'the board drives');
    await until(() => sharedClock_us() > (twins.when(board, 'driving') ?? Infinity) + 1_500_000, 5000, 'the motor turns');
  };

  test('trips at the bench reach the record: a locked rotor, a stop input', async () => {
    const cases = [['fault locked-rotor', /^(STALL|CURRENT_PEAK|CURRENT_MEAN|MISMATCH|DESYNC_SUSTAINED)$/], ['stop-input on', /^STOP_INPUT$/]] as const;
    await Promise.all(cases.map(async ([hand, code]) => {
      const b = await bench();
      const played = playOnce(b);
      await driving(b.line.board);
      twins.hands(b.line.board, hand);
      const { record } = await played;
      expect(record.outcome, hand).toMatchObject({ outcome: 'tripped', stop_confirmed: true });
      expect(record.outcome?.trip?.code).toMatch(code);
      expect(record.end.status).toBe('complete');
      expect(twins.states(b.line.board).at(-1)).toMatch(/^tripped /);
      await b.world.closed();
    }));
  });

  test('the plug is pulled: lost within 50 ms of silence, the board stops by itself, nothing is confirmed, and only a new greeting goes on', async () => {
    const b = await bench({ silence_ms: 50, host_silence_ms: 100 });
    const played = playOnce(b);
    await driving(b.line.board);
    const pulled_us = sharedClock_us();
    b.line.pull();
    const { record } = await played;
    expect(record.outcome).toMatchObject({ outcome: 'stop-unconfirmed', stop_confirmed: false, trip: { code: 'LINK_LOST' } });
    expect(record.end.status).toBe('complete');
    expect(b.notes.join(' ')).toMatch(/is lost/);
    expect(twins.states(b.line.board).at(-1)).toBe('tripped HOST_SILENT');
    const stopped_us = (twins.when(b.line.board, 'tripped') ?? Infinity) - pulled_us;
    expect(stopped_us).toBeLessThan(100_000 + 25_000 + 50_000); // deadman, one permit period, a busy computer
    // The port is gone: asking again says so, and arms nothing.
    expect(b.world.bench.permit().granted).toBe(false);
    const without = await b.world.clearTrip('looked at it');
    expect(without.join(' ')).toMatch(/there is no such port/);
    await b.world.closed();
  });

  test('a plug that is put back: a fresh port and a fresh greeting, and the board tells that it is tripped', async () => {
    // The 50 ms are the test before this one; here a busy computer may not stop the run that comes after.
    const b = await bench({ level_s: 3 });
    const played = playOnce(b);
    await driving(b.line.board);
    b.line.pull();
    await played;
    const folder = b.line.host.replace(/\/host$/, '');
    await cable(folder);
    await until(() => twins.happened(b.line.board).filter(({ happening: h }) => h.what === 'port' && h.text.includes('is on')).length === 2, 10_000, 'the board is on the new port');
    const states = twins.states(b.line.board);
    const reasons = await b.world.clearTrip('looked at it');
    expect(reasons.join(' ')).toMatch(/tripped from before/);
    // Nothing that was written before has reached it: it is as the deadman left it.
    expect(twins.states(b.line.board)).toEqual(states);
    await until(() => b.world.readings().current_A !== null, 5000, 'readings');
    let left = await b.world.clearTrip('looked at it');
    for (let n = 0; left.length > 0 && n < 50; n++) {
      await b.world.playUntil(() => false, 0.2);
      left = await b.world.clearTrip('looked at it');
    }
    expect(left).toEqual([]);
    expect(twins.states(b.line.board).at(-1)).toBe('safe');
    const again = await playOnce(b);
    expect(again.record.outcome?.trip?.detail ?? 'no trip').toBe('no trip');
    expect(again.record.outcome).toMatchObject({ outcome: 'done', stop_confirmed: true });
    await b.world.closed();
  });

  test('the guard is killed: the deadman of the board stops the motor, the run ends at once as unconfirmed', async () => {
    const b = await bench({ host_silence_ms: 200 });
    const played = playOnce(b);
    await driving(b.line.board);
    const killed_us = sharedClock_us();
    process.kill(b.world.guardPid!, 'SIGKILL');
    const { record } = await played;
    expect(record.outcome).toMatchObject({ outcome: 'stop-unconfirmed', trip: { code: 'HOST_FAULT' } });
    expect(record.outcome?.trip?.detail).toContain('SIGKILL');
    await until(() => twins.states(b.line.board).at(-1) === 'tripped HOST_SILENT', 5000, 'the deadman');
    expect((twins.when(b.line.board, 'tripped') ?? Infinity) - killed_us).toBeLessThan(200_000 + 25_000 + 50_000);
    await b.world.closed();
  });

  test('the guard hangs: it is given up, and the deadman has the motor', async () => {
    const b = await bench({ host_silence_ms: 100 });
    const played = playOnce(b);
    await driving(b.line.board);
    process.kill(b.world.guardPid!, 'SIGSTOP');
    const { record } = await played;
    expect(record.outcome).toMatchObject({ outcome: 'stop-unconfirmed', trip: { code: 'HOST_FAULT' } });
    expect(record.outcome?.trip?.detail).toMatch(/silent for/);
    expect(twins.states(b.line.board).at(-1)).toBe('tripped HOST_SILENT');
    await b.world.closed();
  });

  test('the guard is told to end: it stops the motor, sees it still, and only then leaves', async () => {
    const b = await bench();
    const played = playOnce(b);
    await driving(b.line.board);
    process.kill(b.world.guardPid!, 'SIGTERM');
    const { record } = await played;
    expect(record.outcome).toMatchObject({ outcome: 'stopped', stop_confirmed: true });
    await until(() => twins.states(b.line.board).at(-1) === 'safe', 5000, 'safe');
    await b.world.closed();
  });
});
