// Mean, clipped mean and median of 16-bit frames, eight pixels at a time and exact: see agent/imaging/combining/combine-counts.ts.
// Addresses are in bytes. Counts are worked on as signed numbers v; a pixel's value is v + zero.

/** Methods; 0 is the mean. */
const clipped: i32 = 1,
  median: i32 = 2;
/** Further than this from the reference, eight squares could pass 2^32. */
const farMost: i32 = 23170;
/** Deviations of a median of normal values, over the root of their number, within which it nearly always lies. */
const unlikely: f64 = 2 * 1.2533;

/**
 * Room for what is known of eight lanes: sums (f64, at 0), squares (64), values left out (i16, 128), reference (144),
 * clipped values (160), lower and upper middle (192, 208), limits (224, 240), deviations (f64, 256), means (320), up to
 * 11 distances of one lane (i32, 384). What is at 160 and 176 holds for a moment only.
 */
let lanes: usize = 0;
let frames: i32 = 0;

/** What holds for all columns of a tile. */
let method: i32 = 0,
  clipAt: i32 = 0;
let sigmas: f64 = 0,
  zero: f64 = 0,
  noise: f64 = 0,
  sigmaOfMad: f64 = 0;
let value: usize = 0,
  sigma: usize = 0,
  mask: usize = 0,
  dark: usize = 0,
  darkSigma: usize = 0;

/** Room for a column's values in 8 bits, 8 bytes a frame and 8 more. */
let packed: usize = 0;

/** Puts `length` pixels (a multiple of 8) of one frame, from where they lie, into columns of eight pixels. */
function gatherFrame(from: usize, to: usize, length: i32, columnBytes: usize): void {
  const end = from + ((<usize>length) << 1);
  while (from < end) {
    const v = v128.load(from);
    v128.store(to, v128.or(i16x8.shl(v, 8), i16x8.shr_u(v, 8)));
    from += 16;
    to += columnBytes;
  }
}

/**
 * Puts pixels of several frames into columns: eight pixels of the first frame, the same of the second and so on.
 * @param from where the first frame lies, the next one `strideBytes` further; big-endian and signed as FITS stores it
 * @param to where the first frame's pixels go in the first column, the next column `columnBytes` further
 */
export function gather(
  from: usize,
  strideBytes: usize,
  frameCount: i32,
  pxCount: i32,
  to: usize,
  columnBytes: usize,
): void {
  for (let start = 0; start < pxCount; start += 32) {
    const length = pxCount - start < 32 ? (pxCount - start + 7) & ~7 : 32;
    for (let f = 0; f < frameCount; f++) {
      const at = from + <usize>f * strideBytes + ((<usize>start) << 1);
      gatherFrame(at, to + ((<usize>f) << 4), length, columnBytes);
    }
    to += columnBytes << 2;
  }
}

function low(a: v128, b: v128): v128 {
  return v128.shuffle<i16>(a, b, 0, 8, 1, 9, 2, 10, 3, 11);
}

function high(a: v128, b: v128): v128 {
  return v128.shuffle<i16>(a, b, 4, 12, 5, 13, 6, 14, 7, 15);
}

function upperHalf(v: v128): v128 {
  return v128.shuffle<i64>(v, v, 1, 1);
}

/** Two unsigned numbers of 32 bits as f64: by their bits, for a conversion would be slow. */
function unsignedPair(v: v128): v128 {
  const shift = f64x2.splat(4503599627370496.0); // 2^52, whose last bits are whole numbers
  return f64x2.sub(v128.or(i64x2.extend_low_i32x4_u(v), shift), shift);
}

function storeSums(low4: v128, high4: v128): void {
  v128.store(lanes, f64x2.convert_low_i32x4_s(low4));
  v128.store(lanes, f64x2.convert_low_i32x4_s(upperHalf(low4)), 16);
  v128.store(lanes, f64x2.convert_low_i32x4_s(high4), 32);
  v128.store(lanes, f64x2.convert_low_i32x4_s(upperHalf(high4)), 48);
}

