import { toBigEndian, toNative } from "./byte-order.ts";
import { FitsError } from "./fits-error.ts";
import type { FitsHeader } from "./fits-header.ts";

const pixelArrays = {
  uint8: Uint8Array,
  int16: Int16Array,
  uint16: Uint16Array,
  int32: Int32Array,
  uint32: Uint32Array,
  float32: Float32Array,
  float64: Float64Array,
} as const;

export type PixelType = keyof typeof pixelArrays;

/** Pixels in the array type that holds them exactly. */
export type FitsPixels =
  | Uint8Array
  | Int16Array
  | Uint16Array
  | Int32Array
  | Uint32Array
  | Float32Array
  | Float64Array;

export function pixelTypeOf(pixels: FitsPixels): PixelType {
  const types = Object.keys(pixelArrays) as PixelType[];
  return types.find((type) => pixels instanceof pixelArrays[type])!;
}

/** How an image's bytes become numbers. */
export interface PixelLayout {
  /** The array that the reader hands out. */
  readonly type: PixelType;
  readonly bitpix: 8 | 16 | 32 | 64 | -32 | -64;
  readonly bytesPerPixel: 1 | 2 | 4 | 8;
  /** value = zero + scale × stored; `undefined` when the stored number is the value. */
  readonly linear: { readonly scale: number; readonly zero: number } | undefined;
  /** Stored number of a pixel without a value; it becomes NaN. */
  readonly blank: number | undefined;
  /** Of counts that lie in the file without FITS's offset, as in SER: their byte order. */
  readonly plainOrder?: "little" | "big";
}

/** Of counts that are stored as they are. */
export function plainCountsLayout(bytesPerPixel: 1 | 2, order: "little" | "big"): PixelLayout {
  const none = { linear: undefined, blank: undefined };
  return bytesPerPixel === 1
    ? { ...none, type: "uint8", bitpix: 8, bytesPerPixel }
    : { ...none, type: "uint16", bitpix: 16, bytesPerPixel, plainOrder: order };
}

/** Bytes of 16-bit counts, in place, as FITS has them: big-endian, with the offset of unsigned ones. */
export function asFitsCounts(bytes: Uint8Array, { plainOrder }: PixelLayout): void {
  if (plainOrder === undefined) return;
  if (plainOrder === "big") toNative(bytes, bytes, 2, "keep");
  toBigEndian(bytes, bytes, 2, "flip");
}

/**
 * Integers with the standard's offset for unsigned ones stay integers. Other scales, and integers with BLANK,
 * become float32 (8 and 16 bits) or float64 (32 and 64 bits).
 */
export function pixelLayout(header: FitsHeader, what: string): PixelLayout {
  const bitpix = header.number("BITPIX");
  if (bitpix !== 8 && bitpix !== 16 && bitpix !== 32 && bitpix !== 64 && bitpix !== -32 && bitpix !== -64) {
    throw new FitsError(`${what}: BITPIX is ${bitpix}; it must be 8, 16, 32, 64, -32 or -64`);
  }
  const scale = header.number("BSCALE") ?? 1;
  const zero = header.number("BZERO") ?? 0;
  const blank = bitpix > 0 ? header.number("BLANK") : undefined;
  const bytesPerPixel = (Math.abs(bitpix) / 8) as 1 | 2 | 4 | 8;
  const common: Pick<PixelLayout, "bitpix" | "bytesPerPixel" | "blank"> = { bitpix, bytesPerPixel, blank };
  if (scale === 1 && blank === undefined) {
    if (bitpix === 16 && zero === 32768) return { ...common, type: "uint16", linear: undefined };
    if (bitpix === 32 && zero === 2147483648) return { ...common, type: "uint32", linear: undefined };
    const plain = ({ 8: "uint8", 16: "int16", 32: "int32", [-32]: "float32", [-64]: "float64" } as const)[
      bitpix as 8 | 16 | 32 | -32 | -64
    ];
    if (zero === 0 && plain !== undefined) return { ...common, type: plain, linear: undefined };
  }
  const type = bitpix === 8 || bitpix === 16 || bitpix === -32 ? "float32" : "float64";
  return { ...common, type, linear: { scale, zero } };
}

/** Decodes whole pixels. @param bytes big-endian, at any alignment; its length decides how many */
export function decodePixels(bytes: Uint8Array, layout: PixelLayout): FitsPixels {
  if (layout.linear !== undefined) return decodeScaled(bytes, layout, layout.linear);
  return decodeInto(bytes, new ArrayBuffer(bytes.length), layout);
}

/** The same without a copy. @param bytes at the start of a buffer of their own; the layout has no `linear` */
export function decodePixelsInPlace(bytes: Uint8Array<ArrayBuffer>, layout: PixelLayout): FitsPixels {
  return decodeInto(bytes, bytes.buffer, layout);
}

/** The same where the bytes lie, which they overwrite; with a copy only if they lie askew or need scaling. */
export function decodePixelsInto(bytes: Uint8Array, layout: PixelLayout): FitsPixels {
  const { buffer, byteOffset } = bytes;
  const inPlace = layout.linear === undefined && byteOffset % layout.bytesPerPixel === 0;
  if (!inPlace || !(buffer instanceof ArrayBuffer)) return decodePixels(bytes, layout);
  return decodeInto(bytes, buffer, layout, byteOffset);
}

function decodeInto(bytes: Uint8Array, buffer: ArrayBuffer, layout: PixelLayout, offset = 0): FitsPixels {
  const into = new Uint8Array(buffer, offset, bytes.length);
  const hasOffset = layout.plainOrder === undefined && (layout.type === "uint16" || layout.type === "uint32");
  if (layout.plainOrder === "little") {
    if (bytes.buffer !== buffer) into.set(bytes);
  } else toNative(bytes, into, layout.bytesPerPixel, hasOffset ? "flip" : "keep");
  return new pixelArrays[layout.type](buffer, offset, bytes.length / layout.bytesPerPixel);
}

/** The rare way: through a DataView, one pixel at a time. */
function decodeScaled(
  bytes: Uint8Array,
  layout: PixelLayout,
  { scale, zero }: { scale: number; zero: number },
): FitsPixels {
  const view = new DataView(bytes.buffer, bytes.byteOffset, bytes.length);
  const read = {
    8: (at: number) => view.getUint8(at),
    16: (at: number) => view.getInt16(at),
    32: (at: number) => view.getInt32(at),
    64: (at: number) => Number(view.getBigInt64(at)),
    [-32]: (at: number) => view.getFloat32(at),
    [-64]: (at: number) => view.getFloat64(at),
  }[layout.bitpix];
  const values = new Float64Array(bytes.length / layout.bytesPerPixel);
  for (let i = 0; i < values.length; i++) {
    const stored = read(i * layout.bytesPerPixel);
    values[i] = stored === layout.blank ? Number.NaN : zero + scale * stored;
  }
  return layout.type === "float64" ? values : new Float32Array(values);
}
