/**
 * Reals from the whole numbers that they were rounded to, with the dither of each pixel taken off.
 * Source: FITS Standard 4.0, section 10.2 and appendix I.
 */

/** Random numbers of appendix I: Park and Miller's generator from the seed 1. */
const dithers = makeDithers();

function makeDithers(): Float32Array {
  const numbers = new Float32Array(10_000);
  let seed = 1;
  for (let i = 0; i < numbers.length; i++) {
    seed = (16_807 * seed) % 2_147_483_647;
    numbers[i] = seed / 2_147_483_647;
  }
  return numbers;
}

export type Dither = "NO_DITHER" | "SUBTRACTIVE_DITHER_1" | "SUBTRACTIVE_DITHER_2";

/** Stands for exactly 0 in the second dither. */
const storedZero = -2_147_483_646;

/** @param seed ZDITHER0, 1 to 10000 @param tileIndex from 0 */
export function unquantise(
  stored: Int32Array,
  scaling: { readonly scale: number; readonly zero: number; readonly blank: number | undefined },
  { dither, seed, tileIndex }: { readonly dither: Dither; readonly seed: number; readonly tileIndex: number },
): Float64Array {
  const { scale, zero, blank } = scaling;
  const values = new Float64Array(stored.length);
  let row = (tileIndex + seed - 1) % dithers.length;
  let next = Math.floor(dithers[row]! * 500);
  for (let i = 0; i < stored.length; i++) {
    const number = stored[i]!;
    const offset = dither === "NO_DITHER" ? 0 : 0.5 - dithers[next]!;
    if (number === blank) values[i] = Number.NaN;
    else if (dither === "SUBTRACTIVE_DITHER_2" && number === storedZero) values[i] = 0;
    else values[i] = (number + offset) * scale + zero;
    if (++next < dithers.length) continue;
    row = (row + 1) % dithers.length;
    next = Math.floor(dithers[row]! * 500);
  }
  return values;
}