/** Sums and squares of a column's values, less the reference, for values anywhere: the rare way. */
function sumFar(column: usize, reference: v128): void {
  v128.store(lanes, reference, 144);
  for (let lane: usize = 0; lane < 8; lane++) {
    const middle = <i32>load<i16>(lanes + 144 + 2 * lane);
    let sum: i64 = 0,
      squares: i64 = 0;
    for (let f = 0; f < frames; f++) {
      const d = <i64>(<i32>load<i16>(column + ((<usize>f) << 4) + 2 * lane) - middle);
      sum += d;
      squares += d * d;
    }
    store<f64>(lanes + 8 * lane, <f64>sum);
    store<f64>(lanes + 64 + 8 * lane, <f64>squares);
  }
}

/** Takes values of one frame off the sums of all. @param out -1 where a value is left out, else 0 */
function takeOff(at: usize, out: v128): void {
  for (let left = i16x8.bitmask(out); left !== 0; left &= left - 1) {
    const lane = <usize>ctz(left);
    const d = <f64>(<i32>load<i16>(at + 2 * lane) - <i32>load<i16>(lanes + 144 + 2 * lane));
    const sum = lanes + 8 * lane,
      count = lanes + 128 + 2 * lane;
    store<f64>(sum, load<f64>(sum) - d);
    store<f64>(sum, load<f64>(sum, 64) - d * d, 64);
    store<i16>(count, load<i16>(count) + 1);
  }
}

/** Takes the values of a column that do not lie from `lowest` to `highest` off the sums of all: whole numbers, so exact. */
function leaveOut(column: usize, lowest: v128, highest: v128): void {
  // Both limits in one comparison: a value below the lower one wraps to the largest numbers.
  const shift = i16x8.add(lowest, i16x8.splat(-32768));
  const top = i16x8.sub(highest, shift);
  let at = column;
  const end = column + ((<usize>frames) << 4);
  for (; at + 64 <= end; at += 64) {
    const out0 = i16x8.gt_s(i16x8.sub(v128.load(at), shift), top);
    const out1 = i16x8.gt_s(i16x8.sub(v128.load(at, 16), shift), top);
    const out2 = i16x8.gt_s(i16x8.sub(v128.load(at, 32), shift), top);
    const out3 = i16x8.gt_s(i16x8.sub(v128.load(at, 48), shift), top);
    if (!v128.any_true(v128.or(v128.or(out0, out1), v128.or(out2, out3)))) continue;
    takeOff(at, out0);
    takeOff(at + 16, out1);
    takeOff(at + 32, out2);
    takeOff(at + 48, out3);
  }
  for (; at < end; at += 16) takeOff(at, i16x8.gt_s(i16x8.sub(v128.load(at), shift), top));
}

function loadPair(at: usize, pair: usize): v128 {
  return v128.load(at + (pair << 4));
}

/** Mean less reference, and deviation with n, of each lane, of what was summed last over all frames. */
function findMoments(): void {
  const n = f64x2.splat(<f64>frames);
  for (let pair: usize = 0; pair < 4; pair++) {
    const sum = loadPair(lanes, pair),
      squares = loadPair(lanes + 64, pair);
    const scatter = f64x2.sub(f64x2.mul(squares, n), f64x2.mul(sum, sum));
    v128.store(lanes + 256 + (pair << 4), f64x2.div(f64x2.sqrt(scatter), n));
    v128.store(lanes + 320 + (pair << 4), f64x2.div(sum, n));
  }
}

function asReals(at: usize, pair: usize): v128 {
  return f64x2.convert_low_i32x4_s(v128.load16x4_s(at + 4 * pair));
}

/** Whole numbers of four pairs, held within 16 bits. */
function asCounts(a: v128, b: v128, c: v128, d: v128): v128 {
  const low4 = v128.shuffle<i64>(i32x4.trunc_sat_f64x2_s_zero(a), i32x4.trunc_sat_f64x2_s_zero(b), 0, 2);
  const high4 = v128.shuffle<i64>(i32x4.trunc_sat_f64x2_s_zero(c), i32x4.trunc_sat_f64x2_s_zero(d), 0, 2);
  return i16x8.narrow_i32x4_s(low4, high4);
}

function below(at: usize, pair: usize, deviations: v128): v128 {
  return f64x2.ceil(f64x2.sub(asReals(at, pair), f64x2.mul(deviations, loadPair(lanes + 256, pair))));
}

function above(at: usize, pair: usize, deviations: v128): v128 {
  return f64x2.floor(f64x2.add(asReals(at, pair), f64x2.mul(deviations, loadPair(lanes + 256, pair))));
}

