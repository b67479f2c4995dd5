import { bytesOf, f32, layout, startKernel, u8, u16 } from "../../../drivers/kit/kernels/host.ts";
import { headRoomBytes, type StoredDivision, storedDivision, tailRoomBytes } from "./stored-division.ts";

/** What images are calibrated with: (image - dark) · factor + pedestal, every step in float32. */
export interface DivisionParts {
  readonly factor: Float32Array;
  readonly darkAdu: Float32Array | undefined;
}

/** One flat and dark, ready for many images: both stay where the loops can reach them. */
export interface FlatDivision extends DivisionParts {
  divide(imageAdu: Uint16Array, pedestalAdu: number, result: Float32Array): void;
  /** To the nearest count, halves up, held within 0 … 65535. @returns how many had to be */
  divideToCounts(imageAdu: Uint16Array, pedestalAdu: number, result: Uint16Array): number;
  /** For images as FITS stores them. */
  readonly stored: StoredDivision;
}

/** @param factor as many zeros as an image has pixels are made, to be filled in before the first image */
export type MakeDivision<Division = FlatDivision> = (pxCount: number, withDark: boolean) => Division;

/** One pixel of it. */
export function dividedPixel(
  imageAdu: number,
  px: number,
  { factor, darkAdu }: DivisionParts,
  pedestalAdu: number,
): number {
  const light = Math.fround(imageAdu - (darkAdu?.[px] ?? 0));
  return Math.fround(Math.fround(light * factor[px]!) + Math.fround(pedestalAdu));
}

/** The count that a value becomes. */
export function roundedCount(valueAdu: number): { count: number; clamped: boolean } {
  const nearest = Math.floor(Math.fround(valueAdu + 0.5));
  return { count: Math.max(0, Math.min(65_535, nearest)), clamped: nearest < 0 || nearest > 65_535 };
}

/** Pixels of an image that pass through the kernels' memory at once. Copies of 2 kB and more take another, slower way. */
const piecePx = 512;

/** By SIMD in WebAssembly. */
export const makeFlatDivision: MakeDivision = (pxCount, withDark) => {
  const { memory, at, views, bytes } = layout({
    image: u16(piecePx),
    result: f32(piecePx),
    factor: f32(pxCount),
    dark: f32(withDark ? pxCount : 0),
    // Room for a whole image as FITS stores it, which costs nothing until it is used.
    raw: u8(2 * pxCount),
    stored: u8(headRoomBytes + 4 * pxCount + tailRoomBytes),
  });
  const kernel = startKernel("flat-division", memory);
  const storedResultAt = at.stored + headRoomBytes;
  kernel.place({
    imageAt: at.image,
    factorAt: at.factor,
    darkAt: withDark ? at.dark : 0,
    resultAt: at.result,
    storedAt: at.raw,
    storedResultAt,
  });
  const pieces = (
    imageAdu: Uint16Array,
    pedestal: number,
    divide: typeof kernel.divideToCounts | typeof kernel.divide,
    result: Float32Array | Uint16Array,
  ) => {
    const [from, into, pixelBytes] = [bytesOf(imageAdu), bytesOf(result), result.BYTES_PER_ELEMENT];
    let clamped = 0;
    for (let start = 0; start < imageAdu.length; start += piecePx) {
      const length = Math.min(piecePx, imageAdu.length - start);
      const padded = Math.ceil(length / 8) * 8;
      from.copy(bytes, at.image, 2 * start, 2 * (start + length));
      const answer = divide(start, pedestal, padded);
      bytes.copy(into, pixelBytes * start, at.result, at.result + pixelBytes * length);
      // Factors behind the end are zeros.
      clamped += (answer ?? 0) - (padded === length ? 0 : clampedPadding(pedestal) * (padded - length));
    }
    return clamped;
  };
  return {
    factor: views.factor,
    darkAdu: withDark ? views.dark : undefined,
    stored: storedDivision(kernel, views.raw, storedResultAt),
    divide(imageAdu, pedestalAdu, result) {
      pieces(imageAdu, pedestalAdu, kernel.divide, result);
    },
    divideToCounts: (imageAdu, pedestalAdu, result) =>
      pieces(imageAdu, pedestalAdu, kernel.divideToCounts, result),
  };
};

/** Zeros behind the end become the pedestal: counted if that is beyond 16 bits. */
function clampedPadding(pedestalAdu: number): 0 | 1 {
  return roundedCount(Math.fround(pedestalAdu)).clamped ? 1 : 0;
}
