// Mean, clipped mean and median of 16-bit frames, eight pixels at a time and exact: see agent/imaging/combine-counts.ts.
// Addresses are in bytes. Counts are worked on as signed numbers v; a pixel's value is v + zero.

/** Methods; 0 is the mean. */
const clipped: i32 = 1, median: i32 = 2;
/** Further than this from the reference, eight squares could pass 2^32. */
const farMost: i32 = 23170;
const unlikely = 1.5 * 1.2533;

/** Room for eight lanes of f64 sums, squares, counts and middles. */
let lanes: usize = 0;
let frames: i32 = 0;

let swapping: bool = false;

/** Puts `length` pixels (a multiple of 8) of one frame, from where they lie, into columns of eight pixels. */
// @ts-ignore: decorator
@inline
function gatherFrame(from: usize, to: usize, length: i32, strideBytes: usize): void {
  const end = from + ((<usize>length) << 1);
  if (swapping) {
    while (from < end) {
      const v = v128.load(from);
      v128.store(to, v128.or(i16x8.shl(v, 8), i16x8.shr_u(v, 8)));
      from += 16;
      to += strideBytes;
    }
  } else {
    const flip = i16x8.splat(-32768);
    while (from < end) {
      v128.store(to, v128.xor(v128.load(from), flip));
      from += 16;
      to += strideBytes;
    }
  }
}

// @ts-ignore: decorator
@inline
function low(a: v128, b: v128): v128 {
  return v128.shuffle<i16>(a, b, 0, 8, 1, 9, 2, 10, 3, 11);
}

// @ts-ignore: decorator
@inline
function high(a: v128, b: v128): v128 {
  return v128.shuffle<i16>(a, b, 4, 12, 5, 13, 6, 14, 7, 15);
}

// @ts-ignore: decorator
@inline
function storeSums(low4: v128, high4: v128): void {
  v128.store(lanes, f64x2.convert_low_i32x4_s(low4));
  v128.store(lanes, f64x2.convert_low_i32x4_s(v128.shuffle<i32>(low4, low4, 2, 3, 2, 3)), 16);
  v128.store(lanes, f64x2.convert_low_i32x4_s(high4), 32);
  v128.store(lanes, f64x2.convert_low_i32x4_s(v128.shuffle<i32>(high4, high4, 2, 3, 2, 3)), 48);
}

/** Adds unsigned sums of squares, which stay exact in f64. */
// @ts-ignore: decorator
@inline
function addSquares(low4: v128, high4: v128): void {
  const at = lanes + 64;
  v128.store(at, f64x2.add(v128.load(at), f64x2.convert_low_i32x4_u(low4)));
  v128.store(at, f64x2.add(v128.load(at, 16), f64x2.convert_low_i32x4_u(v128.shuffle<i32>(low4, low4, 2, 3, 2, 3))), 16);
  v128.store(at, f64x2.add(v128.load(at, 32), f64x2.convert_low_i32x4_u(high4)), 32);
  v128.store(at, f64x2.add(v128.load(at, 48), f64x2.convert_low_i32x4_u(v128.shuffle<i32>(high4, high4, 2, 3, 2, 3))), 48);
}

// @ts-ignore: decorator
@inline
function clearSquares(): void {
  const none = f64x2.splat(0);
  const at = lanes + 64;
  v128.store(at, none);
  v128.store(at, none, 16);
  v128.store(at, none, 32);
  v128.store(at, none, 48);
}

/**
 * Sums, squares and counts of the values of a column that lie from `least` to `most`, less the reference.
 * Eight frames at a time, so that 32 bits hold their squares.
 */
