// Stand-ins for I2C measuring parts, by their data sheets: register maps, power-on values, data formats. They measure what the
// test sets. Sources: INA226 SBOS547, INA219 SBOS448, ADS1115 SBAS444, NAU7802 (from memory; the map
// agrees with several public drivers, its data sheet was not opened). INA219 was compared with SBOS448F, tables 4 and 5.
import type { I2cPart } from './i2c-bus';

/** Registers of 16 bits, most significant byte first, behind a pointer. */
abstract class WordRegisters implements I2cPart {
  protected pointer = 0;
  private at = 0;
  private high = 0;
  private reading = 0;

  start(): void {
    this.at = 0;
  }

  write(byte: number): void {
    if (this.at === 0) this.pointer = byte;
    else if (this.at === 1) this.high = byte;
    else this.store(this.pointer, (this.high << 8) | byte);
    this.at++;
  }

  read(): number {
    if (this.at % 2 === 0) this.reading = this.load(this.pointer) & 0xffff;
    return this.at++ % 2 === 0 ? this.reading >> 8 : this.reading & 0xff;
  }

  protected abstract load(register: number): number;
  protected abstract store(register: number, word: number): void;
}

const clamp = (value: number, low: number, high: number): number => Math.min(high, Math.max(low, Math.round(value)));

/** Power monitor with 2.5 µV shunt steps and 1.25 mV bus steps. */
export class Ina226 extends WordRegisters {
  shunt_V = 0;
  bus_V = 0;
  config = 0x4127;
  /** A part that answers but is another one. */
  maker = 0x5449;
  conversions = 0;

  protected load(register: number): number {
    switch (register) {
      case 0x00: return this.config;
      case 0x01: this.conversions++; return clamp(this.shunt_V / 2.5e-6, -32768, 32767);
      case 0x02: return clamp(this.bus_V / 1.25e-3, 0, 32767);
      case 0xfe: return this.maker;
      case 0xff: return 0x2260;
      default: return 0;
    }
  }

  protected store(register: number, word: number): void {
    if (register === 0x00) this.config = word;
  }
}

/** Power monitor with 10 µV shunt steps and 4 mV bus steps in the upper 13 bits. */
export class Ina219 extends WordRegisters {
  shunt_V = 0;
  bus_V = 0;
  config = 0x399f;

  protected load(register: number): number {
    switch (register) {
      case 0x00: return this.config;
      case 0x01: return clamp(this.shunt_V / 10e-6, -32000, 32000);
      case 0x02: return (clamp(this.bus_V / 4e-3, 0, 8191) << 3) | 2;
      default: return 0;
    }
  }

  protected store(register: number, word: number): void {
    if (register === 0x00) this.config = (word & 0x8000) !== 0 ? 0x399f : word;
  }
}

const ADS_RANGE_V = [6.144, 4.096, 2.048, 1.024, 0.512, 0.256, 0.256, 0.256];

/** Converter of 16 bits with a multiplexer; `volts` are those between the inputs that the multiplexer has picked. */
export class Ads1115 extends WordRegisters {
  volts = 0;
  config = 0x8583;

  protected load(register: number): number {
    if (register === 1) return this.config;
    if (register !== 0) return 0;
    return clamp((this.volts / ADS_RANGE_V[(this.config >> 9) & 7]) * 32768, -32768, 32767);
  }

  protected store(register: number, word: number): void {
    if (register === 1) this.config = word;
  }
}

/** Bridge converter of 24 bits; byte registers that count up by themselves. */
export class Nau7802 implements I2cPart {
  /** Reading at the set amplifier gain, counts. */
  counts = 0;
  private readonly registers = new Uint8Array(32);
  private pointer = 0;
  private at = 0;

  constructor() {
    this.registers[0x1f] = 0x0f;
  }

  register(address: number): number {
    return this.registers[address];
  }

  start(): void {
    this.at = 0;
  }

  write(byte: number): void {
    if (this.at++ === 0) this.pointer = byte & 31;
    else this.store(this.pointer++ & 31, byte);
  }

  read(): number {
    const counts = clamp(this.counts, -0x800000, 0x7fffff) & 0xffffff;
    this.registers.set([counts >> 16, (counts >> 8) & 0xff, counts & 0xff], 0x12);
    return this.registers[this.pointer++ & 31];
  }

  private store(register: number, byte: number): void {
    if (register === 0 && (byte & 1) === 1) this.registers.fill(0, 0, 0x12);
    // Its digital half on (PUD), it reports to be powered up; a cycle is always ready here. A calibration is over at once.
    const up = (byte & 0x02) === 0 ? 0 : 0x28;
    this.registers[register] = register === 0 ? byte | up : register === 2 ? byte & ~0x04 : byte;
  }
}