/** The mean, so many deviations up. */
function fromMean(pair: usize, deviations: v128): v128 {
  const mean = f64x2.add(asReals(lanes + 144, pair), loadPair(lanes + 320, pair));
  return f64x2.floor(f64x2.add(mean, f64x2.mul(deviations, loadPair(lanes + 256, pair))));
}

/** How many values of each lane lie above a probe. */
function countAbove(column: usize, probe: v128): v128 {
  let count0 = i16x8.splat(0),
    count1 = count0;
  let at = column;
  const end = column + ((<usize>frames) << 4);
  for (; at + 64 <= end; at += 64) {
    count0 = i16x8.sub(count0, i16x8.gt_s(v128.load(at), probe));
    count1 = i16x8.sub(count1, i16x8.gt_s(v128.load(at, 16), probe));
    count0 = i16x8.sub(count0, i16x8.gt_s(v128.load(at, 32), probe));
    count1 = i16x8.sub(count1, i16x8.gt_s(v128.load(at, 48), probe));
  }
  for (; at < end; at += 16) count0 = i16x8.sub(count0, i16x8.gt_s(v128.load(at), probe));
  return i16x8.add(count0, count1);
}

/** Values less `base` in 8 bits, two frames to a vector; what is further off goes to the ends, so the order stays. */
function packColumn(column: usize, base: v128): void {
  let to = packed,
    at = column;
  const end = column + ((<usize>frames) << 4);
  for (; at + 32 <= end; at += 32) {
    const v = i16x8.sub_sat_s(v128.load(at), base),
      w = i16x8.sub_sat_s(v128.load(at, 16), base);
    v128.store(to, i8x16.narrow_i16x8_s(v, w));
    to += 16;
  }
  const nothing = i16x8.splat(-32768);
  if (at < end) v128.store(to, i8x16.narrow_i16x8_s(i16x8.sub_sat_s(v128.load(at), base), nothing));
}

/** `countAbove` among packed values, half as many vectors. @param probe less the base */
function countPackedAbove(probe: v128): v128 {
  const narrow = i8x16.narrow_i16x8_s(probe, probe);
  let count = i16x8.splat(0);
  let at = packed;
  const end = packed + ((<usize>((frames + 1) >> 1)) << 4);
  while (at < end) {
    // No more than 8 bits can count.
    const stop = at + 4064 < end ? at + 4064 : end;
    let count0 = i8x16.splat(0),
      count1 = count0;
    for (; at + 64 <= stop; at += 64) {
      count0 = i8x16.sub(count0, i8x16.gt_s(v128.load(at), narrow));
      count1 = i8x16.sub(count1, i8x16.gt_s(v128.load(at, 16), narrow));
      count0 = i8x16.sub(count0, i8x16.gt_s(v128.load(at, 32), narrow));
      count1 = i8x16.sub(count1, i8x16.gt_s(v128.load(at, 48), narrow));
    }
    for (; at < stop; at += 16) count0 = i8x16.sub(count0, i8x16.gt_s(v128.load(at), narrow));
    count = i16x8.add(count, i16x8.add(i16x8.extend_low_i8x16_u(count0), i16x8.extend_high_i8x16_u(count0)));
    count = i16x8.add(count, i16x8.add(i16x8.extend_low_i8x16_u(count1), i16x8.extend_high_i8x16_u(count1)));
  }
  return count;
}

/** The smallest value of each lane above another; 32767 where there is none. */
function nextAbove(column: usize, value: v128): v128 {
  const none = i16x8.splat(32767);
  let next = none;
  const end = column + ((<usize>frames) << 4);
  for (let at = column; at < end; at += 16) {
    const v = v128.load(at);
    next = i16x8.min_s(next, v128.bitselect(v, none, i16x8.gt_s(v, value)));
  }
  return next;
}

/** `nextAbove` among packed values, 127 where there is none so near. @param value less the base, at most 126 */
function nextPackedAbove(value: v128): v128 {
  const flip = i8x16.splat(-128),
    one = i8x16.splat(1);
  const narrow = v128.xor(i8x16.narrow_i16x8_s(value, value), flip);
  let least = i8x16.splat(-1);
  const end = packed + ((<usize>((frames + 1) >> 1)) << 4);
  for (let at = packed; at < end; at += 16) {
    // Unsigned distances, less one: what is not above has none and wraps to the largest.
    const apart = i8x16.sub_sat_u(v128.xor(v128.load(at), flip), narrow);
    least = i8x16.min_u(least, i8x16.sub(apart, one));
  }
  const nearest = i16x8.min_u(i16x8.extend_low_i8x16_u(least), i16x8.extend_high_i8x16_u(least));
  return i16x8.min_s(i16x8.splat(127), i16x8.add(i16x8.add(value, nearest), i16x8.splat(1)));
}

