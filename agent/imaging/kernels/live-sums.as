// The loops of agent/imaging/live-sums.ts, four pixels at a time, in float32. Addresses are in bytes, lengths multiples of 8.

/**
 * Adds a few frames' samples to the sums of their pixels, frame after frame.
 * @param frames u16, one after the other, `frameBytes` apart
 * @param factors one f32 a frame
 */
export function addFrames(
  frames: usize, frameBytes: usize, factors: usize, frameCount: i32, clip: i32, length: i32, dark: usize,
  reference: usize, limit: usize, sum: usize, squares: usize, kept: usize, clipped: usize,
): void {
  const clips = i32x4.splat(clip);
  for (let i: usize = 0; i < <usize>length; i += 4) {
    const at = i << 2, half = i << 1;
    const darks = v128.load(dark + at), middle = v128.load(reference + at), most = v128.load(limit + at);
    const least = f32x4.neg(most);
    let total = v128.load(sum + at), square = v128.load(squares + at);
    let keptNow = v128.load16x4_u(kept + half), clippedNow = v128.load16x4_u(clipped + half);
    for (let f = 0; f < frameCount; f++) {
      const raw = v128.load16x4_u(frames + (<usize>f) * frameBytes + half);
      const isClipped = i32x4.ge_s(raw, clips);
      clippedNow = i32x4.sub(clippedNow, isClipped);
      const factor = v128.load32_splat(factors + ((<usize>f) << 2));
      const d = f32x4.sub(f32x4.mul(f32x4.sub(f32x4.convert_i32x4_s(raw), darks), factor), middle);
      const inside = v128.andnot(v128.and(f32x4.le(d, most), f32x4.ge(d, least)), isClipped);
      const used = v128.and(d, inside);
      total = f32x4.add(total, used);
      square = f32x4.add(square, f32x4.mul(used, used));
      keptNow = i32x4.sub(keptNow, inside);
    }
    v128.store(sum + at, total);
    v128.store(squares + at, square);
    v128.store64_lane(kept + half, i16x8.narrow_i32x4_u(keptNow, keptNow), 0);
    v128.store64_lane(clipped + half, i16x8.narrow_i32x4_u(clippedNow, clippedNow), 0);
  }
}
