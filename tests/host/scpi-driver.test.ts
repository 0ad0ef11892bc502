// Goal: the supply driver reads the error queue after every command, reads back what it set, names what went wrong, and leaves the output off.
// Method: the driver talks through memory to the simulated instrument, which misbehaves on demand; timeouts under fake timers, nothing sleeps.
import { afterEach, beforeEach, describe, expect, test, vi } from 'vitest';
import { ScpiSupply } from '../../src/host/scpi/driver';
import { SupplyError, type SupplyFault } from '../../src/host/scpi/errors';
import type { LineListener, OpenLine } from '../../src/host/scpi/line';
import type { ScpiSupplyFile } from '../../src/model/files/rig-supply';
import { supplySchema } from '../../src/model/files/rig-supply';
import { Instrument, type InstrumentOptions } from '../../src/twin/instrument/instrument';

function file(more: Record<string, unknown> = {}): ScpiSupplyFile {
  const value = supplySchema.parse({ kind: 'scpi', connection: { kind: 'twin' }, voltage: '7.6 V', current_limit: '15 A', over_voltage: '9 V', range: '2 V .. 8.5 V', ...more });
  if (value.kind !== 'scpi') throw new Error('not a programmable supply');
  return value;
}

class Bench {
  readonly plant = { voltage_V: 0, current_A: 0, limiting: false };
  readonly heard: string[] = [];
  readonly notes: string[] = [];
  readonly instrument: Instrument;
  opened = 0;
  /** While true, no connection comes about. */
  unplugged = false;
  private listener: LineListener | null = null;

  constructor(options: InstrumentOptions = {}) {
    this.instrument = new Instrument({
      set: ({ voltage_V, output }) => { this.plant.voltage_V = output ? voltage_V : 0; },
      read: () => this.plant,
    }, { onMessage: (m) => this.heard.push(m), ...options });
  }

  readonly open: OpenLine = (listener) => {
    if (this.unplugged) return Promise.reject(new SupplyError('UNREACHABLE', 'The supply at memory cannot be reached: unplugged.'));
    this.opened++;
    this.listener = listener;
    let over = false;
    return Promise.resolve({
      name: 'memory',
      send: (text) => {
        if (over || this.unplugged) return;
        const answer = this.instrument.receive(new TextEncoder().encode(text));
        if (answer.length > 0) queueMicrotask(() => { if (!over) listener.onBytes(answer); });
      },
      close: () => { over = true; return Promise.resolve(); },
    });
  };

  unplug(): void {
    this.unplugged = true;
    this.listener?.onLost('it closed the connection');
  }

  async supply(more: Record<string, unknown> = {}): Promise<ScpiSupply> {
    return await ScpiSupply.open({ file: file(more), open: this.open, onNote: (t) => this.notes.push(t) }, 7.6);
  }
}

async function faultOf(work: Promise<unknown>): Promise<{ fault: SupplyFault | null; text: string }> {
  try {
    await work;
    return { fault: null, text: '' };
  } catch (error) {
    if (!(error instanceof SupplyError)) throw error;
    return { fault: error.fault, text: error.message };
  }
}

beforeEach(() => { vi.useFakeTimers(); });
afterEach(() => { vi.useRealTimers(); });

