// An emulated ATmega328P board at 16 MHz, stepped cycle by cycle: serial bytes both ways, pulses on its pins, voltages on its
// analogue inputs, parts on its I2C bus. Deterministic; knows no real time.
import {
  adcConfig, AVRADC, AVRClock, AVREEPROM, avrInstruction, AVRIOPort, AVRTimer, AVRTWI, AVRUSART, CPU, EEPROMMemoryBackend, eepromConfig,
  portBConfig, portCConfig, portDConfig, timer0Config, timer1Config, timer2Config, twiConfig, usart0Config,
} from 'avr8js';
import { I2cBus } from './i2c-bus';

export const CYCLES_PER_US = 16;
const F_CPU = 16_000_000;
const SUPPLY_V = 5;
/** Number of the first pin of each port, as the board's print has them. */
const PORT_B_PIN = 8;
const PORT_C_PIN = 14;

export interface Pulse {
  readonly pin: number;
  /** Rising edge, and how long the pin stayed high, µs of board time. */
  readonly start_us: number;
  readonly width_us: number;
}

export class EmulatedUno {
  readonly i2c: I2cBus;
  /** Every byte that the board sends, as its last bit leaves. */
  onByte: (byte: number) => void = () => undefined;
  onPulse: (pulse: Pulse) => void = () => undefined;
  private readonly cpu: CPU;
  private readonly usart: AVRUSART;
  private readonly adc: AVRADC;
  private readonly ports: readonly AVRIOPort[];
  private readonly waiting: number[] = [];
  private unread = false;
  private end = 0;

  constructor(flash: Uint16Array) {
    const cpu = new CPU(flash.slice());
    this.cpu = cpu;
    for (const config of [timer0Config, timer1Config, timer2Config]) new AVRTimer(cpu, config);
    this.ports = [new AVRIOPort(cpu, portBConfig), new AVRIOPort(cpu, portCConfig), new AVRIOPort(cpu, portDConfig)];
    new AVRClock(cpu, F_CPU);
    new AVREEPROM(cpu, new EEPROMMemoryBackend(1024), eepromConfig);
    this.adc = new AVRADC(cpu, adcConfig);
    this.adc.avcc = SUPPLY_V;
    this.adc.aref = SUPPLY_V;
    this.adc.channelValues.fill(0);
    this.usart = new AVRUSART(cpu, usart0Config, F_CPU);
    this.keepReceivedBytes();
    this.usart.onByteTransmit = (byte) => this.onByte(byte);
    this.usart.onRxComplete = () => {
      this.unread = true;
      this.feed();
    };
    this.usart.onConfigurationChange = () => this.feed();
    const twi = new AVRTWI(cpu, twiConfig, F_CPU);
    this.i2c = new I2cBus(twi, (cycles, then) => cpu.addClockEvent(then, cycles));
    twi.eventHandler = this.i2c;
    this.watch(this.ports[0], PORT_B_PIN);
    this.watch(this.ports[2], 0);
  }

  /** Board time, µs. */
  get now_us(): number {
    return this.cpu.cycles / CYCLES_PER_US;
  }

  /** Bytes on the line to the board, one after the other at the line's speed. */
  send(bytes: Uint8Array): void {
    this.waiting.push(...bytes);
    this.feed();
  }

  advance(us: number): void {
    const { cpu } = this;
    this.end += us * CYCLES_PER_US;
    while (cpu.cycles < this.end) {
      avrInstruction(cpu);
      cpu.tick();
    }
  }

  /** Voltage on an analogue input, V. */
  setAnalog(input: number, volts: number): void {
    this.adc.channelValues[input] = Math.min(SUPPLY_V, Math.max(0, volts));
  }

  /** What drives a digital pin from outside: true high, false low. */
  setPin(pin: number, high: boolean): void {
    if (pin >= PORT_C_PIN) this.ports[1].setPin(pin - PORT_C_PIN, high);
    else if (pin >= PORT_B_PIN) this.ports[0].setPin(pin - PORT_B_PIN, high);
    else this.ports[2].setPin(pin, high);
  }

  private feed(): void {
    while (this.waiting.length > 0 && !this.usart.rxBusy && this.usart.rxEnable) this.usart.writeByte(this.waiting.shift() ?? 0);
  }

  /**
   * The emulator loses a received byte when the firmware writes UCSR0A or UCSR0B before it has read it: the first clears the
   * read-only flag RXC0, the second the pending interrupt. The chip does neither (the flag falls by reading UDR0 alone:
   * ATmega328P data sheet, "UCSRnA"), and the Arduino core writes both while it sends. So the flag is raised again.
   */
  private keepReceivedBytes(): void {
    const { cpu, usart } = this;
    const { UCSRA, UCSRB, UDR } = usart0Config;
    const read = cpu.readHooks[UDR];
    cpu.readHooks[UDR] = (address) => {
      this.unread = false;
      return read(address);
    };
    for (const register of [UCSRA, UCSRB]) {
      const write = cpu.writeHooks[register];
      cpu.writeHooks[register] = (...written) => {
        const done = write(...written);
        if (this.unread) cpu.setInterruptFlag((usart as unknown as { RXC: Parameters<CPU['setInterruptFlag']>[0] }).RXC);
        return done;
      };
    }
  }

  private watch(port: AVRIOPort, first: number): void {
    const rise = new Float64Array(8).fill(-1);
    port.addListener((value, before) => {
      for (let bit = 0; bit < 8; bit++) {
        if ((((value ^ before) >> bit) & 1) === 0) continue;
        if (((value >> bit) & 1) === 1) rise[bit] = this.now_us;
        else if (rise[bit] >= 0) {
          this.onPulse({ pin: first + bit, start_us: rise[bit], width_us: this.now_us - rise[bit] });
          rise[bit] = -1;
        }
      }
    });
  }
}
