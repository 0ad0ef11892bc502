// Goal: the simulated supply keeps the queue, error and header rules of IEEE 488.2-1992 and SCPI-1999, so that a driver which works with it has met them.
// Method: program messages as text, answers as text; error numbers and texts of SCPI-1999 volume 2, chapter 21.
import { describe, expect, test } from 'vitest';
import { Instrument, type InstrumentOptions, type Plant } from '../../src/twin/instrument/instrument';
import { headerPattern } from '../../src/twin/instrument/syntax';

interface Bench {
  readonly instrument: Instrument;
  readonly plant: { voltage_V: number; current_A: number; limiting: boolean };
  readonly set: Parameters<Plant['set']>[0][];
  readonly ask: (message: string) => string;
}

function bench(options: InstrumentOptions = {}): Bench {
  const plant = { voltage_V: 0, current_A: 0, limiting: false };
  const set: Bench['set'] = [];
  const instrument = new Instrument({ set: (s) => set.push(s), read: () => plant }, options);
  const ask = (message: string): string => new TextDecoder('latin1').decode(instrument.receive(new TextEncoder().encode(`${message}\n`))).replace(/\n$/, '');
  return { instrument, plant, set, ask };
}

describe('headers (SCPI-1999 volume 1, chapter 6)', () => {
  test('short and long form, any case, optional nodes; nothing between short and long', () => {
    const { ask } = bench();
    for (const header of ['VOLT', 'VOLTage', 'voltage', ':VOLT', 'SOUR:VOLT', 'SOURCE:VOLTAGE:LEVEL:IMMEDIATE:AMPLITUDE', 'VOLT:LEV']) {
      ask('VOLT 0');
      ask(`${header} 5.5`);
      expect(ask('VOLT?'), header).toBe('5.500');
    }
    for (const header of ['VOL', 'VOLTA', 'VOLTAG', 'SOURC:VOLT']) {
      ask(`${header} 1`);
      expect(ask('SYST:ERR?'), header).toBe(`-113,"Undefined header;${header.toUpperCase()}"`);
    }
  });

  test('after a semicolon a header goes on where the last one left off, unless it begins with a colon; common commands do not move it', () => {
    const { ask } = bench();
    expect(ask('SOUR:VOLT 6;CURR 2;*OPC;VOLT:PROT 8;:OUTP ON')).toBe('');
    expect(ask(':SYST:ERR?')).toBe('0,"No error"');
    expect(ask('VOLT?;CURR?;:VOLT:PROT?;:OUTP?')).toBe('6.000;2.000;8.000;1');
    expect(ask('MEAS:VOLT?;CURR?')).toBe('+0.000000E+00;+0.000000E+00');
    ask('MEAS:VOLT?;OUTP?');
    expect(ask('SYST:ERR?')).toBe('-113,"Undefined header;MEAS:OUTP?"');
  });

  test('a pattern fits as the standard writes it', () => {
    const pattern = headerPattern('[SOURce:]VOLTage[:LEVel]');
    expect(['VOLT', 'SOUR:VOLTAGE', 'SOURCE:VOLT:LEV'].every((h) => pattern.test(h))).toBe(true);
    expect(['VOLTS', 'LEV', 'SOUR', 'VOLT:LEVE', 'XVOLT'].some((h) => pattern.test(h))).toBe(false);
  });
});

describe('errors by number', () => {
  test.each([
    ['FOO', '-113,"Undefined header;FOO"'],
    ['VOLT', '-109,"Missing parameter;VOLT"'],
    ['VOLT 1,2', '-108,"Parameter not allowed;2"'],
    ['OUTP:PROT:CLE 1', '-108,"Parameter not allowed;1"'],
    ['VOLT "5"', '-104,"Data type error;""5"""'],
    ['VOLT 5 A', '-131,"Invalid suffix;5 A"'],
    ['VOLT 99', '-222,"Data out of range;99"'],
    ['VOLT -0.1', '-222,"Data out of range;-0.1"'],
    ['OUTP MAYBE', '-224,"Illegal parameter value;MAYBE"'],
    ['VOLT 1,,2', '-103,"Invalid separator;VOLT 1,,2"'],
    ['VOLT 1;;CURR 1', '-102,"Syntax error;VOLT 1;;CURR 1"'],
    ['1VOLT', '-102,"Syntax error;1VOLT"'],
    ['VOLTAGEPROTECT 1', '-112,"Program mnemonic too long;VOLTAGEPROTECT"'],
    ['VOLT:PROT 8;:VOLT 8.001', '-221,"Settings conflict;VOLT 8.001 above VOLT:PROT 8.000"'],
    ['INST:NSEL 2', '-222,"Data out of range;2"'],
  ])('%s gives %s', (message, error) => {
    const { ask } = bench();
    ask(message);
    expect(ask('SYST:ERR?')).toBe(error);
    expect(ask('SYST:ERR?')).toBe('0,"No error"');
  });

  test('a mnemonic of twelve characters is not too long, only unknown (IEEE 488.2, 7.6.1.4.1)', () => {
    const { ask } = bench();
    ask('ABCDEFGHIJKL');
    expect(ask('SYST:ERR?')).toMatch(/^-113/);
    ask('ABCDEFGHIJKLM');
    expect(ask('SYST:ERR?')).toMatch(/^-112/);
  });

  test('numbers with suffixes and at both ends of the range', () => {
    const { ask } = bench({ most_V: 12 });
    for (const [sent, kept] of [['7600 MV', '7.600'], ['7.6V', '7.600'], ['1E1', '10.000'], ['0', '0.000'], ['12', '12.000'], ['MAX', '12.000'], ['MIN', '0.000']]) {
      ask(`VOLT ${sent}`);
      expect(ask('VOLT?'), sent).toBe(kept);
    }
    ask('VOLT 12.001');
    expect(ask('SYST:ERR?')).toMatch(/^-222/);
    expect(ask('VOLT? MAX')).toBe('12.000');
  });

  test('a message longer than the input buffer is -363 and changes nothing', () => {
    const { ask } = bench();
    ask(`VOLT 5${' '.repeat(1018)}`);
    expect(ask('SYST:ERR?')).toBe('0,"No error"');
    ask(`VOLT 6${' '.repeat(1019)}`);
    expect(ask('SYST:ERR?')).toMatch(/^-363/);
    expect(ask('VOLT?')).toBe('5.000');
  });
});

