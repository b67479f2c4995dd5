// Median, variance and spread of a few frames, four pixels at a time, in float32: see agent/imaging/first-frames.ts.
// Addresses are in bytes, lengths multiples of 4.

/** Sorts `n` vectors, lane by lane, by insertion without branches. */
// @ts-ignore: decorator
@inline
function sort(values: usize, n: i32): void {
  const end = values + ((<usize>n) << 4);
  for (let last = values + 16; last < end; last += 16) {
    let carried = v128.load(last);
    for (let at = values; at < last; at += 16) {
      const here = v128.load(at);
      v128.store(at, f32x4.pmin(here, carried));
      carried = f32x4.pmax(here, carried);
    }
    v128.store(last, carried);
  }
}

// @ts-ignore: decorator
@inline
function middleOf(values: usize, n: i32): v128 {
  const upper = v128.load(values + ((<usize>(n >> 1)) << 4));
  if (n & 1) return upper;
  return f32x4.mul(f32x4.add(upper, v128.load(values + ((<usize>((n >> 1) - 1)) << 4))), f32x4.splat(0.5));
}

/**
 * @param frames u16, `frameBytes` apart; factors: one f32 a frame; values: room for a vector a frame
 * A pixel that is clipped in any frame gets NaN for its median, to be done the plain way.
 */
export function statistics(
  frames: usize, frameBytes: usize, factors: usize, n: i32, clip: i32, length: i32, dark: usize, values: usize,
  medians: usize, variances: usize, spreads: usize,
): void {
  const clips = i32x4.splat(clip);
  const share = f32x4.splat(<f32>1 / <f32>n);
  for (let i: usize = 0; i < <usize>length; i += 4) {
    const at = i << 2;
    const darks = v128.load(dark + at);
    let anyClipped = i32x4.splat(0);
    let first = f32x4.splat(0), sum = f32x4.splat(0);
    for (let f: usize = 0; f < <usize>n; f++) {
      const raw = v128.load16x4_u(frames + f * frameBytes + (i << 1));
      anyClipped = v128.or(anyClipped, i32x4.ge_s(raw, clips));
      const factor = v128.load32_splat(factors + (f << 2));
      const v = f32x4.mul(f32x4.sub(f32x4.convert_i32x4_s(raw), darks), factor);
      if (f == 0) first = v;
      sum = f32x4.add(sum, f32x4.sub(v, first));
      v128.store(values + (f << 4), v);
    }
    const mean = f32x4.add(first, f32x4.mul(sum, share));
    let squares = f32x4.splat(0);
    for (let f: usize = 0; f < <usize>n; f++) {
      const d = f32x4.sub(v128.load(values + (f << 4)), mean);
      squares = f32x4.add(squares, f32x4.mul(d, d));
    }
    sort(values, n);
    const middle = middleOf(values, n);
    for (let f: usize = 0; f < <usize>n; f++) {
      v128.store(values + (f << 4), f32x4.abs(f32x4.sub(v128.load(values + (f << 4)), middle)));
    }
    sort(values, n);
    v128.store(medians + at, v128.or(middle, anyClipped)); // all ones is a NaN
    v128.store(variances + at, f32x4.div(squares, f32x4.splat(n > 1 ? <f32>(n - 1) : 1)));
    v128.store(spreads + at, f32x4.mul(middleOf(values, n), f32x4.splat(1.4826)));
  }
}
