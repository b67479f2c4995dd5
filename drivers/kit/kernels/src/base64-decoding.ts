// Base64 to bytes, sixteen characters at a time: see drivers/indi/wire/blob-text.ts.
// A character is bad if the entries of its halves, in a table of each, share a bit.
// Source of the method: W. Muła, D. Lemire, ACM Transactions on the Web 12 (2018) 20 (from memory).

/** Indices are below 16, or above 127 for zero: there all processors agree. */
function lookUp(table: v128, indices: v128): v128 {
  return i8x16.relaxed_swizzle(table, indices);
}

function lowHalf(text: v128): v128 {
  return v128.and(text, i8x16.splat(0x0f));
}

function highHalf(text: v128): v128 {
  return v128.and(i16x8.shr_u(text, 4), i8x16.splat(0x0f));
}

/** Bits where a character is not one of the 64. */
function badBits(text: v128): v128 {
  const byLow = i8x16(21, 17, 17, 17, 17, 17, 17, 17, 17, 17, 19, 26, 27, 27, 27, 26);
  const byHigh = i8x16(16, 16, 1, 2, 4, 8, 4, 8, 16, 16, 16, 16, 16, 16, 16, 16);
  return v128.and(lookUp(byLow, lowHalf(text)), lookUp(byHigh, highHalf(text)));
}

/** What each character stands for, 0 to 63. The slash comes one earlier than the plus. */
function valuesOf(text: v128): v128 {
  const shifts = i8x16(0, 16, 19, 4, -65, -65, -71, -71, 0, 0, 0, 0, 0, 0, 0, 0);
  const isSlash = i8x16.eq(text, i8x16.splat(0x2f));
  return i8x16.add(text, lookUp(shifts, i8x16.add(isSlash, highHalf(text))));
}

/** Three bytes of each four values, then four of nothing. */
function bytesOf(values: v128): v128 {
  const pairs = i16x8.relaxed_dot_i8x16_i7x16_s(values, i16x8.splat(0x0140));
  const fours = i32x4.dot_i16x8_s(pairs, i32x4.splat(0x00011000));
  return lookUp(fours, i8x16(2, 1, 0, 6, 5, 4, 10, 9, 8, 14, 13, 12, -1, -1, -1, -1));
}

/**
 * Decodes whole turns of 64 characters in place and stops before one with anything but the 64 characters of base64.
 * @returns how many characters are decoded
 */
export function decode(text: usize, length: i32): i32 {
  let from = text,
    to = text;
  const end = text + <usize>length;
  for (; from + 64 <= end; from += 64) {
    const a = v128.load(from),
      b = v128.load(from, 16),
      c = v128.load(from, 32),
      d = v128.load(from, 48);
    const bad = v128.or(v128.or(badBits(a), badBits(b)), v128.or(badBits(c), badBits(d)));
    if (v128.any_true(bad)) break;
    // Each writes four bytes too many, which the next one covers.
    v128.store(to, bytesOf(valuesOf(a)));
    v128.store(to, bytesOf(valuesOf(b)), 12);
    v128.store(to, bytesOf(valuesOf(c)), 24);
    v128.store(to, bytesOf(valuesOf(d)), 36);
    to += 48;
  }
  return <i32>(from - text);
}
