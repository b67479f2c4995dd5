// (image - dark) * factor + pedestal in float32, eight pixels at a time: see agent/imaging/combining/flat-division.ts.
// Addresses are in bytes.
import { reverse2, reverse4 } from "./shared/bytes.ts";

/** Where factors and darks lie. */
let factor: usize = 0,
  dark: usize = 0;
/** Pieces of images that pass by, and of what they become. */
let image: usize = 0,
  result: usize = 0;
/** Whole ones, as FITS stores them. */
let stored: usize = 0,
  storedResult: usize = 0;

/** To be called first. @param darkAt 0 for none */
export function place(
  imageAt: usize,
  factorAt: usize,
  darkAt: usize,
  resultAt: usize,
  storedAt: usize,
  storedResultAt: usize,
): void {
  image = imageAt;
  factor = factorAt;
  dark = darkAt;
  result = resultAt;
  stored = storedAt;
  storedResult = storedResultAt;
}

function divided(counts: v128, at: usize, factor: usize, dark: usize, pedestal: v128): v128 {
  let value = f32x4.convert_i32x4_s(counts);
  if (dark !== 0) value = f32x4.sub(value, v128.load(dark + at));
  return f32x4.add(f32x4.mul(value, v128.load(factor + at)), pedestal);
}

/** Pixels from `start` on, whose image lies in the piece; a multiple of 8. */
export function divide(start: i32, pedestal: f32, length: i32): void {
  const fromAt = image,
    toAt = result,
    darks = dark === 0 ? 0 : dark + ((<usize>start) << 2),
    factors = factor + ((<usize>start) << 2);
  const added = f32x4.splat(pedestal);
  const end = (<usize>length) << 2;
  for (let at: usize = 0; at < end; at += 32) {
    const counts = v128.load(fromAt + (at >> 1));
    v128.store(toAt + at, divided(i32x4.extend_low_i16x8_u(counts), at, factors, darks, added));
    v128.store(toAt + at + 16, divided(i32x4.extend_high_i16x8_u(counts), at + 16, factors, darks, added));
  }
}

/** To the nearest count, halves up, not held within any bounds. */
function nearest(counts: v128, at: usize, factor: usize, dark: usize, pedestal: v128): v128 {
  return f32x4.floor(f32x4.add(divided(counts, at, factor, dark, pedestal), f32x4.splat(0.5)));
}

function held(value: v128): v128 {
  return f32x4.pmin(f32x4.pmax(value, f32x4.splat(0)), f32x4.splat(65535));
}

/** A whole number below 2^23, by the bits that it leaves behind 2^23: a conversion would be slow. */
function asWhole(value: v128): v128 {
  return v128.and(f32x4.add(value, f32x4.splat(8388608)), i32x4.splat(0x7fffff));
}

/** The same to the nearest count, halves up, held within 0 to 65535. Returns how many had to be. */
export function divideToCounts(start: i32, pedestal: f32, length: i32): i32 {
  const fromAt = image,
    toAt = result,
    darks = dark === 0 ? 0 : dark + ((<usize>start) << 2),
    factors = factor + ((<usize>start) << 2);
  const added = f32x4.splat(pedestal);
  let beyond = i32x4.splat(0);
  const end = (<usize>length) << 2;
  for (let at: usize = 0; at < end; at += 32) {
    const counts = v128.load(fromAt + (at >> 1));
    const a = nearest(i32x4.extend_low_i16x8_u(counts), at, factors, darks, added);
    const b = nearest(i32x4.extend_high_i16x8_u(counts), at + 16, factors, darks, added);
    const heldA = held(a),
      heldB = held(b);
    beyond = i32x4.sub(beyond, i32x4.add(f32x4.ne(a, heldA), f32x4.ne(b, heldB)));
    v128.store(toAt + (at >> 1), i16x8.narrow_i32x4_u(asWhole(heldA), asWhole(heldB)));
  }
  return <i32>total(beyond);
}

// The same for images as FITS stores them: big-endian, the top bit of unsigned numbers flipped. Sums of what is stored,
// as FITS sums words of 32 bits, come with it.

/** Eight halves of words or more, each of them below 2^16, may be added up so often. */
const turnsMost: usize = 65536;

/** Upper and lower halves of the words read and written by the last call. */
let rawUpper: u64 = 0,
  rawLower: u64 = 0,
  upper: u64 = 0,
  lower: u64 = 0;
export function sumOf(which: i32): f64 {
  return <f64>(which === 0 ? rawUpper : which === 1 ? rawLower : which === 2 ? upper : lower);
}

/** Highest of the numbers read by the last call. */
let rawMost: i32 = 0;
export function mostOf(): i32 {
  return rawMost;
}

function mostLane(lanes: v128): i32 {
  let most: i32 = i16x8.extract_lane_s(lanes, 0);
  most = max<i32>(most, i16x8.extract_lane_s(lanes, 1));
  most = max<i32>(most, i16x8.extract_lane_s(lanes, 2));
  most = max<i32>(most, i16x8.extract_lane_s(lanes, 3));
  most = max<i32>(most, i16x8.extract_lane_s(lanes, 4));
  most = max<i32>(most, i16x8.extract_lane_s(lanes, 5));
  most = max<i32>(most, i16x8.extract_lane_s(lanes, 6));
  return max<i32>(most, i16x8.extract_lane_s(lanes, 7));
}