/** Bounds no further apart than this fit into 8 bits, with room for what lies outside. */
const packedMost: i32 = 253;

/**
 * Two middle values of a column, left at 192 and 208; an even number of frames takes the mean of them.
 * @param reachSigmas if a median in the bounds found so far rejects no value beyond that many deviations, the search ends;
 *   negative: only with the median
 * @returns false if it ended so
 */
function findMiddles(column: usize, least: v128, most: v128, reachSigmas: f64): bool {
  const share = f64x2.splat(unlikely / Math.sqrt(<f64>frames)),
    under = f64x2.neg(share);
  const guess0 = asCounts(fromMean(0, under), fromMean(1, under), fromMean(2, under), fromMean(3, under));
  const guess1 = asCounts(fromMean(0, share), fromMean(1, share), fromMean(2, share), fromMean(3, share));
  let noneAbove = i16x8.splat(32767),
    noneBelow = i16x8.splat(-32768);
  if (reachSigmas >= 0) {
    v128.store(lanes, least, 192);
    v128.store(lanes, most, 208);
    const at = lanes + 192,
      reach = f64x2.splat(reachSigmas);
    noneBelow = asCounts(above(at, 0, reach), above(at, 1, reach), above(at, 2, reach), above(at, 3, reach));
    const top = lanes + 208;
    noneAbove = asCounts(
      below(top, 0, reach),
      below(top, 1, reach),
      below(top, 2, reach),
      below(top, 3, reach),
    );
  }
  const all = i16x8.splat(<i16>frames);
  const half = i16x8.splat(<i16>((frames + 1) >> 1));
  const halfAtLeast = i16x8.splat(<i16>(frames >> 1));
  let from = least,
    to = most,
    bothUpTo = most,
    upToTo = all;
  let base = least,
    isPacked = false;
  let step = 0;
  while (v128.any_true(v128.xor(from, to))) {
    const width = i16x8.sub(to, from);
    if (!isPacked && step >= 2 && !v128.any_true(i16x8.gt_u(width, i16x8.splat(<i16>packedMost)))) {
      base = i16x8.add_sat_s(from, i16x8.splat(127));
      packColumn(column, base);
      isPacked = true;
    }
    // Half way without overflow, rounded down; at first where the mean and its noise point.
    let probe = i16x8.add(v128.and(from, to), i16x8.shr_s(v128.xor(from, to), 1));
    if (step < 2) {
      const guess = step === 0 ? guess0 : guess1;
      probe = v128.bitselect(guess, probe, v128.and(i16x8.ge_s(guess, from), i16x8.lt_s(guess, to)));
    }
    const isAbove = isPacked ? countPackedAbove(i16x8.sub(probe, base)) : countAbove(column, probe);
    const upTo = i16x8.sub(all, isAbove);
    const enough = i16x8.ge_u(upTo, half);
    to = v128.bitselect(probe, to, enough);
    upToTo = v128.bitselect(upTo, upToTo, enough);
    from = v128.bitselect(from, i16x8.add(probe, i16x8.splat(1)), enough);
    // More than half up to the probe: both middles are.
    bothUpTo = v128.bitselect(probe, bothUpTo, i16x8.gt_u(upTo, halfAtLeast));
    const open = v128.or(i16x8.gt_s(bothUpTo, noneBelow), i16x8.lt_s(from, noneAbove));
    if (reachSigmas >= 0 && !v128.any_true(open)) return false;
    step++;
  }
  v128.store(lanes, to, 192);
  v128.store(lanes, to, 208);
  const alone = i16x8.le_u(upToTo, half);
  if (frames & 1 || !v128.any_true(alone)) return true;
  // The lower middle is the last of its half: the upper one is the next value.
  let next = to,
    known = false;
  if (isPacked) {
    const near = nextPackedAbove(i16x8.sub(to, base));
    next = i16x8.add(base, near);
    known = !v128.any_true(v128.and(alone, i16x8.ge_s(near, i16x8.splat(127))));
  }
  if (!known) next = nextAbove(column, to);
  v128.store(lanes, v128.bitselect(next, to, alone), 208);
  return true;
}