// @ts-ignore: decorator
@inline
function sumKept(column: usize, reference: v128, least: v128, most: v128): void {
  const ones = i16x8.splat(1);
  const none = i32x4.splat(0);
  let sum0 = none, sum1 = none, count = none;
  clearSquares();
  for (let f = 0; f < frames; f += 8) {
    let square0 = none, square1 = none;
    const end = f + 8 < frames ? f + 8 : frames;
    for (let g = f; g < end; g += 2) {
      const at = column + ((<usize>g) << 4);
      let v = v128.load(at);
      let out = v128.or(i16x8.lt_s(v, least), i16x8.gt_s(v, most));
      const a = v128.andnot(i16x8.sub(v, reference), out);
      count = i16x8.sub(count, out);
      let b = none;
      if (g + 1 < end) {
        v = v128.load(at, 16);
        out = v128.or(i16x8.lt_s(v, least), i16x8.gt_s(v, most));
        b = v128.andnot(i16x8.sub(v, reference), out);
        count = i16x8.sub(count, out);
      }
      const pair0 = low(a, b), pair1 = high(a, b);
      square0 = i32x4.add(square0, i32x4.dot_i16x8_s(pair0, pair0));
      square1 = i32x4.add(square1, i32x4.dot_i16x8_s(pair1, pair1));
      sum0 = i32x4.add(sum0, i32x4.dot_i16x8_s(pair0, ones));
      sum1 = i32x4.add(sum1, i32x4.dot_i16x8_s(pair1, ones));
    }
    addSquares(square0, square1);
  }
  storeSums(sum0, sum1);
  v128.store(lanes, count, 128);
}

/** The same for values anywhere: the rare way. */
function sumKeptFar(column: usize, reference: v128, least: v128, most: v128): void {
  v128.store(lanes, reference, 144);
  v128.store(lanes, least, 160);
  v128.store(lanes, most, 176);
  for (let lane: usize = 0; lane < 8; lane++) {
    const middle = <i32>load<i16>(lanes + 144 + 2 * lane);
    const from = <i32>load<i16>(lanes + 160 + 2 * lane);
    const to = <i32>load<i16>(lanes + 176 + 2 * lane);
    let sum: i64 = 0, squares: i64 = 0, out: i32 = 0;
    for (let f = 0; f < frames; f++) {
      const v = <i32>load<i16>(column + ((<usize>f) << 4) + 2 * lane);
      if (v < from || v > to) {
        out++;
        continue;
      }
      const d = <i64>(v - middle);
      sum += d;
      squares += d * d;
    }
    store<f64>(lanes + 8 * lane, <f64>sum);
    store<f64>(lanes + 64 + 8 * lane, <f64>squares);
    store<i16>(lanes + 128 + 2 * lane, <i16>out);
  }
}

// @ts-ignore: decorator
@inline
function loadPair(at: usize, pair: usize): v128 {
  return v128.load(at + (pair << 4));
}

/** A whole number for each lane, held within 16 bits. */
// @ts-ignore: decorator
@inline
function storeLane(at: usize, lane: usize, value: f64): void {
  store<i16>(at + (lane << 1), <i16>(<i32>(value < -32768 ? -32768.0 : value > 32767 ? 32767.0 : value)));
}

/** Bounds of the search for the median, and where it is probed first. */
function startSearch(least: v128, most: v128): void {
  // 192: lowest, 208: highest, 224: first probe, 240: second.
  v128.store(lanes, least, 192);
  v128.store(lanes, most, 208);
  const n = <f64>frames;
  const share = unlikely / Math.sqrt(n);
  for (let lane: usize = 0; lane < 8; lane++) {
    const sum = load<f64>(lanes + 8 * lane);
    const squares = load<f64>(lanes + 64 + 8 * lane);
    const mean = sum / n + <f64>load<i16>(lanes + 144 + 2 * lane);
    const around = sqrt(squares * n - sum * sum) / n * share;
    storeLane(lanes + 224, lane, floor(mean - around - 1));
    storeLane(lanes + 240, lane, ceil(mean + around));
  }
}

