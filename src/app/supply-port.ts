// What a world asks of whatever feeds its bench: a programmable supply, a simulated one, or a person at a knob.

/** One reading of a supply's own meters. */
export interface SupplyReading {
  readonly voltage_V: number;
  readonly current_A: number;
  /** It holds the current, not the voltage: as the supply says, else as its meters show. */
  readonly limiting: boolean;
}

/**
 * A supply that a program can set. Every verb resolves when the supply has confirmed it (read back within the tolerance of
 * the rig file) and rejects with a sentence that says what to do.
 */
export interface SupplyPort {
  /** Sets the voltage of the output; the current limit stays what the rig file says. */
  setVoltage(volts: number): Promise<void>;
  /** Switches the output. */
  output(on: boolean): Promise<void>;
  /** Output off, then lets go of the connection. Safe to call twice; never rejects. */
  close(): Promise<void>;
}
