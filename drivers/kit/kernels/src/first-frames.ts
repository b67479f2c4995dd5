// Median, variance and spread of a few frames, four pixels at a time, in float32: see agent/imaging/combining/first-frames.ts.
// Addresses are in bytes, lengths multiples of 4.

/** Of four pixels: their samples in one frame, dark taken off and scaled. */
function sample(raw: v128, darks: v128, factor: usize): v128 {
  return f32x4.mul(f32x4.sub(f32x4.convert_i32x4_s(raw), darks), v128.load32_splat(factor));
}

function squared(value: v128, mean: v128): v128 {
  const d = f32x4.sub(value, mean);
  return f32x4.mul(d, d);
}

/**
 * `statistics` of twelve frames, which stay in registers: sorted with 39 comparisons.
 * That these sort was shown by all 4096 rows of zeros and ones (D. E. Knuth, Sorting and Searching, 5.3.4, theorem Z).
 */
function statisticsOfTwelve(
  frames: usize,
  frameBytes: usize,
  factors: usize,
  clip: i32,
  length: i32,
  dark: usize,
  medians: usize,
  variances: usize,
  spreads: usize,
): i32 {
  let everClipped = i32x4.splat(0);
  const highest = i32x4.splat(clip - 1);
  for (let px: usize = 0; px < <usize>length; px += 4) {
    const at = px << 2;
    const darks = v128.load(dark + at);
    const from = frames + (px << 1);
    const aRaw = v128.load16x4_u(from);
    const bRaw = v128.load16x4_u(from + frameBytes);
    const cRaw = v128.load16x4_u(from + 2 * frameBytes);
    const dRaw = v128.load16x4_u(from + 3 * frameBytes);
    const eRaw = v128.load16x4_u(from + 4 * frameBytes);
    const fRaw = v128.load16x4_u(from + 5 * frameBytes);
    const gRaw = v128.load16x4_u(from + 6 * frameBytes);
    const hRaw = v128.load16x4_u(from + 7 * frameBytes);
    const iRaw = v128.load16x4_u(from + 8 * frameBytes);
    const jRaw = v128.load16x4_u(from + 9 * frameBytes);
    const kRaw = v128.load16x4_u(from + 10 * frameBytes);
    const lRaw = v128.load16x4_u(from + 11 * frameBytes);
    let most = i32x4.max_s(
      i32x4.max_s(i32x4.max_s(aRaw, bRaw), i32x4.max_s(cRaw, dRaw)),
      i32x4.max_s(eRaw, fRaw),
    );
    most = i32x4.max_s(most, i32x4.max_s(i32x4.max_s(gRaw, hRaw), i32x4.max_s(iRaw, jRaw)));
    most = i32x4.max_s(most, i32x4.max_s(kRaw, lRaw));
    let a = sample(aRaw, darks, factors);
    let b = sample(bRaw, darks, factors + 4);
    let c = sample(cRaw, darks, factors + 8);
    let d = sample(dRaw, darks, factors + 12);
    let e = sample(eRaw, darks, factors + 16);
    let f = sample(fRaw, darks, factors + 20);
    let g = sample(gRaw, darks, factors + 24);
    let h = sample(hRaw, darks, factors + 28);
    let i = sample(iRaw, darks, factors + 32);
    let j = sample(jRaw, darks, factors + 36);
    let k = sample(kRaw, darks, factors + 40);
    let l = sample(lRaw, darks, factors + 44);
    if (variances !== 0) {
      // About the first one: then float32 carries the sum.
      let sum = f32x4.sub(b, a);
      sum = f32x4.add(sum, f32x4.sub(c, a));
      sum = f32x4.add(sum, f32x4.sub(d, a));
      sum = f32x4.add(sum, f32x4.sub(e, a));
      sum = f32x4.add(sum, f32x4.sub(f, a));
      sum = f32x4.add(sum, f32x4.sub(g, a));
      sum = f32x4.add(sum, f32x4.sub(h, a));
      sum = f32x4.add(sum, f32x4.sub(i, a));
      sum = f32x4.add(sum, f32x4.sub(j, a));
      sum = f32x4.add(sum, f32x4.sub(k, a));
      sum = f32x4.add(sum, f32x4.sub(l, a));
      const mean = f32x4.add(a, f32x4.mul(sum, f32x4.splat(<f32>1 / 12)));
      let square = squared(a, mean);
      square = f32x4.add(square, squared(b, mean));
      square = f32x4.add(square, squared(c, mean));
      square = f32x4.add(square, squared(d, mean));
      square = f32x4.add(square, squared(e, mean));
      square = f32x4.add(square, squared(f, mean));
      square = f32x4.add(square, squared(g, mean));
      square = f32x4.add(square, squared(h, mean));
      square = f32x4.add(square, squared(i, mean));
      square = f32x4.add(square, squared(j, mean));
      square = f32x4.add(square, squared(k, mean));
      square = f32x4.add(square, squared(l, mean));
      v128.store(variances + at, f32x4.mul(square, f32x4.splat(<f32>1 / 11)));
    }
    let t: v128;
    t = f32x4.pmin(a, i);
    i = f32x4.pmax(a, i);
    a = t;
    t = f32x4.pmin(b, h);
    h = f32x4.pmax(b, h);
    b = t;
    t = f32x4.pmin(c, g);
    g = f32x4.pmax(c, g);
    c = t;
    t = f32x4.pmin(d, l);
    l = f32x4.pmax(d, l);
    d = t;
    t = f32x4.pmin(e, k);
    k = f32x4.pmax(e, k);
    e = t;
    t = f32x4.pmin(f, j);
    j = f32x4.pmax(f, j);
    f = t;
    t = f32x4.pmin(a, b);
    b = f32x4.pmax(a, b);
    a = t;
    t = f32x4.pmin(c, f);
    f = f32x4.pmax(c, f);
    c = t;
    t = f32x4.pmin(d, e);
    e = f32x4.pmax(d, e);
    d = t;
    t = f32x4.pmin(g, j);
    j = f32x4.pmax(g, j);
    g = t;
    t = f32x4.pmin(h, i);
    i = f32x4.pmax(h, i);
    h = t;
    t = f32x4.pmin(k, l);
    l = f32x4.pmax(k, l);
    k = t;
    t = f32x4.pmin(a, c);
    c = f32x4.pmax(a, c);
    a = t;
    t = f32x4.pmin(b, g);
    g = f32x4.pmax(b, g);
    b = t;
    t = f32x4.pmin(f, k);
    k = f32x4.pmax(f, k);
    f = t;
    t = f32x4.pmin(j, l);
    l = f32x4.pmax(j, l);
    j = t;
    t = f32x4.pmin(a, d);
    d = f32x4.pmax(a, d);
    a = t;
    t = f32x4.pmin(b, c);
    c = f32x4.pmax(b, c);
    b = t;
    t = f32x4.pmin(e, g);
    g = f32x4.pmax(e, g);
    e = t;
    t = f32x4.pmin(f, h);
    h = f32x4.pmax(f, h);
    f = t;
    t = f32x4.pmin(i, l);
    l = f32x4.pmax(i, l);
    i = t;
    t = f32x4.pmin(j, k);
    k = f32x4.pmax(j, k);
    j = t;
    t = f32x4.pmin(b, e);
    e = f32x4.pmax(b, e);
    b = t;
    t = f32x4.pmin(d, f);
    f = f32x4.pmax(d, f);
    d = t;
    t = f32x4.pmin(g, i);
    i = f32x4.pmax(g, i);
    g = t;
    t = f32x4.pmin(h, k);
    k = f32x4.pmax(h, k);
    h = t;
    t = f32x4.pmin(b, d);
    d = f32x4.pmax(b, d);
    b = t;
    t = f32x4.pmin(c, f);
    f = f32x4.pmax(c, f);
    c = t;
    t = f32x4.pmin(g, j);
    j = f32x4.pmax(g, j);
    g = t;
    t = f32x4.pmin(i, k);
    k = f32x4.pmax(i, k);
    i = t;
    t = f32x4.pmin(c, d);
    d = f32x4.pmax(c, d);
    c = t;
    t = f32x4.pmin(e, f);
    f = f32x4.pmax(e, f);
    e = t;
    t = f32x4.pmin(g, h);
    h = f32x4.pmax(g, h);
    g = t;
    t = f32x4.pmin(i, j);
    j = f32x4.pmax(i, j);
    i = t;
    t = f32x4.pmin(e, g);
    g = f32x4.pmax(e, g);
    e = t;
    t = f32x4.pmin(f, h);
    h = f32x4.pmax(f, h);
    f = t;
    t = f32x4.pmin(d, e);
    e = f32x4.pmax(d, e);
    d = t;
    t = f32x4.pmin(f, g);
    g = f32x4.pmax(f, g);
    f = t;
    t = f32x4.pmin(h, i);
    i = f32x4.pmax(h, i);
    h = t;
    const middle = f32x4.mul(f32x4.add(f, g), f32x4.splat(0.5));
    // Deviations below and above it are two sorted rows of six: of each pair, one row taken backwards, the lesser ones are
    // the six least of all. The median lies between the largest of these and the least of the others.
    a = f32x4.sub(middle, a);
    b = f32x4.sub(middle, b);
    c = f32x4.sub(middle, c);
    d = f32x4.sub(middle, d);
    e = f32x4.sub(middle, e);
    f = f32x4.sub(middle, f);
    g = f32x4.sub(g, middle);
    h = f32x4.sub(h, middle);
    i = f32x4.sub(i, middle);
    j = f32x4.sub(j, middle);
    k = f32x4.sub(k, middle);
    l = f32x4.sub(l, middle);
    let below = f32x4.pmax(f32x4.pmin(a, g), f32x4.pmin(b, h));
    below = f32x4.pmax(f32x4.pmax(below, f32x4.pmin(c, i)), f32x4.pmin(d, j));
    below = f32x4.pmax(f32x4.pmax(below, f32x4.pmin(e, k)), f32x4.pmin(f, l));
    let above = f32x4.pmin(f32x4.pmax(a, g), f32x4.pmax(b, h));
    above = f32x4.pmin(f32x4.pmin(above, f32x4.pmax(c, i)), f32x4.pmax(d, j));
    above = f32x4.pmin(f32x4.pmin(above, f32x4.pmax(e, k)), f32x4.pmax(f, l));
    const clipped = i32x4.gt_s(most, highest);
    everClipped = v128.or(everClipped, clipped);
    v128.store(medians + at, v128.or(middle, clipped)); // all ones is a NaN
    v128.store(spreads + at, f32x4.mul(f32x4.add(below, above), f32x4.splat(<f32>(1.4826 / 2))));
  }
  return v128.any_true(everClipped) ? 1 : 0;
}

