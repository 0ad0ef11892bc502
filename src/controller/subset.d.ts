// What tsc must know about the two-compiler subset. asc knows these names natively and never reads this file.
declare type i32 = number;
declare type u32 = number;
declare type u16 = number;
declare type u8 = number;
declare type bool = boolean;
declare function i32(v: number | boolean): i32;
declare function u32(v: number): u32;
declare function u16(v: number): u16;
declare function u8(v: number): u8;
declare class StaticArray<T> {
  constructor(length: i32);
  readonly length: i32;
  [index: number]: T;
}
/** 0 when the source runs as plain JavaScript, 1 when asc compiles it to wasm32 (asc drops the other branch). */
declare const ASC_TARGET: i32;
/** The access inside is made without a check of its bounds: only where a comment beside it says why none is needed. */
declare function unchecked<T>(access: T): T;