/** Limits of what is kept, around the middles, left at 224 and 240; true if anything lies outside. */
function findLimits(least: v128, most: v128): bool {
  const reach = f64x2.splat(sigmas);
  const lowest = asCounts(under(0, reach), under(1, reach), under(2, reach), under(3, reach));
  const highest = asCounts(over(0, reach), over(1, reach), over(2, reach), over(3, reach));
  v128.store(lanes, lowest, 224);
  v128.store(lanes, highest, 240);
  return v128.any_true(v128.or(i16x8.lt_s(least, lowest), i16x8.gt_s(most, highest)));
}

function middle(pair: usize): v128 {
  return f64x2.mul(f64x2.add(asReals(lanes + 192, pair), asReals(lanes + 208, pair)), f64x2.splat(0.5));
}

function under(pair: usize, reach: v128): v128 {
  return f64x2.ceil(f64x2.sub(middle(pair), f64x2.mul(reach, loadPair(lanes + 256, pair))));
}

function over(pair: usize, reach: v128): v128 {
  return f64x2.floor(f64x2.add(middle(pair), f64x2.mul(reach, loadPair(lanes + 256, pair))));
}

// Noise that pixels have in common, for few frames: its variance, by how much it grows, and from where.
let commonVariance: f64 = 0;
let commonSlope: f64 = 0;
let commonLevel: f64 = 0;

function storeCommonSigma(pair: usize, level: v128): void {
  const gained = f64x2.mul(f64x2.splat(commonSlope), f64x2.sub(level, f64x2.splat(commonLevel)));
  const variance = f64x2.add(f64x2.splat(commonVariance), gained);
  v128.store(lanes + 256 + (pair << 4), f64x2.sqrt(f64x2.max(f64x2.splat(0), variance)));
}

/** `findLimits` for few frames: by the common noise, and only where that leaves something out by the lane's own, too. */
function findFewLimits(column: usize, least: v128, most: v128): bool {
  // The least noise there can be, since it grows with the level: mostly it leaves nothing out, and no median is needed.
  v128.store(lanes, least, 192);
  for (let pair: usize = 0; pair < 4; pair++) storeCommonSigma(pair, asReals(lanes + 192, pair));
  if (!findMiddles(column, least, most, sigmas)) return false;
  for (let pair: usize = 0; pair < 4; pair++) storeCommonSigma(pair, middle(pair));
  if (!findLimits(least, most)) return false;
  const left = v128.or(i16x8.lt_s(least, v128.load(lanes, 224)), i16x8.gt_s(most, v128.load(lanes, 240)));
  v128.store(lanes, left, 160);
  for (let lane: usize = 0; lane < 8; lane++) {
    if (load<i16>(lanes + 160 + 2 * lane) === 0) continue;
    const at = lanes + 256 + 8 * lane;
    store<f64>(at, Math.max(load<f64>(at), sigmaOfMad * medianDistance(column, lane)));
  }
  return findLimits(least, most);
}