/** Sorts `n` vectors, lane by lane, by insertion without branches. */
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

function middleOf(values: usize, n: i32): v128 {
  const upper = v128.load(values + ((<usize>(n >> 1)) << 4));
  if (n & 1) return upper;
  return f32x4.mul(f32x4.add(upper, v128.load(values + ((<usize>((n >> 1) - 1)) << 4))), f32x4.splat(0.5));
}

/**
 * @param frames u16, `frameBytes` apart; factors: one f32 a frame; values: room for a vector a frame
 * @param variances 0: not asked for
 * A pixel that is clipped in any frame gets NaN for its median, to be done the plain way.
 * Returns whether there is one.
 */
export function statistics(
  frames: usize,
  frameBytes: usize,
  factors: usize,
  n: i32,
  clip: i32,
  length: i32,
  dark: usize,
  values: usize,
  medians: usize,
  variances: usize,
  spreads: usize,
): i32 {
  if (n === 12) {
    return statisticsOfTwelve(frames, frameBytes, factors, clip, length, dark, medians, variances, spreads);
  }
  let everClipped = i32x4.splat(0);
  const clips = i32x4.splat(clip);
  const share = f32x4.splat(<f32>1 / <f32>n);
  for (let i: usize = 0; i < <usize>length; i += 4) {
    const at = i << 2;
    const darks = v128.load(dark + at);
    let anyClipped = i32x4.splat(0);
    let first = f32x4.splat(0),
      sum = f32x4.splat(0);
    for (let f: usize = 0; f < <usize>n; f++) {
      const raw = v128.load16x4_u(frames + f * frameBytes + (i << 1));
      anyClipped = v128.or(anyClipped, i32x4.ge_s(raw, clips));
      const factor = v128.load32_splat(factors + (f << 2));
      const v = f32x4.mul(f32x4.sub(f32x4.convert_i32x4_s(raw), darks), factor);
      if (f === 0) first = v;
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
    const spread = middleOf(values, n);
    everClipped = v128.or(everClipped, anyClipped);
    v128.store(medians + at, v128.or(middle, anyClipped)); // all ones is a NaN
    if (variances !== 0)
      v128.store(variances + at, f32x4.div(squares, f32x4.splat(n > 1 ? <f32>(n - 1) : 1)));
    v128.store(spreads + at, f32x4.mul(spread, f32x4.splat(1.4826)));
  }
  return v128.any_true(everClipped) ? 1 : 0;
}
