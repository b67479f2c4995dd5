// Sums of frames, pixel by pixel and frame by frame: see agent/imaging/combining/frame-mean.ts. Addresses are in bytes.
// Sums of few 16-bit counts are kept as two: of the counts, less what overflows, and of their upper bytes, which never does.
// Both together tell the sum, for half the instructions that widening each count takes.

/** What a sum of upper bytes and one that overflowed leave for the lower bytes. */
function lowerBytes(counts: v128, upper: v128): v128 {
  return i16x8.sub(counts, i16x8.shl(upper, 8));
}

/** Adds the sums of eight pixels to those there are. */
function addTo(sums: usize, counts: v128, upper: v128): void {
  const lower = lowerBytes(counts, upper);
  const first = i32x4.add(i32x4.shl(i32x4.extend_low_i16x8_u(upper), 8), i32x4.extend_low_i16x8_u(lower));
  const second = i32x4.add(i32x4.shl(i32x4.extend_high_i16x8_u(upper), 8), i32x4.extend_high_i16x8_u(lower));
  v128.store(sums, i32x4.add(v128.load(sums), first));
  v128.store(sums, i32x4.add(v128.load(sums, 16), second), 16);
}

/**
 * Adds a piece of a few frames to the sums of its pixels.
 * @param frames u16, `stride` apart; `length` pixels of each, a multiple of 32, at most 2048; at most 256 frames
 * @param sums u32
 * @param lanes room for 32 bytes a frame
 * @param totals of each frame's piece, u32
 */
export function addFrames(
  frames: usize,
  stride: usize,
  frameCount: i32,
  length: i32,
  sums: usize,
  lanes: usize,
  totals: usize,
): void {
  const lanesEnd = lanes + ((<usize>frameCount) << 5);
  memory.fill(lanes, 0, (<usize>frameCount) << 5);
  for (let i: usize = 0; i < <usize>length; i += 32) {
    let a = i16x8.splat(0),
      b = a,
      c = a,
      d = a,
      aUpper = a,
      bUpper = a,
      cUpper = a,
      dUpper = a;
    let here = frames + (i << 1);
    for (let lane = lanes; lane < lanesEnd; lane += 32) {
      let p = v128.load(here),
        q = v128.load(here, 16),
        r = v128.load(here, 32),
        s = v128.load(here, 48);
      here += stride;
      a = i16x8.add(a, p);
      b = i16x8.add(b, q);
      c = i16x8.add(c, r);
      d = i16x8.add(d, s);
      v128.store(lane, i16x8.add(v128.load(lane), i16x8.add(i16x8.add(p, q), i16x8.add(r, s))));
      p = i16x8.shr_u(p, 8);
      q = i16x8.shr_u(q, 8);
      r = i16x8.shr_u(r, 8);
      s = i16x8.shr_u(s, 8);
      aUpper = i16x8.add(aUpper, p);
      bUpper = i16x8.add(bUpper, q);
      cUpper = i16x8.add(cUpper, r);
      dUpper = i16x8.add(dUpper, s);
      v128.store(lane, i16x8.add(v128.load(lane, 16), i16x8.add(i16x8.add(p, q), i16x8.add(r, s))), 16);
    }
    const at = sums + (i << 2);
    addTo(at, a, aUpper);
    addTo(at + 32, b, bUpper);
    addTo(at + 64, c, cUpper);
    addTo(at + 96, d, dUpper);
  }
  for (let lane = lanes; lane < lanesEnd; lane += 32) {
    const counts = v128.load(lane),
      upper = v128.load(lane, 16),
      lower = lowerBytes(counts, upper);
    const total = i32x4.add(
      i32x4.shl(i32x4.extadd_pairwise_i16x8_u(upper), 8),
      i32x4.extadd_pairwise_i16x8_u(lower),
    );
    store<u32>(
      totals,
      i32x4.extract_lane(total, 0) +
        i32x4.extract_lane(total, 1) +
        i32x4.extract_lane(total, 2) +
        i32x4.extract_lane(total, 3),
    );
    totals += 4;
  }
}