/** Median absolute deviation of a lane from its median. */
function medianDistance(column: usize, lane: usize): f64 {
  const distances = lanes + 384;
  const twice = <i32>load<i16>(lanes + 192 + 2 * lane) + <i32>load<i16>(lanes + 208 + 2 * lane);
  for (let f = 0; f < frames; f++) {
    const apart = 2 * <i32>load<i16>(column + ((<usize>f) << 4) + 2 * lane) - twice;
    const distance = apart < 0 ? -apart : apart;
    let place = f;
    for (; place > 0; place--) {
      const before = load<i32>(distances + ((<usize>(place - 1)) << 2));
      if (before <= distance) break;
      store<i32>(distances + ((<usize>place) << 2), before);
    }
    store<i32>(distances + ((<usize>place) << 2), distance);
  }
  const upper = load<i32>(distances + ((<usize>(frames >> 1)) << 2));
  const lower = load<i32>(distances + ((<usize>((frames - 1) >> 1)) << 2));
  return <f64>(lower + upper) / 4;
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
function finishColumn(px: usize): void {
  for (let pair: usize = 0; pair < 4; pair++) {
    const out0 = <i32>load<u16>(lanes + 128 + 4 * pair);
    const out1 = <i32>load<u16>(lanes + 130 + 4 * pair);
    const n0 = frames - out0,
      n1 = frames - out1;
    const n = f64x2.replace_lane(f64x2.splat(<f64>n0), 1, <f64>n1);
    const sum = loadPair(lanes, pair),
      squares = loadPair(lanes + 64, pair);
    const reference = asReals(lanes + 144, pair);
    const mean = f64x2.add(f64x2.div(sum, n), reference);
    const scatter = f64x2.sub(f64x2.mul(squares, n), f64x2.mul(sum, sum));
    let result = mean;
    let own = f64x2.div(scatter, f64x2.mul(n, f64x2.mul(n, n)));
    if (method === median) {
      result = middle(pair);
      own = f64x2.mul(own, f64x2.splat(noise * noise));
    }
    const at = px + 2 * pair;
    result = f64x2.add(result, f64x2.splat(zero));
    if (dark !== 0) result = f64x2.sub(result, f64x2.promote_low_f32x4(v128.load64_zero(dark + (at << 2))));
    if (darkSigma !== 0) {
      const darkNoise = f64x2.promote_low_f32x4(v128.load64_zero(darkSigma + (at << 2)));
      own = f64x2.add(own, f64x2.mul(darkNoise, darkNoise));
    }
    v128.store64_lane(value + (at << 2), f32x4.demote_f64x2_zero(result), 0);
    v128.store64_lane(sigma + (at << 2), f32x4.demote_f64x2_zero(f64x2.sqrt(own)), 0);
    // One value tells nothing of its scatter.
    if (n0 < 2) store<f32>(sigma + (at << 2), f32.NaN);
    if (n1 < 2) store<f32>(sigma + (at << 2) + 4, f32.NaN);
  }
}

/**
 * To be called before a tile is combined.
 * @param clipLeast v at or above is clipped; 32768 for none
 * @param madSigma for few frames, whose clipping goes by it and by the noise given by variance, slope and level; else 0
 * @param darkAt,darkSigmaAt f32, 0 for none
 */
export function begin(
  frameCount: i32,
  how: i32,
  reach: f64,
  zeroAdu: f64,
  medianNoise: f64,
  clipLeast: i32,
  madSigma: f64,
  variance: f64,
  slope: f64,
  level: f64,
  lanesAt: usize,
  packedAt: usize,
  valueAt: usize,
  sigmaAt: usize,
  maskAt: usize,
  darkAt: usize,
  darkSigmaAt: usize,
): void {
  frames = frameCount;
  method = how;
  sigmas = reach;
  zero = zeroAdu;
  noise = medianNoise;
  clipAt = clipLeast;
  sigmaOfMad = madSigma;
  commonVariance = variance;
  commonSlope = slope;
  commonLevel = level;
  lanes = lanesAt;
  packed = packedAt;
  value = valueAt;
  sigma = sigmaAt;
  mask = maskAt;
  dark = darkAt;
  darkSigma = darkSigmaAt;
  rejected = 0;
  masked = 0;
}

/** Combines what was gathered, `length` pixels of the tile from `start` on. */
export function combineColumns(column: usize, columnBytes: usize, start: i32, length: i32): void {
  const clippedMost = max<i32>(1, frames / 50);
  for (let x = 0; x < length; x += 8) {
    const px = <usize>(start + x);
    const reference = v128.load(column);
    const ones = i16x8.splat(1);
    const none = i32x4.splat(0);
    let sum0 = none,
      sum1 = none;
    let least = reference,
      most = reference;
    let squares0 = f64x2.splat(0),
      squares1 = squares0,
      squares2 = squares0,
      squares3 = squares0;
    let at = column;
    const end = column + ((<usize>frames) << 4);
    while (at < end) {
      let square0 = none,
        square1 = none;
      // Eight frames, so that 32 bits hold their squares.
      const stop = at + 128 < end ? at + 128 : end;
      for (; at + 32 <= stop; at += 32) {
        const v = v128.load(at),
          w = v128.load(at, 16);
        least = i16x8.min_s(least, i16x8.min_s(v, w));
        most = i16x8.max_s(most, i16x8.max_s(v, w));
        const a = i16x8.sub(v, reference),
          b = i16x8.sub(w, reference);
        const pair0 = low(a, b),
          pair1 = high(a, b);
        square0 = i32x4.add(square0, i32x4.dot_i16x8_s(pair0, pair0));
        square1 = i32x4.add(square1, i32x4.dot_i16x8_s(pair1, pair1));
        sum0 = i32x4.add(sum0, i32x4.dot_i16x8_s(pair0, ones));
        sum1 = i32x4.add(sum1, i32x4.dot_i16x8_s(pair1, ones));
      }
      if (at < stop) {
        const v = v128.load(at);
        least = i16x8.min_s(least, v);
        most = i16x8.max_s(most, v);
        const a = i16x8.sub(v, reference);
        const pair0 = low(a, none),
          pair1 = high(a, none);
        square0 = i32x4.add(square0, i32x4.dot_i16x8_s(pair0, pair0));
        square1 = i32x4.add(square1, i32x4.dot_i16x8_s(pair1, pair1));
        sum0 = i32x4.add(sum0, i32x4.dot_i16x8_s(pair0, ones));
        sum1 = i32x4.add(sum1, i32x4.dot_i16x8_s(pair1, ones));
        at += 16;
      }
      squares0 = f64x2.add(squares0, unsignedPair(square0));
      squares1 = f64x2.add(squares1, unsignedPair(upperHalf(square0)));
      squares2 = f64x2.add(squares2, unsignedPair(square1));
      squares3 = f64x2.add(squares3, unsignedPair(upperHalf(square1)));
    }
    v128.store(lanes, squares0, 64);
    v128.store(lanes, squares1, 80);
    v128.store(lanes, squares2, 96);
    v128.store(lanes, squares3, 112);
    storeSums(sum0, sum1);
    v128.store(lanes, none, 128);
    v128.store(lanes, reference, 144);
    // Unsigned, since a difference of two 16-bit numbers needs 17 bits.
    const spread = i16x8.max_u(i16x8.sub(most, reference), i16x8.sub(reference, least));
    if (v128.any_true(i16x8.gt_u(spread, i16x8.splat(<i16>farMost)))) sumFar(column, reference);
    if (method !== 0) findMoments();
    if (method === median) findMiddles(column, least, most, -1);
    else if (method === clipped) {
      const leavesOut =
        sigmaOfMad > 0
          ? findFewLimits(column, least, most)
          : findMiddles(column, least, most, sigmas) && findLimits(least, most);
      if (leavesOut) {
        leaveOut(column, v128.load(lanes, 224), v128.load(lanes, 240));
      }
    }
    finishColumn(px);
    maskColumn(column, px, length - x < 8 ? length - x : 8, clippedMost, most);
    column += columnBytes;
  }
}

/** How many values of each lane are clipped. */
function countClipped(column: usize): v128 {
  const least = i16x8.splat(<i16>clipAt);
  let count = i16x8.splat(0);
  const end = column + ((<usize>frames) << 4);
  for (let at = column; at < end; at += 16) count = i16x8.sub(count, i16x8.ge_s(v128.load(at), least));
  return count;
}

/** Adds its bits to what the mask holds: 2 for clipped in more frames than `clippedMost`, 8 for mostly rejected. */
function maskColumn(column: usize, px: usize, length: i32, clippedMost: i32, most: v128): void {
  const out = v128.load(lanes, 128);
  const none = i16x8.splat(0);
  // Few columns hold a clipped value: only these are counted.
  const above = clipAt > 32767 ? none : i16x8.ge_s(most, i16x8.splat(<i16>clipAt));
  const anyAbove = v128.any_true(above);
  if (anyAbove || v128.any_true(out) || v128.any_true(v128.load64_zero(mask + px))) {
    v128.store(lanes, anyAbove ? countClipped(column) : none, 160);
    for (let lane = 0; lane < length; lane++) {
      const at = lanes + ((<usize>lane) << 1);
      let bits = <i32>load<u8>(mask + px + lane);
      const lost = <i32>load<u16>(at, 128);
      rejected += <f64>lost;
      if (2 * (frames - lost) < frames) bits |= 8;
      if (<i32>load<u16>(at, 160) > clippedMost) bits |= 2;
      if (bits !== 0) masked++;
      store<u8>(mask + px + lane, <u8>bits);
    }
  }
}
