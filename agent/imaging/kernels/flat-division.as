// (image - dark) * factor + pedestal in float32, eight pixels at a time: see agent/imaging/flat-division.ts.
// Addresses are in bytes, lengths multiples of 8; dark is 0 for none.

// @ts-ignore: decorator
@inline
function divided(counts: v128, at: usize, factor: usize, dark: usize, pedestal: v128): v128 {
  let value = f32x4.convert_i32x4_s(counts);
  if (dark != 0) value = f32x4.sub(value, v128.load(dark + at));
  return f32x4.add(f32x4.mul(value, v128.load(factor + at)), pedestal);
}

export function divide(image: usize, factor: usize, dark: usize, pedestal: f32, result: usize, length: i32): void {
  const added = f32x4.splat(pedestal);
  const end = (<usize>length) << 2;
  for (let at: usize = 0; at < end; at += 32) {
    const counts = v128.load(image + (at >> 1));
    v128.store(result + at, divided(i32x4.extend_low_i16x8_u(counts), at, factor, dark, added));
    v128.store(result + at + 16, divided(i32x4.extend_high_i16x8_u(counts), at + 16, factor, dark, added));
  }
}

// @ts-ignore: decorator
@inline
function held(value: v128): v128 {
  return f32x4.pmin(f32x4.pmax(value, f32x4.splat(0)), f32x4.splat(65535));
}

/** A whole number below 2^23, by the bits that it leaves behind 2^23: a conversion would be slow. */
// @ts-ignore: decorator
@inline
function asWhole(value: v128): v128 {
  return v128.and(f32x4.add(value, f32x4.splat(8388608)), i32x4.splat(0x7fffff));
}

/** To the nearest count, halves up, held within 0 to 65535. Returns how many had to be. */
export function divideToCounts(
  image: usize, factor: usize, dark: usize, pedestal: f32, result: usize, length: i32,
): i32 {
  const added = f32x4.splat(pedestal);
  const half = f32x4.splat(0.5);
  let beyond = i32x4.splat(0);
  const end = (<usize>length) << 2;
  for (let at: usize = 0; at < end; at += 32) {
    const counts = v128.load(image + (at >> 1));
    const a = f32x4.floor(
      f32x4.add(divided(i32x4.extend_low_i16x8_u(counts), at, factor, dark, added), half));
    const b = f32x4.floor(
      f32x4.add(divided(i32x4.extend_high_i16x8_u(counts), at + 16, factor, dark, added), half));
    const heldA = held(a), heldB = held(b);
    beyond = i32x4.sub(beyond, i32x4.add(f32x4.ne(a, heldA), f32x4.ne(b, heldB)));
    v128.store(result + (at >> 1), i16x8.narrow_i32x4_u(asWhole(heldA), asWhole(heldB)));
  }
  return i32x4.extract_lane(beyond, 0) + i32x4.extract_lane(beyond, 1) + i32x4.extract_lane(beyond, 2)
    + i32x4.extract_lane(beyond, 3);
}
