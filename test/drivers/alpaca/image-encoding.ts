/** Image bytes as the API reference describes them, written here so that the reader is not judged by itself. */

const items: Record<number, { bytes: number; write: (view: DataView, at: number, value: number) => void }> = {
  1: { bytes: 2, write: (view, at, value) => view.setInt16(at, value, true) },
  2: { bytes: 4, write: (view, at, value) => view.setInt32(at, value, true) },
  3: { bytes: 8, write: (view, at, value) => view.setFloat64(at, value, true) },
  4: { bytes: 4, write: (view, at, value) => view.setFloat32(at, value, true) },
  5: { bytes: 8, write: (view, at, value) => view.setBigUint64(at, BigInt(value), true) },
  6: { bytes: 1, write: (view, at, value) => view.setUint8(at, value) },
  7: { bytes: 8, write: (view, at, value) => view.setBigInt64(at, BigInt(value), true) },
  8: { bytes: 2, write: (view, at, value) => view.setUint16(at, value, true) },
  9: { bytes: 4, write: (view, at, value) => view.setUint32(at, value, true) },
};

export interface ImageHeader {
  readonly version?: number;
  readonly errorNumber?: number;
  readonly client?: number;
  readonly server?: number;
  readonly dataStart?: number;
  readonly rank?: number;
  readonly planes?: number;
}

/** @param rows pixels as people write them: rows from the top, each from the left */
export function imageBytes(
  rows: readonly (readonly number[])[],
  type: number,
  header: ImageHeader = {},
): Uint8Array {
  const [height, width] = [rows.length, rows[0]!.length];
  const start = header.dataStart ?? 44;
  const { bytes: itemBytes, write } = items[type]!;
  const bytes = new Uint8Array(start + width * height * itemBytes);
  const view = new DataView(bytes.buffer);
  const words = [
    header.version ?? 1,
    header.errorNumber ?? 0,
    header.client ?? 0,
    header.server ?? 0,
    start,
    2,
    type,
    header.rank ?? 2,
    width,
    height,
    header.planes ?? 0,
  ];
  for (const [i, word] of words.entries()) view.setUint32(4 * i, word, true);
  let at = start;
  for (let x = 0; x < width; x++) {
    for (let y = 0; y < height; y++) {
      write(view, at, rows[y]![x]!);
      at += itemBytes;
    }
  }
  return bytes;
}

export function bytesOf(hex: string): Uint8Array {
  return Uint8Array.from(hex.replace(/\s/g, "").match(/../g)!, (pair) => Number.parseInt(pair, 16));
}