describe('a supply that does as it is told', () => {
  test('is greeted, set up with its output off, switched on, set, measured, and switched off at the end', async () => {
    const bench = new Bench();
    const supply = await bench.supply();
    expect(supply.identity).toMatchObject({ maker: 'SPOOLBENCH', model: 'SIMULATED-SUPPLY' });
    expect(bench.instrument.state).toEqual({ voltage_V: 7.6, current_limit_A: 15, over_voltage_V: 9, output: false });
    await supply.output(true);
    await supply.setVoltage(3);
    expect(bench.instrument.state).toMatchObject({ voltage_V: 3, output: true });
    bench.plant.current_A = 1.25;
    expect(await supply.measure()).toEqual({ voltage_V: 3, current_A: 1.25, limiting: false });
    await supply.close();
    expect(bench.instrument.state.output).toBe(false);
    expect(bench.notes).toEqual([]);
  });

  test('the error queue is read after every command', async () => {
    const bench = new Bench();
    await (await bench.supply()).output(true);
    const commands = bench.heard.flatMap((m, i) => (m.endsWith('?') ? [] : [i]));
    expect(commands.length).toBeGreaterThanOrEqual(6);
    for (const i of commands) expect(bench.heard[i + 1], `after "${bench.heard[i]}"`).toBe('SYST:ERR?');
  });

  test('verbs called at once are carried out one after the other', async () => {
    const bench = new Bench();
    const supply = await bench.supply();
    await Promise.all([supply.setVoltage(3), supply.output(true), supply.setVoltage(5), supply.measure()]);
    expect(bench.instrument.state).toMatchObject({ voltage_V: 5, output: true });
    expect(bench.opened).toBe(1);
  });

  test('other commands come from the rig file, with the output selected before each', async () => {
    const bench = new Bench();
    const supply = await bench.supply({ output: 1, commands: { select: 'INST:NSEL {}', voltage: 'SOUR:VOLT:LEV {}', confirm_voltage: 'SOUR:VOLT:LEV?', on: 'OUTP:STAT 1', off: 'OUTP:STAT 0', read_limiting: 'STAT:QUES:COND?' } });
    await supply.output(true);
    expect(bench.heard.filter((m) => m === 'INST:NSEL 1').length).toBeGreaterThanOrEqual(6);
    expect(bench.heard).toContain('SOUR:VOLT:LEV 7.6');
    expect(bench.heard).toContain('OUTP:STAT 1');
    bench.plant.limiting = true;
    expect((await supply.measure()).limiting).toBe(true);
    bench.plant.limiting = false;
    expect((await supply.measure()).limiting).toBe(false);
  });

  test('without a question for it, its meters tell when it holds the current', async () => {
    const bench = new Bench();
    const supply = await bench.supply();
    await supply.output(true);
    Object.assign(bench.plant, { voltage_V: 7.21, current_A: 14.56 });
    expect((await supply.measure()).limiting).toBe(true);
    Object.assign(bench.plant, { voltage_V: 7.23, current_A: 14.56 });
    expect((await supply.measure()).limiting).toBe(false);
    Object.assign(bench.plant, { voltage_V: 7.21, current_A: 14.54 });
    expect((await supply.measure()).limiting).toBe(false);
  });

  test('errors from before are told and are no reason to refuse', async () => {
    const bench = new Bench();
    bench.instrument.receive(new TextEncoder().encode('FOO\nVOLT 99\n'));
    await bench.supply();
    expect(bench.notes).toEqual([expect.stringMatching(/from before: -113 "Undefined header; FOO" \(a command error\), -222/)]);
  });
});

