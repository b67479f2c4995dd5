// The loops of agent/imaging/combining/live-sums.ts, eight pixels at a time, in float32. Addresses are in bytes.

/** What lies apart by one pixel, and frames by one frame. */
let factors: usize = 0,
  frames: usize = 0,
  frameBytes: usize = 0;

function excess(counts: v128, darks: v128, factor: v128, middle: v128): v128 {
  return f32x4.sub(f32x4.mul(f32x4.sub(f32x4.convert_i32x4_s(counts), darks), factor), middle);
}

/** One pixel of which some sample is clipped or too far from its reference: the rare way. */
function addOne(
  at: usize,
  frameCount: i32,
  clip: i32,
  dark: f32,
  middle: f32,
  most: f32,
  sum: usize,
  squares: usize,
  rejected: usize,
  clipped: usize,
): void {
  let total: f32 = 0,
    square: f32 = 0;
  let far: u32 = 0,
    full: u32 = 0;
  for (let f: usize = 0; f < <usize>frameCount; f++) {
    const raw = <i32>load<u16>(frames + f * frameBytes + (at << 1));
    if (raw >= clip) {
      full++;
      continue;
    }
    const d = (<f32>raw - dark) * load<f32>(factors + (f << 2)) - middle;
    if (d * d <= most) {
      total += d;
      square += d * d;
    } else far++;
  }
  store<f32>(sum + (at << 2), load<f32>(sum + (at << 2)) + total);
  store<f32>(squares + (at << 2), load<f32>(squares + (at << 2)) + square);
  store<u16>(rejected + (at << 1), <u16>(<u32>load<u16>(rejected + (at << 1)) + far));
  store<u16>(clipped + (at << 1), <u16>(<u32>load<u16>(clipped + (at << 1)) + full));
}

/**
 * Adds a few frames' samples to the sums of their pixels.
 * @param framesAt u16, one after the other, `stride` apart; as many pixels as `length`, a multiple of 8
 * @param factorsAt one f32 a frame
 * @param darkStep 4, or 0 where `dark` is 32 bytes of zeros that serve all pixels
 */
export function addFrames(
  framesAt: usize,
  stride: usize,
  factorsAt: usize,
  frameCount: i32,
  clip: i32,
  length: i32,
  dark: usize,
  darkStep: i32,
  reference: usize,
  limit: usize,
  sum: usize,
  squares: usize,
  rejected: usize,
  clipped: usize,
): void {
  frames = framesAt;
  frameBytes = stride;
  factors = factorsAt;
  const highest = i16x8.splat(<i16>(clip - 1));
  const framesEnd = <usize>frameCount * stride;
  for (let i: usize = 0; i < <usize>length; i += 8) {
    const at = i << 2,
      darkAt = dark + i * <usize>darkStep;
    const dark0 = v128.load(darkAt),
      dark1 = v128.load(darkAt, 16);
    const middle0 = v128.load(reference + at),
      middle1 = v128.load(reference + at, 16);
    let total0 = f32x4.splat(0),
      total1 = total0,
      square0 = total0,
      square1 = total0;
    let far0 = total0,
      far1 = total0,
      most = i16x8.splat(0);
    let factorAt = factorsAt;
    const here = framesAt + (i << 1);
    for (let f: usize = 0; f < framesEnd; f += stride) {
      const raw = v128.load(here + f);
      const factor = v128.load32_splat(factorAt);
      factorAt += 4;
      most = i16x8.max_u(most, raw);
      const d0 = excess(i32x4.extend_low_i16x8_u(raw), dark0, factor, middle0);
      const d1 = excess(i32x4.extend_high_i16x8_u(raw), dark1, factor, middle1);
      const q0 = f32x4.mul(d0, d0),
        q1 = f32x4.mul(d1, d1);
      far0 = f32x4.pmax(q0, far0);
      far1 = f32x4.pmax(q1, far1);
      total0 = f32x4.add(total0, d0);
      total1 = f32x4.add(total1, d1);
      square0 = f32x4.add(square0, q0);
      square1 = f32x4.add(square1, q1);
    }
    const limit0 = v128.load(limit + at),
      limit1 = v128.load(limit + at, 16);
    const near = v128.and(
      v128.and(f32x4.le(far0, f32x4.mul(limit0, limit0)), f32x4.le(far1, f32x4.mul(limit1, limit1))),
      // Not a number: some sample, or what it is compared with.
      v128.and(f32x4.eq(square0, square0), f32x4.eq(square1, square1)),
    );
    if (i32x4.all_true(near) && i16x8.all_true(i16x8.eq(i16x8.max_u(most, highest), highest))) {
      v128.store(sum + at, f32x4.add(v128.load(sum + at), total0));
      v128.store(sum + at, f32x4.add(v128.load(sum + at, 16), total1), 16);
      v128.store(squares + at, f32x4.add(v128.load(squares + at), square0));
      v128.store(squares + at, f32x4.add(v128.load(squares + at, 16), square1), 16);
    } else {
      for (let px = i; px < i + 8; px++) {
        const reach = load<f32>(limit + (px << 2));
        addOne(
          px,
          frameCount,
          clip,
          load<f32>(dark + px * <usize>darkStep),
          load<f32>(reference + (px << 2)),
          reach * reach,
          sum,
          squares,
          rejected,
          clipped,
        );
      }
    }
  }
}

/**
 * Turns the spreads of pixels, a multiple of four of them, into their limits: `times` what peers of the level show, or the spread
 * where it is more than `unlike` times that, or `least`.
 * @param sigmas f32 by level: entry k is for level (k - below) * step; `last` is the last one
 */
export function setLimits(
  limit: usize,
  reference: usize,
  length: i32,
  sigmas: usize,
  step: f32,
  below: i32,
  last: i32,
  times: f32,
  least: f32,
  unlike: f32,
): void {
  const share = f32x4.splat(<f32>1 / step),
    half = f32x4.splat(0.5);
  const offset = i32x4.splat(below),
    end = i32x4.splat(last),
    none = i32x4.splat(0);
  const factor = f32x4.splat(times),
    lowest = f32x4.splat(least),
    restless = f32x4.splat(unlike);
  for (let i: usize = 0; i < <usize>length; i += 4) {
    const at = i << 2;
    const place = f32x4.floor(f32x4.add(f32x4.mul(v128.load(reference + at), share), half));
    const k = i32x4.max_s(none, i32x4.min_s(end, i32x4.add(offset, i32x4.trunc_sat_f32x4_s(place))));
    let peers = v128.load32_splat(sigmas + ((<usize>i32x4.extract_lane(k, 0)) << 2));
    peers = v128.load32_lane(sigmas + ((<usize>i32x4.extract_lane(k, 1)) << 2), peers, 1);
    peers = v128.load32_lane(sigmas + ((<usize>i32x4.extract_lane(k, 2)) << 2), peers, 2);
    peers = v128.load32_lane(sigmas + ((<usize>i32x4.extract_lane(k, 3)) << 2), peers, 3);
    const own = v128.load(limit + at);
    const most = f32x4.pmax(lowest, v128.bitselect(own, peers, f32x4.gt(own, f32x4.mul(peers, restless))));
    v128.store(limit + at, f32x4.mul(factor, most));
  }
}