/** Two middle values of a column; their halves are what an even number of frames takes the mean of. */
// @ts-ignore: decorator
@inline
function findMiddles(column: usize, least: v128, most: v128): void {
  startSearch(least, most);
  const half = i16x8.splat(<i16>((frames + 1) >> 1));
  let from = least, to = most;
  let step = 0;
  while (v128.any_true(v128.xor(from, to))) {
    // Half way without overflow, rounded down; at first where the mean and its noise point.
    let probe = i16x8.add(v128.and(from, to), i16x8.shr_s(v128.xor(from, to), 1));
    if (step < 2) {
      const guess = v128.load(lanes + 224 + ((<usize>step) << 4));
      const inside = v128.and(i16x8.ge_s(guess, from), i16x8.lt_s(guess, to));
      probe = v128.bitselect(guess, probe, inside);
    }
    let count0 = i16x8.splat(0), count1 = i16x8.splat(0);
    let at = column;
    const end = column + ((<usize>frames) << 4);
    for (; at + 32 <= end; at += 32) {
      count0 = i16x8.add(count0, i16x8.gt_s(v128.load(at), probe));
      count1 = i16x8.add(count1, i16x8.gt_s(v128.load(at, 16), probe));
    }
    if (at < end) count0 = i16x8.add(count0, i16x8.gt_s(v128.load(at), probe));
    // Counts of what is above come as negative numbers.
    const below = i16x8.add(i16x8.splat(<i16>frames), i16x8.add(count0, count1));
    const enough = i16x8.ge_u(below, half);
    to = v128.bitselect(probe, to, enough);
    from = v128.bitselect(from, i16x8.add(probe, i16x8.splat(1)), enough);
    step++;
  }
  v128.store(lanes, to, 192);
  if (frames & 1) {
    v128.store(lanes, to, 208);
    return;
  }
  let above = i16x8.splat(32767);
  let count = i16x8.splat(<i16>frames);
  for (let f = 0; f < frames; f++) {
    const v = v128.load(column + ((<usize>f) << 4));
    const isAbove = i16x8.gt_s(v, to);
    count = i16x8.add(count, isAbove);
    above = i16x8.min_s(above, v128.bitselect(v, i16x8.splat(32767), isAbove));
  }
  v128.store(lanes, v128.bitselect(to, above, i16x8.gt_u(count, half)), 208);
}

/** Limits of what is kept, around the middles; true if anything lies outside. */
function limits(sigmas: f64, least: v128, most: v128): bool {
  const n = <f64>frames;
  for (let lane: usize = 0; lane < 8; lane++) {
    const sum = load<f64>(lanes + 8 * lane);
    const squares = load<f64>(lanes + 64 + 8 * lane);
    const reach = sigmas * (sqrt(squares * n - sum * sum) / n);
    const middle = 0.5 * (<f64>load<i16>(lanes + 192 + 2 * lane) + <f64>load<i16>(lanes + 208 + 2 * lane));
    storeLane(lanes + 224, lane, ceil(middle - reach));
    storeLane(lanes + 240, lane, floor(middle + reach));
  }
  return v128.any_true(
    v128.or(i16x8.lt_s(least, v128.load(lanes, 224)), i16x8.gt_s(most, v128.load(lanes, 240))),
  );
}

/** No value is further from the mean than that many deviations, hence none further from the median than one more. */
function allNear(sigmas: f64, least: v128, most: v128): bool {
  const n = <f64>frames;
  const within = (sigmas - 1) * (sigmas - 1);
  v128.store(lanes, least, 192);
  v128.store(lanes, most, 208);
  for (let lane: usize = 0; lane < 8; lane++) {
    const sum = load<f64>(lanes + 8 * lane);
    const squares = load<f64>(lanes + 64 + 8 * lane);
    const middle = <f64>load<i16>(lanes + 144 + 2 * lane);
    const up = (<f64>load<i16>(lanes + 208 + 2 * lane) - middle) * n - sum;
    const down = sum - (<f64>load<i16>(lanes + 192 + 2 * lane) - middle) * n;
    const variance = (squares * n - sum * sum) * within;
    if (up * up > variance || down * down > variance) return false;
  }
  return true;
}