describe('the queue', () => {
  test('is read oldest first; on overflow the last entry becomes -350; *CLS empties it', () => {
    const { ask } = bench({ queue: 3 });
    for (const wrong of ['A1', 'VOLT', 'VOLT 99', 'B1', 'C1']) ask(wrong);
    expect([1, 2, 3, 4].map(() => ask('SYST:ERR?').split(',')[0])).toEqual(['-113', '-109', '-350', '0']);
    ask('A1');
    ask('*CLS');
    expect(ask('SYST:ERR:NEXT?')).toBe('0,"No error"');
  });

  test('exactly full is no overflow', () => {
    const { ask } = bench({ queue: 3 });
    for (const wrong of ['A1', 'VOLT', 'VOLT 99']) ask(wrong);
    expect([1, 2, 3, 4].map(() => ask('SYST:ERR?').split(',')[0])).toEqual(['-113', '-109', '-222', '0']);
  });

  test('events: power on, command, execution and device errors each have their bit, read once (IEEE 488.2, 11.5.1)', () => {
    const { ask } = bench({ queue: 1 });
    expect(ask('*ESR?')).toBe('128');
    ask('FOO');
    expect(ask('*ESR?;*ESR?')).toBe('32;0');
    ask('VOLT 99');
    expect(ask('*ESR?')).toBe('16');
    ask('*OPC');
    expect(ask('*ESR?')).toBe('1');
    ask(`VOLT 1${' '.repeat(2000)}`);
    expect(ask('*ESR?')).toBe('8');
    ask('*ESE 32');
    expect(ask('*STB?')).toBe('4');
    ask('FOO');
    expect(ask('*STB?')).toBe('36');
  });

  test('a command error gives up the rest of its message; answers before it are kept', () => {
    const { ask } = bench();
    expect(ask('VOLT 5;VOLT?;FOO;CURR 1')).toBe('5.000');
    expect(ask('CURR?')).toBe('40.000');
  });

  test('an execution error does not', () => {
    const { ask } = bench();
    ask('VOLT 99;CURR 1');
    expect(ask('CURR?;:SYST:ERR?')).toBe('1.000;-222,"Data out of range;99"');
  });
});

describe('what it feeds', () => {
  test('setting and switching reach the plant, *RST switches off', () => {
    const { ask, set } = bench();
    ask('VOLT 7.6;CURR 15;:OUTP 1');
    expect(set.at(-1)).toEqual({ voltage_V: 7.6, current_limit_A: 15, output: true });
    ask('*RST');
    expect(set.at(-1)).toMatchObject({ voltage_V: 0, output: false });
  });

  test('a bus above the protection switches off and stays off until it is cleared; at the protection nothing happens', () => {
    const { ask, plant, set } = bench();
    ask('VOLT 7.6;VOLT:PROT 9;:OUTP ON');
    plant.voltage_V = 9;
    expect(ask('OUTP?')).toBe('1');
    plant.voltage_V = 9.01;
    expect(ask('OUTP?;:VOLT:PROT:TRIP?')).toBe('0;1');
    expect(set.at(-1)!.output).toBe(false);
    ask('OUTP ON');
    expect(ask('OUTP?')).toBe('0');
    plant.voltage_V = 0;
    ask('OUTP:PROT:CLE;:OUTP ON');
    expect(ask('OUTP?')).toBe('1');
  });

  test('meters answer in NR3, and the condition register tells which of the two it holds', () => {
    const { ask, plant } = bench();
    Object.assign(plant, { voltage_V: 7.598, current_A: 0.0123 });
    expect(ask('MEAS:VOLT?;CURR?')).toBe('+7.598000E+00;+1.230000E-02');
    ask('OUTP ON');
    expect(ask('STAT:QUES:COND?')).toBe('2');
    plant.limiting = true;
    expect(ask('STAT:QUES:COND?')).toBe('1');
  });

  test('every mandatory common command is there (IEEE 488.2, 10)', () => {
    const { ask } = bench();
    for (const message of ['*CLS', '*ESE 0', '*OPC', '*RST', '*SRE 0', '*WAI']) ask(message);
    expect(ask('*ESE?;*ESR?;*IDN?;*OPC?;*SRE?;*STB?;*TST?')).toBe('0;1;SPOOLBENCH,SIMULATED-SUPPLY,0,1;1;0;0;0');
    expect(ask('SYST:ERR?;VERS?')).toBe('0,"No error";1999.0');
  });
});
