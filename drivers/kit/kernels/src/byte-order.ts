// Bytes of numbers turned round, and sums of such numbers, as FITS stores them: see drivers/formats/byte-order.ts and
// fits-checksum.ts. All lengths are in bytes, more than 0, and taken
// in strides of 64: the last one may run past the end.

import { reverse2, reverse4 } from "./shared/bytes.ts";

function reverse8(v: v128): v128 {
  return v128.shuffle<i8>(v, v, 7, 6, 5, 4, 3, 2, 1, 0, 15, 14, 13, 12, 11, 10, 9, 8);
}

function reverse<T>(v: v128): v128 {
  return sizeof<T>() === 2 ? reverse2(v) : sizeof<T>() === 4 ? reverse4(v) : reverse8(v);
}

function swap<T>(at: usize, length: i32, flip: i32): void {
  const flips = i32x4.splat(flip);
  const end = at + <usize>length;
  do {
    v128.store(at, v128.xor(reverse<T>(v128.load(at)), flips));
    v128.store(at, v128.xor(reverse<T>(v128.load(at, 16)), flips), 16);
    v128.store(at, v128.xor(reverse<T>(v128.load(at, 32)), flips), 32);
    v128.store(at, v128.xor(reverse<T>(v128.load(at, 48)), flips), 48);
    at += 64;
  } while (at < end);
}

/** Reverses the bytes of each pair in place, then flips bits by `flip` in each four bytes. */
export function swap2(at: usize, length: i32, flip: i32): void {
  swap<u16>(at, length, flip);
}

/** The same of each four. */
export function swap4(at: usize, length: i32, flip: i32): void {
  swap<u32>(at, length, flip);
}

/** The same of each eight. */
export function swap8(at: usize, length: i32, flip: i32): void {
  swap<u64>(at, length, flip);
}

/** Two sums of four big-endian words. */
function wordsAt(at: usize): v128 {
  const words = reverse4(v128.load(at));
  return i64x2.add(i64x2.extend_low_i32x4_u(words), i64x2.extend_high_i32x4_u(words));
}

/** Sum of big-endian 32-bit words, exact: no piece of memory can overflow 64 bits. */
export function sumWords(at: usize, length: i32): f64 {
  let sums = i64x2.splat(0);
  const end = at + <usize>length;
  do {
    sums = i64x2.add(sums, wordsAt(at));
    sums = i64x2.add(sums, wordsAt(at + 16));
    sums = i64x2.add(sums, wordsAt(at + 32));
    sums = i64x2.add(sums, wordsAt(at + 48));
    at += 64;
  } while (at < end);
  return <f64>(<u64>(i64x2.extract_lane(sums, 0) + i64x2.extract_lane(sums, 1)));
}
