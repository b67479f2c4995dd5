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

/** Eight pixels of a column as words of 16 bits; of wider ones what does not fit is cut off. */
function pixels<T>(at: usize): v128 {
  if (sizeof<T>() === 1) return v128.load8x8_u(at);
  if (sizeof<T>() === 2) return v128.load(at);
  return i16x8.narrow_i32x4_u(v128.load(at), v128.load(at, 16));
}

/** What does not fit shows in it. */
function allBits(at: usize): v128 {
  return v128.or(v128.load(at), v128.load(at, 16));
}

function turn<T>(columns: usize, rowCount: i32, to: usize, rowBytes: usize): i32 {
  let seen = i32x4.splat(0);
  const end = columns + <usize>rowCount * sizeof<T>();
  let at = columns;
  do {
    const a = pixels<T>(at),
      b = pixels<T>(at + pitch),
      c = pixels<T>(at + 2 * pitch),
      d = pixels<T>(at + 3 * pitch),
      e = pixels<T>(at + 4 * pitch),
      f = pixels<T>(at + 5 * pitch),
      g = pixels<T>(at + 6 * pitch),
      h = pixels<T>(at + 7 * pitch);
    if (sizeof<T>() === 2)
      seen = v128.or(
        seen,
        v128.or(v128.or(v128.or(a, b), v128.or(c, d)), v128.or(v128.or(e, f), v128.or(g, h))),
      );
    if (sizeof<T>() === 4)
      for (let column: usize = 0; column < 8 * pitch; column += pitch)
        seen = v128.or(seen, allBits(at + column));
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
