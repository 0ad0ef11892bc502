// The parts of johnny-five and firmata-io that are used here; neither brings types.

declare module 'firmata-io' {
  import type { EventEmitter } from 'node:events';

  /** What a board is spoken to through: emits `open` and `data`, takes bytes. */
  export interface FirmataTransport extends EventEmitter {
    write(bytes: Buffer, done: () => void): void;
  }

  export interface FirmataPin {
    supportedModes: number[];
    mode: number;
    state?: number;
  }

  export class Firmata extends EventEmitter {
    constructor(transport: FirmataTransport, options: { reportVersionTimeout: number });
    readonly MODES: Readonly<Record<'INPUT' | 'OUTPUT' | 'ANALOG' | 'SERVO' | 'I2C' | 'PULLUP', number>>;
    readonly pins: FirmataPin[];
    readonly analogPins: number[];
    readonly firmware: { name?: string; version?: { major: number; minor: number } };
    readonly reportVersionTimeoutId: NodeJS.Timeout;
    reportVersion(callback: () => void): void;
    queryFirmware(callback: () => void): void;
    queryPinState(pin: number, callback: () => void): void;
    pinMode(pin: number, mode: number): void;
    analogRead(input: number, callback: (value: number) => void): void;
    digitalWrite(pin: number, level: 0 | 1): void;
    digitalRead(pin: number, callback: (value: number) => void): void;
    reportDigitalPin(pin: number, on: 0 | 1): void;
    setSamplingInterval(ms: number): void;
    i2cConfig(options: { delay: number }): void;
    i2cWrite(address: number, register: number, bytes: readonly number[]): void;
    i2cRead(address: number, register: number, bytes: number, callback: (data: number[]) => void): void;
    i2cReadOnce(address: number, register: number, bytes: number, callback: (data: number[]) => void): void;
  }

  const bind: { readonly Firmata: typeof Firmata };
  export default bind;
}

declare module 'johnny-five' {
  import type { EventEmitter } from 'node:events';
  import type { Firmata } from 'firmata-io';

  export interface Board extends EventEmitter {
    readonly isReady: boolean;
  }

  export interface Esc {
    /** Pulse in whole microseconds. Values from 1 to 100 would mean percent. */
    throttle(pulse_us: number): this;
  }

  const five: {
    readonly Board: new (options: { io: Firmata; repl: false; sigint: false; debug: false; timeout: number }) => Board;
    readonly ESC: new (options: { board: Board; pin: number; pwmRange: [number, number] }) => Esc;
  };
  export default five;
}
