// Goal: the run table has no blank cell, no dead end, and refuses every forbidden order by stopping the run.
// Method: every cell is visited; properties over random sequences of happenings.
import fc from 'fast-check';
import { describe, expect, test } from 'vitest';
import { OUTCOMES, type Outcome } from '../../src/model/events';
import { RUN_INPUTS, RUN_STATES, type RunInput, type RunState, TABLE, advance, worse } from '../../src/sequencer/machine';

const cells = RUN_STATES.flatMap((state) => RUN_INPUTS.map((input) => ({ state, input, cell: TABLE[state][input] })));
const forbidden = cells.filter(({ cell }) => cell.kind === 'never');

describe('the table', () => {
  test('has a cell for every state and every happening, and none besides', () => {
    expect(Object.keys(TABLE).sort()).toEqual([...RUN_STATES].sort());
    for (const state of RUN_STATES) expect(Object.keys(TABLE[state]).sort()).toEqual([...RUN_INPUTS].sort());
  });

  test.each(cells)('$state × $input says where to go, or why not', ({ state, input, cell }) => {
    const step = advance(state, input);
    if (cell.kind === 'go') expect(step).toEqual({ state: cell.state, outcome: cell.outcome, broken: null });
    if (cell.kind === 'ignored') expect(step).toEqual({ state, outcome: null, broken: null });
    if (cell.kind !== 'go') expect(cell.why.length).toBeGreaterThan(5);
  });

  test.each(forbidden)('$input while $state must not happen: the run is stopped as failed', ({ state, input }) => {
    const step = advance(state, input);
    expect(step.state).toBe(state === 'ended' ? 'ended' : 'stopping');
    expect(step.outcome).toBe('failed');
    expect(step.broken).toContain(`"${input}" while ${state}`);
  });

  test('the forbidden orders are these and no others', () => {
    const list = RUN_STATES.map((state) => `${state}: ${forbidden.filter((f) => f.state === state).map((f) => f.input).join(' ')}`);
    expect(list).toEqual([
      'idle: permitted refused started complete starved cut cleared overdue still not-still',
      'checking: begin started overdue',
      'arming: begin started',
      'ready: begin permitted refused complete cleared',
      'playing: begin permitted refused cleared',
      'finishing: begin permitted refused',
      'stopping: begin',
      'confirming: begin permitted refused started',
      'ended: begin',
    ]);
  });

  test('stop-now and trip are obeyed in every state before the end', () => {
    for (const state of RUN_STATES.filter((s) => s !== 'ended')) {
      const stopping: RunState[] = state === 'idle' ? ['ended'] : ['stopping', 'confirming'];
      expect(stopping).toContain(advance(state, 'stop').state);
      expect(stopping).toContain(advance(state, 'tripped').state);
      expect(advance(state, 'tripped').outcome).toBe('tripped');
    }
  });

  test('no happening leads back from stopping to playing', () => {
    const after: RunState[] = ['stopping', 'confirming', 'ended'];
    for (const state of after) for (const input of RUN_INPUTS) expect(after).toContain(advance(state, input).state);
  });

  test('every state can be reached from idle and leads to the end', () => {
    const reach = (start: RunState): Set<RunState> => {
      const seen = new Set<RunState>([start]);
      for (const state of seen) for (const input of RUN_INPUTS) seen.add(advance(state, input).state);
      return seen;
    };
    expect([...reach('idle')].sort()).toEqual([...RUN_STATES].sort());
    for (const state of RUN_STATES) expect(reach(state)).toContain('ended');
  });

  test('only a run that the board reported complete can be done', () => {
    fc.assert(fc.property(fc.array(fc.constantFrom(...RUN_INPUTS), { maxLength: 40 }), (inputs) => {
      let state: RunState = 'idle';
      let outcome: Outcome | null = null;
      let complete = false;
      for (const input of ['begin', ...inputs] as RunInput[]) {
        if (state === 'playing' && input === 'complete') complete = true;
        const step = advance(state, input);
        state = step.state;
        outcome = worse(outcome, step.outcome);
      }
      if (outcome === 'done') expect(complete).toBe(true);
      if (state === 'ended') expect(outcome).not.toBeNull();
    }), { seed: 20, numRuns: 3000 });
  });
});

describe('the worse of two outcomes', () => {
  test('is the one with the worse exit code, whatever the order', () => {
    for (const a of OUTCOMES) for (const b of OUTCOMES) expect(worse(a, b)).toBe(worse(b, a));
    expect(worse('tripped', 'stop-unconfirmed')).toBe('stop-unconfirmed');
    expect(worse('tripped', 'failed')).toBe('failed');
    expect(worse('tripped', 'stopped')).toBe('tripped');
    expect(worse('stopped', 'starved')).toBe('stopped');
    expect(worse(null, 'done')).toBe('done');
    expect(worse('done', null)).toBe('done');
  });
});