describe('named errors that say what to do; the output is off after each', () => {
  test('an error in answer to a command: number, its text, what was sent, what to do', async () => {
    const bench = new Bench({ most_V: 6 });
    const { fault, text } = await faultOf(bench.supply({ over_voltage: undefined }));
    expect(fault).toBe('ERROR_REPORTED');
    expect(text).toMatch(/"VOLT 7.6".*-222 "Data out of range; 7.6" \(an execution error\).*supply\.range/);
  });

  test('an unknown command names the place to write the right one', async () => {
    const { fault, text } = await faultOf(new Bench().supply({ commands: { over_voltage: 'VOLT:OVP {}' } }));
    expect(fault).toBe('ERROR_REPORTED');
    expect(text).toMatch(/-113.*supply\.commands/);
  });

  test('a command that is ignored is found by reading back', async () => {
    const bench = new Bench();
    const supply = await bench.supply();
    await supply.output(true);
    bench.instrument.misbehaviour = 'ignores-voltage';
    const { fault, text } = await faultOf(supply.setVoltage(3));
    expect(fault).toBe('READ_BACK');
    expect(text).toMatch(/set to 3 V and reads back as 7.6 V, 153.3 % off \(accepted: 1 %\).*ignores the command/);
    expect(bench.instrument.state.output).toBe(false);
  });

  test('the read-back may lie within the tolerance and not beyond', async () => {
    const bench = new Bench();
    const supply = await bench.supply({ commands: { confirm_voltage: 'VOLT:PROT?' }, over_voltage: '7.67 V', tolerance: '1 %' });
    bench.instrument.misbehaviour = 'none';
    await supply.setVoltage(7.6); // 7.67 is 0.92 % above
    expect((await faultOf(supply.setVoltage(7.59))).fault).toBe('READ_BACK'); // 1.05 %
  });

  test('where the supply cannot tell, nothing is read back', async () => {
    const bench = new Bench();
    const supply = await bench.supply({ commands: { confirm_voltage: 'none', confirm_output: 'none', confirm_current_limit: 'none', confirm_over_voltage: 'none' } });
    bench.instrument.misbehaviour = 'ignores-voltage';
    await supply.setVoltage(3);
    expect(bench.heard.some((m) => m === 'VOLT?' || m === 'OUTP?')).toBe(false);
  });

  test('an output that does not go on, and one that does not go off', async () => {
    const bench = new Bench();
    const supply = await bench.supply();
    bench.instrument.misbehaviour = 'output-falls-off';
    expect(await faultOf(supply.output(true))).toMatchObject({ fault: 'OUTPUT_STATE', text: expect.stringMatching(/says that its output is off.*over-voltage protection/) as string });
    bench.instrument.misbehaviour = 'none';
    await supply.output(false);
    await supply.output(true);
    bench.instrument.misbehaviour = 'ignores-output';
    expect(await faultOf(supply.output(false))).toMatchObject({ fault: 'OUTPUT_STATE', text: expect.stringMatching(/Cut the power by hand/) as string });
  });

  test('an instrument that is silent: the question, the time, and the output was still told to go off', async () => {
    const bench = new Bench();
    const supply = await bench.supply({ answer_within: '200 ms' });
    await supply.output(true);
    bench.instrument.misbehaviour = 'silent';
    const asked = faultOf(supply.measure());
    await vi.advanceTimersByTimeAsync(199);
    expect(bench.heard.at(-1)).toBe('MEAS:VOLT?');
    await vi.advanceTimersByTimeAsync(1);
    expect(await asked).toMatchObject({ fault: 'NO_ANSWER', text: expect.stringMatching(/"MEAS:VOLT\?" within 200 ms/) as string });
    expect(bench.heard.at(-1)).toBe('OUTP OFF');
  });

  test('a stranger is refused and told nothing but *IDN?', async () => {
    const bench = new Bench({ identity: 'BAKERY,OVEN,0,1' });
    const { fault, text } = await faultOf(bench.supply({ identity: 'SPOOLBENCH,SIM' }));
    expect(fault).toBe('NOT_OURS');
    expect(text).toMatch(/"BAKERY,OVEN,0,1".*expects "SPOOLBENCH,SIM/);
    expect(bench.heard).toEqual(['*IDN?']);
  });

  test('what is no instrument at all is refused: garbage, and an answer without fields', async () => {
    const garbage = new Bench();
    garbage.instrument.misbehaviour = 'garbage';
    expect((await faultOf(garbage.supply())).fault).toBe('NOT_OURS');
    expect((await faultOf(new Bench({ identity: 'hello' }).supply())).fault).toBe('NOT_OURS');
  });

  test('numbers that are none, and an error queue without an end', async () => {
    const bench = new Bench();
    const supply = await bench.supply({ commands: { read_current: '*IDN?' } });
    await supply.output(true);
    expect(await faultOf(supply.measure())).toMatchObject({ fault: 'UNREADABLE', text: expect.stringMatching(/"\*IDN\?".*is no number/) as string });
    expect(bench.instrument.state.output).toBe(false);
    const endless = new Bench();
    endless.instrument.misbehaviour = 'endless-errors';
    expect(await faultOf(endless.supply())).toMatchObject({ fault: 'ERROR_REPORTED', text: expect.stringMatching(/after 100 were read/) as string });
  });

  test('outside the range of the rig file, or at its protection, nothing is sent; the output stays as it is', async () => {
    const bench = new Bench();
    const supply = await bench.supply({ range: '2 V .. 12 V' });
    await supply.output(true);
    const before = bench.heard.length;
    for (const volts of [1.999, 12.001, 9, Number.NaN]) expect((await faultOf(supply.setVoltage(volts))).fault, `${volts} V`).toBe('OUT_OF_RANGE');
    expect(bench.heard.length).toBe(before);
    expect(bench.instrument.state.output).toBe(true);
    await supply.setVoltage(2);
    await supply.setVoltage(8.99);
  });
});

describe('a connection that ends', () => {
  test('while the output is on: told at once, greeted anew and switched off, and the next verb says so by name', async () => {
    const bench = new Bench();
    const supply = await bench.supply();
    await supply.output(true);
    bench.unplug();
    expect(bench.notes).toEqual([expect.stringMatching(/lost: it closed the connection/)]);
    bench.unplugged = false;
    expect(await faultOf(supply.setVoltage(3))).toMatchObject({ fault: 'LOST', text: expect.stringMatching(/output was on.*start again/) as string });
    expect(bench.opened).toBe(2);
    expect(bench.instrument.state).toMatchObject({ voltage_V: 7.6, output: false });
    await supply.setVoltage(3);
    await supply.output(true);
    expect(bench.instrument.state).toMatchObject({ voltage_V: 3, output: true });
  });

  test('while the output is off: the next verb connects anew without a word', async () => {
    const bench = new Bench();
    const supply = await bench.supply();
    bench.unplug();
    bench.unplugged = false;
    await supply.setVoltage(3);
    expect(bench.notes).toEqual([]);
    expect(bench.opened).toBe(2);
  });

  test('and does not come back: the fault is named, and closing says that a hand is needed', async () => {
    const bench = new Bench();
    const supply = await bench.supply();
    await supply.output(true);
    bench.unplug();
    expect((await faultOf(supply.setVoltage(3))).fault).toBe('UNREACHABLE');
    await supply.close();
    expect(bench.notes.at(-1)).toMatch(/could not be switched off.*by hand/);
  });

  test('a question that waits is told that the line is lost', async () => {
    const bench = new Bench();
    const supply = await bench.supply();
    bench.instrument.misbehaviour = 'silent';
    const asked = faultOf(supply.measure());
    await vi.advanceTimersByTimeAsync(10);
    bench.unplug();
    expect((await asked).fault).toBe('LOST');
  });
});

describe('switching off past everything', () => {
  test('cut() is on the wire before it returns, whatever waits; the output is confirmed off afterwards and may go on again', async () => {
    const bench = new Bench();
    const supply = await bench.supply();
    await supply.output(true);
    bench.instrument.misbehaviour = 'silent';
    const asked = faultOf(supply.measure());
    await vi.advanceTimersByTimeAsync(10);
    bench.instrument.misbehaviour = 'none';
    supply.cut();
    expect(bench.heard.at(-1)).toBe('OUTP OFF');
    expect(bench.instrument.state.output).toBe(false);
    expect((await asked).fault).toBe('LOST');
    await supply.output(false);
    await supply.output(true);
    expect(bench.instrument.state).toMatchObject({ voltage_V: 7.6, output: true });
  });

  test('closing twice is closing once', async () => {
    const bench = new Bench();
    const supply = await bench.supply();
    await supply.output(true);
    await supply.close();
    const said = bench.heard.length;
    await supply.close();
    expect(bench.heard.length).toBe(said);
  });
});