// What the last call to `combine` counted.
let rejected: f64 = 0;
let masked: f64 = 0;
export function rejectedValues(): f64 {
  return rejected;
}
export function maskedPixels(): f64 {
  return masked;
}

/**
 * One column of eight pixels: value, sigma and mask.
 */
// @ts-ignore: decorator
@inline
function finishColumn(method: i32, zero: f64, noise: f64, put: usize, bytes: usize, px: usize, dark: usize, darkSigma: usize): void {
  for (let pair: usize = 0; pair < 4; pair++) {
    const out0 = <i32>load<u16>(lanes + 128 + 4 * pair);
    const out1 = <i32>load<u16>(lanes + 130 + 4 * pair);
    const n0 = frames - out0, n1 = frames - out1;
    const n = f64x2.replace_lane(f64x2.splat(<f64>n0), 1, <f64>n1);
    const sum = loadPair(lanes, pair), squares = loadPair(lanes + 64, pair);
    const reference = f64x2.convert_low_i32x4_s(v128.load16x4_s(lanes + 144 + 4 * pair));
    const mean = f64x2.add(f64x2.div(sum, n), reference);
    const scatter = f64x2.sub(f64x2.mul(squares, n), f64x2.mul(sum, sum));
    let value = mean;
    let own = f64x2.div(scatter, f64x2.mul(n, f64x2.mul(n, n)));
    if (method == median) {
      const upper = f64x2.convert_low_i32x4_s(v128.load16x4_s(lanes + 208 + 4 * pair));
      const lower = f64x2.convert_low_i32x4_s(v128.load16x4_s(lanes + 192 + 4 * pair));
      value = f64x2.mul(f64x2.add(lower, upper), f64x2.splat(0.5));
      own = f64x2.mul(own, f64x2.splat(noise * noise));
    }
    const at = px + 2 * pair;
    value = f64x2.add(value, f64x2.splat(zero));
    if (dark != 0) value = f64x2.sub(value, f64x2.promote_low_f32x4(v128.load64_zero(dark + (at << 2))));
    if (darkSigma != 0) {
      const darkNoise = f64x2.promote_low_f32x4(v128.load64_zero(darkSigma + (at << 2)));
      own = f64x2.add(own, f64x2.mul(darkNoise, darkNoise));
    }
    v128.store64_lane(put + (at << 2), f32x4.demote_f64x2_zero(value), 0);
    v128.store64_lane(bytes + (at << 2), f32x4.demote_f64x2_zero(f64x2.sqrt(own)), 0);
    // One value tells nothing of its scatter.
    if (n0 < 2) store<f32>(bytes + (at << 2), f32.NaN);
    if (n1 < 2) store<f32>(bytes + (at << 2) + 4, f32.NaN);
  }
}

/**
 * @param from where the tile's first frame lies, the next one `strideBytes` further
 * @param bigEndian as FITS stores it, else native unsigned
 * @param columnPx pixels whose values of all frames are taken together into `scratch`; a multiple of 8
 * @param clipAt v at or above is clipped; 32768 for none
 * @param dark,darkSigma f32, 0 for none
 */
