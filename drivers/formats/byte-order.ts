import { type Kernel, layout, startKernel, u8 } from "../kit/kernels/host.ts";

/**
 * Byte swapping for every FITS pixel type, by SIMD in WebAssembly: a compiled loop of the runtime takes twice as
 * long, and many times as long once it has met a second array type. Pixels pass through the module's memory in
 * pieces that stay in the processor's cache. The host is little-endian (all of Bun's platforms are).
 */

/** How the sign bit of an unsigned integer is stored; FITS integers of 16 and 32 bits are signed. */
export type SignFlip = "keep" | "flip";

export type PixelBytes = 1 | 2 | 4 | 8;

/**
 * Copies big-endian pixels to native order.
 * @param from exactly the pixels' bytes, at any alignment
 * @param into as long; may be the same bytes
 */
export function toNative(
  from: Uint8Array,
  into: Uint8Array,
  bytesPerPixel: PixelBytes,
  sign: SignFlip,
): void {
  // After the swap the sign bit is the top bit of each half or word.
  convert(from, into, bytesPerPixel, sign === "keep" ? 0 : bytesPerPixel === 2 ? 0x80008000 : 0x80000000);
}

/** The same from native to big-endian. */
export function toBigEndian(
  from: Uint8Array,
  into: Uint8Array,
  bytesPerPixel: PixelBytes,
  sign: SignFlip,
): void {
  // After the swap the sign bit is the top bit of each first byte.
  convert(from, into, bytesPerPixel, sign === "keep" ? 0 : bytesPerPixel === 2 ? 0x00800080 : 0x00000080);
}

function convert(from: Uint8Array, into: Uint8Array, bytesPerPixel: PixelBytes, flip: number): void {
  if (into.length < from.length) throw new RangeError("Pixels need a target of the same length");
  if (bytesPerPixel === 1) {
    into.set(from);
    return;
  }
  const { kernel, piece, pieceAt } = byteKernel();
  const swap = bytesPerPixel === 2 ? kernel.swap2 : bytesPerPixel === 4 ? kernel.swap4 : kernel.swap8;
  for (let start = 0; start < from.length; start += piece.length) {
    const length = Math.min(piece.length, from.length - start);
    piece.set(length === from.length ? from : from.subarray(start, start + length));
    swap(pieceAt, length, flip);
    into.set(piece.subarray(0, length), start);
  }
}

interface ByteKernel {
  readonly kernel: Kernel<"byte-order">;
  /** Bytes to be worked on; so many stay in the innermost cache. */
  readonly piece: Uint8Array;
  readonly pieceAt: number;
}

let made: ByteKernel | undefined;

/** Made at first use: most commands never need it. */
export function byteKernel(): ByteKernel {
  made ??= startByteKernel();
  return made;
}

function startByteKernel(): ByteKernel {
  const { memory, at, views } = layout({ piece: u8(16_384) });
  return { kernel: startKernel("byte-order", memory), piece: views.piece, pieceAt: at.piece };
}
