// What a protocol module in TypeScript is handed: the builders that the built-in protocols use.
import * as builders from './builders';
import { BUILT_IN } from './catalogue';
import { defineProtocol, use } from './protocol';

export const PROTOCOL_KIT = Object.freeze({
  defineProtocol, use, rest: builders.rest, level: builders.level, ramp: builders.ramp, train: builders.train, repeat: builders.repeat,
  holdCurrent: builders.holdCurrent, holdPower: builders.holdPower, holdSpeed: builders.holdSpeed, waitUntil: builders.waitUntil,
  mark: builders.mark, ask: builders.ask,
  /** The built-in protocols by name, for `use`. */
  builtIn: Object.freeze(Object.fromEntries(BUILT_IN.map((p) => [p.name, p]))),
});

/** The argument of a protocol module's default export. */
export type ProtocolKit = typeof PROTOCOL_KIT;