function total(lanes: v128): u64 {
  return (
    <u64>(<u32>i32x4.extract_lane(lanes, 0)) +
    <u64>(<u32>i32x4.extract_lane(lanes, 1)) +
    <u64>(<u32>i32x4.extract_lane(lanes, 2)) +
    <u64>(<u32>i32x4.extract_lane(lanes, 3))
  );
}

function dividedOne(image: usize, px: usize, factor: usize, dark: usize, pedestal: f32): f32 {
  let value = <f32>(<i32>bswap<u16>(load<u16>(image + (px << 1))) ^ 0x8000);
  if (dark !== 0) value -= load<f32>(dark + (px << 2));
  return value * load<f32>(factor + (px << 2)) + pedestal;
}

/** What the last pixels, fewer than eight, add to the sums of what was read. */
function addRaw(image: usize, px: usize): void {
  const half = <u64>bswap<u16>(load<u16>(image + (px << 1)));
  if (px & 1) rawLower += half;
  else rawUpper += half;
}

/** As `divideToCounts`; any length. */
export function divideStoredToCounts(pedestal: f32, length: i32): i32 {
  return divideWhole<u16>(pedestal, length);
}

/** As `divide`, to float32 as FITS stores it; any length. */
export function divideStored(pedestal: f32, length: i32): void {
  divideWhole<f32>(pedestal, length);
}

/** @returns how many had to be held */
function divideWhole<Result>(pedestal: f32, length: i32): i32 {
  const fromAt = stored,
    toAt = storedResult,
    darks = dark,
    factors = factor;
  const added = f32x4.splat(pedestal);
  const flip = i16x8.splat(-32768),
    low = i32x4.splat(0xffff),
    none = i32x4.splat(0);
  let beyond = none,
    most = flip;
  rawUpper = 0;
  rawLower = 0;
  upper = 0;
  lower = 0;
  const whole = (<usize>length >> 3) << 3;
  // Each turn adds two halves of words to a lane for float32, one for 16 bits.
  const turnPx = isFloat<Result>() ? turnsMost << 2 : turnsMost << 3;
  for (let start: usize = 0; start < whole; start += turnPx) {
    let readUp = none,
      readLow = none,
      madeUp = none,
      madeLow = none;
    const end = start + turnPx < whole ? start + turnPx : whole;
    for (let px = start; px < end; px += 8) {
      const pixels = reverse2(v128.load(fromAt + (px << 1)));
      most = i16x8.max_s(most, pixels);
      readUp = i32x4.add(readUp, v128.and(pixels, low));
      readLow = i32x4.add(readLow, i32x4.shr_u(pixels, 16));
      const counts = v128.xor(pixels, flip);
      const at = px << 2;
      if (isFloat<Result>()) {
        const a = divided(i32x4.extend_low_i16x8_u(counts), at, factors, darks, added),
          b = divided(i32x4.extend_high_i16x8_u(counts), at + 16, factors, darks, added);
        madeUp = i32x4.add(madeUp, i32x4.add(i32x4.shr_u(a, 16), i32x4.shr_u(b, 16)));
        madeLow = i32x4.add(madeLow, i32x4.add(v128.and(a, low), v128.and(b, low)));
        v128.store(toAt + at, reverse4(a));
        v128.store(toAt + at, reverse4(b), 16);
      } else {
        const a = nearest(i32x4.extend_low_i16x8_u(counts), at, factors, darks, added),
          b = nearest(i32x4.extend_high_i16x8_u(counts), at + 16, factors, darks, added);
        const heldA = held(a),
          heldB = held(b);
        beyond = i32x4.sub(beyond, i32x4.add(f32x4.ne(a, heldA), f32x4.ne(b, heldB)));
        const made = v128.xor(i16x8.narrow_i32x4_u(asWhole(heldA), asWhole(heldB)), flip);
        madeUp = i32x4.add(madeUp, v128.and(made, low));
        madeLow = i32x4.add(madeLow, i32x4.shr_u(made, 16));
        v128.store(toAt + (px << 1), reverse2(made));
      }
    }
    rawUpper += total(readUp);
    rawLower += total(readLow);
    upper += total(madeUp);
    lower += total(madeLow);
  }
  rawMost = mostLane(most) + 32768;
  let more = 0;
  for (let px = whole; px < <usize>length; px++) {
    const value = dividedOne(fromAt, px, factors, darks, pedestal);
    addRaw(fromAt, px);
    rawMost = max<i32>(rawMost, <i32>bswap<u16>(load<u16>(fromAt + (px << 1))) ^ 0x8000);
    if (isFloat<Result>()) {
      const made = reinterpret<u32>(value);
      upper += <u64>(made >> 16);
      lower += <u64>(made & 0xffff);
      store<u32>(toAt + (px << 2), bswap<u32>(made));
    } else {
      const nearest = Mathf.floor(value + 0.5);
      if (!(nearest >= 0 && nearest <= 65535)) more++;
      const made = <u16>((nearest > 0 ? (nearest < 65535 ? <i32>nearest : 65535) : 0) ^ 0x8000);
      if (px & 1) lower += <u64>made;
      else upper += <u64>made;
      store<u16>(toAt + (px << 1), bswap<u16>(made));
    }
  }
  return more + <i32>total(beyond);
}
