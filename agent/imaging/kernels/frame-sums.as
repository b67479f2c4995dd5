// Sums of frames, pixel by pixel and frame by frame: see agent/imaging/combining/frame-mean.ts. Addresses are in bytes.

/**
 * Adds a piece of a few frames to the sums of its pixels.
 * @param frames u16, `stride` apart; `length` pixels of each, a multiple of 8, at most 65536
 * @param sums u32
 * @param totals of each frame's piece, u32
 */
export function addFrames(frames: usize, stride: usize, frameCount: i32, length: i32, sums: usize, totals: usize): void {
  const framesEnd = (<usize>frameCount) * stride;
  for (let i: usize = 0; i < <usize>length; i += 8) {
    const at = i << 2, here = frames + (i << 1);
    let first = v128.load(sums + at), second = v128.load(sums + at, 16);
    for (let f: usize = 0; f < framesEnd; f += stride) {
      const counts = v128.load(here + f);
      first = i32x4.add(first, i32x4.extend_low_i16x8_u(counts));
      second = i32x4.add(second, i32x4.extend_high_i16x8_u(counts));
    }
    v128.store(sums + at, first);
    v128.store(sums + at, second, 16);
  }
  // Signed numbers are added in pairs by one instruction: what that takes off is put back at the end.
  const flip = i16x8.splat(-32768), ones = i16x8.splat(1);
  for (let f: usize = 0; f < <usize>frameCount; f++) {
    let even = i32x4.splat(0), odd = even;
    const from = frames + f * stride, end = from + ((<usize>length) << 1);
    let at = from;
    for (; at + 32 <= end; at += 32) {
      even = i32x4.add(even, i32x4.dot_i16x8_s(v128.xor(v128.load(at), flip), ones));
      odd = i32x4.add(odd, i32x4.dot_i16x8_s(v128.xor(v128.load(at, 16), flip), ones));
    }
    if (at < end) even = i32x4.add(even, i32x4.dot_i16x8_s(v128.xor(v128.load(at), flip), ones));
    const total = i32x4.add(even, odd);
    store<u32>(totals + (f << 2), i32x4.extract_lane(total, 0) + i32x4.extract_lane(total, 1)
      + i32x4.extract_lane(total, 2) + i32x4.extract_lane(total, 3) + 32768 * length);
  }
}
