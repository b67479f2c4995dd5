// Columns of pixels turned into rows, eight by eight: see drivers/alpaca/wire/image-rows.ts.

/** Eight pixels of a column as 16-bit words; of wider ones their lowest bits, unless they do not fit, which shows in `see`. */
function eightAt<T>(at: usize): v128 {
  if (sizeof<T>() === 1) return v128.load8x8_u(at);
  if (sizeof<T>() === 2) return v128.load(at);
  return i16x8.narrow_i32x4_u(v128.load(at), v128.load(at, 16));
}

/** The bits of eight pixels as they are, which of bytes nobody asks for. */
function see<T>(at: usize): v128 {
  if (sizeof<T>() === 1) return i32x4.splat(0);
  if (sizeof<T>() === 2) return v128.load(at);
  return v128.or(v128.load(at), v128.load(at, 16));
}

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

function turn<T>(columns: usize, pitch: usize, rowCount: i32, to: usize, rowBytes: usize): i32 {
  let seen = i32x4.splat(0);
  const end = columns + <usize>rowCount * sizeof<T>();
  for (let at = columns; at < end; at += 8 * sizeof<T>()) {
    const at1 = at + pitch,
      at2 = at1 + pitch,
      at3 = at2 + pitch,
      at4 = at3 + pitch,
      at5 = at4 + pitch,
      at6 = at5 + pitch,
      at7 = at6 + pitch;
    const a = eightAt<T>(at),
      b = eightAt<T>(at1),
      c = eightAt<T>(at2),
      d = eightAt<T>(at3),
      e = eightAt<T>(at4),
      f = eightAt<T>(at5),
      g = eightAt<T>(at6),
      h = eightAt<T>(at7);
    if (sizeof<T>() > 1) {
      seen = v128.or(seen, v128.or(see<T>(at), see<T>(at1)));
      seen = v128.or(seen, v128.or(see<T>(at2), see<T>(at3)));
      seen = v128.or(seen, v128.or(see<T>(at4), see<T>(at5)));
      seen = v128.or(seen, v128.or(see<T>(at6), see<T>(at7)));
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
  }
  return (
    i32x4.extract_lane(seen, 0) |
    i32x4.extract_lane(seen, 1) |
    i32x4.extract_lane(seen, 2) |
    i32x4.extract_lane(seen, 3)
  );
}

/**
 * Turns eight columns of bytes into rows of 16 bits.
 * @param columns where they lie, `pitch` apart
 * @param rowCount a multiple of eight
 * @param to where the rows go, `rowBytes` apart
 * @returns 0
 */
export function turnBytes(columns: usize, pitch: usize, rowCount: i32, to: usize, rowBytes: usize): i32 {
  return turn<u8>(columns, pitch, rowCount, to, rowBytes);
}

/** The same of pixels of 16 bits. @returns all pixels or-ed together, in lanes of 16 bits that come in pairs */
export function turnHalves(columns: usize, pitch: usize, rowCount: i32, to: usize, rowBytes: usize): i32 {
  return turn<u16>(columns, pitch, rowCount, to, rowBytes);
}

/** The same of pixels of 32 bits. @returns all pixels or-ed together */
export function turnWords(columns: usize, pitch: usize, rowCount: i32, to: usize, rowBytes: usize): i32 {
  return turn<i32>(columns, pitch, rowCount, to, rowBytes);
}