export function combine(
  from: usize, strideBytes: usize, frameCount: i32, pxCount: i32, bigEndian: i32, method: i32, sigmas: f64, zero: f64,
  noise: f64, clipAt: i32, columnPx: i32, scratch: usize, lanesAt: usize, value: usize, sigma: usize, mask: usize,
  dark: usize, darkSigma: usize,
): void {
  lanes = lanesAt;
  frames = frameCount;
  swapping = bigEndian != 0;
  rejected = 0;
  masked = 0;
  const columnBytes = ((<usize>frames) << 4) + 16;
  const clippedMost = frames / 50;
  for (let start = 0; start < pxCount; start += columnPx) {
    const length = pxCount - start < columnPx ? pxCount - start : columnPx;
    for (let f = 0; f < frames; f++) {
      const at = from + (<usize>f) * strideBytes + ((<usize>start) << 1);
      gatherFrame(at, scratch + ((<usize>f) << 4), (length + 7) & ~7, columnBytes);
    }
    let column = scratch;
    for (let x = 0; x < length; x += 8) {
      const px = <usize>(start + x);
      const reference = v128.load(column);
      const ones = i16x8.splat(1);
      const none = i32x4.splat(0);
      let sum0 = none, sum1 = none;
      let least = reference, most = reference;
      clearSquares();
      for (let f = 0; f < frames; f += 8) {
        let square0 = none, square1 = none;
        const end = f + 8 < frames ? f + 8 : frames;
        for (let g = f; g < end; g += 2) {
          const at = column + ((<usize>g) << 4);
          let v = v128.load(at);
          least = i16x8.min_s(least, v);
          most = i16x8.max_s(most, v);
          const a = i16x8.sub(v, reference);
          let b = none;
          if (g + 1 < end) {
            v = v128.load(at, 16);
            least = i16x8.min_s(least, v);
            most = i16x8.max_s(most, v);
            b = i16x8.sub(v, reference);
          }
          const pair0 = low(a, b), pair1 = high(a, b);
          square0 = i32x4.add(square0, i32x4.dot_i16x8_s(pair0, pair0));
          square1 = i32x4.add(square1, i32x4.dot_i16x8_s(pair1, pair1));
          sum0 = i32x4.add(sum0, i32x4.dot_i16x8_s(pair0, ones));
          sum1 = i32x4.add(sum1, i32x4.dot_i16x8_s(pair1, ones));
        }
        addSquares(square0, square1);
      }
      storeSums(sum0, sum1);
      v128.store(lanes, none, 128);
      v128.store(lanes, reference, 144);
      // Unsigned, since a difference of two 16-bit numbers needs 17 bits.
      const spread = i16x8.max_u(i16x8.sub(most, reference), i16x8.sub(reference, least));
      const far = v128.any_true(i16x8.gt_u(spread, i16x8.splat(<i16>farMost)));
      if (far) sumKeptFar(column, reference, i16x8.splat(-32768), i16x8.splat(32767));
      if (method == median) findMiddles(column, least, most);
      else if (method == clipped && !allNear(sigmas, least, most)) {
        findMiddles(column, least, most);
        if (limits(sigmas, least, most)) {
          const lowest = v128.load(lanes, 224), highest = v128.load(lanes, 240);
          if (far) sumKeptFar(column, reference, lowest, highest);
          else sumKept(column, reference, lowest, highest);
        }
      }
      finishColumn(method, zero, noise, value, sigma, px, dark, darkSigma);
      maskColumn(column, px, length - x < 8 ? length - x : 8, clipAt, clippedMost, most, mask);
      column += columnBytes;
    }
  }
}

/** Adds its bits to what the mask holds: 2 for clipped in more frames than `clippedMost`, 8 for mostly rejected. */
// @ts-ignore: decorator
@inline
function maskColumn(column: usize, px: usize, length: i32, clipAt: i32, clippedMost: i32, most: v128, mask: usize): void {
  const out = v128.load(lanes, 128);
  const above = clipAt > 32767 ? i16x8.splat(0) : i16x8.ge_s(most, i16x8.splat(<i16>clipAt));
  if (v128.any_true(v128.or(out, above)) || v128.any_true(v128.load64_zero(mask + px))) {
    for (let lane = 0; lane < length; lane++) {
      let bits = <i32>load<u8>(mask + px + lane);
      const lost = <i32>load<u16>(lanes + 128 + ((<usize>lane) << 1));
      rejected += <f64>lost;
      if (2 * (frames - lost) < frames) bits |= 8;
      if (clipAt <= 32767) {
        let count = 0;
        for (let f = 0; f < frames; f++) {
          count += <i32>(<i32>load<i16>(column + ((<usize>f) << 4) + ((<usize>lane) << 1)) >= clipAt);
        }
        if (count > clippedMost) bits |= 2;
      }
      if (bits != 0) masked++;
      store<u8>(mask + px + lane, <u8>bits);
    }
  }
}
