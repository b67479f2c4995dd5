// Columns of pixels turned into rows, eight by eight: see drivers/alpaca/wire/image-rows.ts.

/** From a column to the next one [bytes]. */
const pitch: usize = 2048;

function low16(a: v128, b: v128): v128 {
  return v128.shuffle<i16>(a, b, 0, 8, 1, 9, 2, 10, 3, 11);
}

function high16(a: v128, b: v128): v128 {
  return v128.shuffle<i16>(a, b, 4, 12, 5, 13, 6, 14, 7, 15);
}

function low32(a: v128, b: v128): v128 {
  return v128.shuffle<i32>(a, b, 0, 4, 1, 5);
}

function high32(a: v128, b: v128): v128 {
  return v128.shuffle<i32>(a, b, 2, 6, 3, 7);
}

function low64(a: v128, b: v128): v128 {
  return v128.shuffle<i64>(a, b, 0, 2);
}

function high64(a: v128, b: v128): v128 {
  return v128.shuffle<i64>(a, b, 1, 3);
}

function turn<T>(columns: usize, rowCount: i32, to: usize, rowBytes: usize): i32 {
  let seen = i32x4.splat(0);
  let a = seen,
    b = seen,
    c = seen,
    d = seen,
    e = seen,
    f = seen,
    g = seen,
    h = seen,
    more = seen;
  const end = columns + <usize>rowCount * sizeof<T>();
  let at = columns;
  do {
    // Eight pixels of each column as words of 16 bits; of wider ones what does not fit shows in `seen`.
    if (sizeof<T>() === 1) {
      a = v128.load8x8_u(at);
      b = v128.load8x8_u(at, pitch);
      c = v128.load8x8_u(at, 2 * pitch);
      d = v128.load8x8_u(at, 3 * pitch);
      e = v128.load8x8_u(at, 4 * pitch);
      f = v128.load8x8_u(at, 5 * pitch);
      g = v128.load8x8_u(at, 6 * pitch);
      h = v128.load8x8_u(at, 7 * pitch);
    } else if (sizeof<T>() === 2) {
      a = v128.load(at);
      b = v128.load(at, pitch);
      c = v128.load(at, 2 * pitch);
      d = v128.load(at, 3 * pitch);
      e = v128.load(at, 4 * pitch);
      f = v128.load(at, 5 * pitch);
      g = v128.load(at, 6 * pitch);
      h = v128.load(at, 7 * pitch);
      seen = v128.or(
        seen,
        v128.or(v128.or(v128.or(a, b), v128.or(c, d)), v128.or(v128.or(e, f), v128.or(g, h))),
      );
    } else {
      a = v128.load(at);
      more = v128.load(at, 16);
      seen = v128.or(seen, v128.or(a, more));
      a = i16x8.narrow_i32x4_u(a, more);
      b = v128.load(at, pitch);
      more = v128.load(at, pitch + 16);
      seen = v128.or(seen, v128.or(b, more));
      b = i16x8.narrow_i32x4_u(b, more);
      c = v128.load(at, 2 * pitch);
      more = v128.load(at, 2 * pitch + 16);
      seen = v128.or(seen, v128.or(c, more));
      c = i16x8.narrow_i32x4_u(c, more);
      d = v128.load(at, 3 * pitch);
      more = v128.load(at, 3 * pitch + 16);
      seen = v128.or(seen, v128.or(d, more));
      d = i16x8.narrow_i32x4_u(d, more);
      e = v128.load(at, 4 * pitch);
      more = v128.load(at, 4 * pitch + 16);
      seen = v128.or(seen, v128.or(e, more));
      e = i16x8.narrow_i32x4_u(e, more);
      f = v128.load(at, 5 * pitch);
      more = v128.load(at, 5 * pitch + 16);
      seen = v128.or(seen, v128.or(f, more));
      f = i16x8.narrow_i32x4_u(f, more);
      g = v128.load(at, 6 * pitch);
      more = v128.load(at, 6 * pitch + 16);
      seen = v128.or(seen, v128.or(g, more));
      g = i16x8.narrow_i32x4_u(g, more);
      h = v128.load(at, 7 * pitch);
      more = v128.load(at, 7 * pitch + 16);
      seen = v128.or(seen, v128.or(h, more));
      h = i16x8.narrow_i32x4_u(h, more);
    }
    // Pairs of pixels, then fours, then whole rows.
    const ab = low16(a, b),
      cd = low16(c, d),
      ef = low16(e, f),
      gh = low16(g, h);
    const abLower = high16(a, b),
      cdLower = high16(c, d),
      efLower = high16(e, f),
      ghLower = high16(g, h);
    const top = low32(ab, cd),
      topRight = low32(ef, gh),
      upper = high32(ab, cd),
      upperRight = high32(ef, gh),
      lower = low32(abLower, cdLower),
      lowerRight = low32(efLower, ghLower),
      bottom = high32(abLower, cdLower),
      bottomRight = high32(efLower, ghLower);
    v128.store(to, low64(top, topRight));
    to += rowBytes;
    v128.store(to, high64(top, topRight));
    to += rowBytes;
    v128.store(to, low64(upper, upperRight));
    to += rowBytes;
    v128.store(to, high64(upper, upperRight));
    to += rowBytes;
    v128.store(to, low64(lower, lowerRight));
    to += rowBytes;
    v128.store(to, high64(lower, lowerRight));
    to += rowBytes;
    v128.store(to, low64(bottom, bottomRight));
    to += rowBytes;
    v128.store(to, high64(bottom, bottomRight));
    to += rowBytes;
    at += 8 * sizeof<T>();
  } while (at < end);
  return (
    i32x4.extract_lane(seen, 0) |
    i32x4.extract_lane(seen, 1) |
    i32x4.extract_lane(seen, 2) |
    i32x4.extract_lane(seen, 3)
  );
}

/**
 * Turns eight columns of bytes into rows of 16 bits.
 * @param columns where they lie, 2048 bytes apart
 * @param rowCount a multiple of eight, and not 0
 * @param to where the rows go, `rowBytes` apart
 * @returns 0
 */
export function turnBytes(columns: usize, rowCount: i32, to: usize, rowBytes: usize): i32 {
  return turn<u8>(columns, rowCount, to, rowBytes);
}

/** The same of pixels of 16 bits. @returns all pixels or-ed together, in lanes of 16 bits that come in pairs */
export function turnHalves(columns: usize, rowCount: i32, to: usize, rowBytes: usize): i32 {
  return turn<u16>(columns, rowCount, to, rowBytes);
}

/** The same of pixels of 32 bits. @returns all pixels or-ed together */
export function turnWords(columns: usize, rowCount: i32, to: usize, rowBytes: usize): i32 {
  return turn<i32>(columns, rowCount, to, rowBytes);
}
