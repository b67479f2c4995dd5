import { FitsError } from "../fits-error.ts";
import type { FoundHdu } from "../fits-read.ts";
import { readFully } from "../read-fully.ts";
import type { ScratchFile } from "../scratch-file.ts";
import { CompressedTable } from "./compressed-table.ts";
import { TileDecoder } from "./tile-values.ts";
import { headerBeforeTiling } from "./tiled-header.ts";

/** Whether an HDU is a table that holds a picture in compressed tiles. */
export function isTiled({ header }: FoundHdu): boolean {
  return header.value("ZIMAGE") === true;
}

/** The HDU as it was before it was compressed, but for where its data lie. @throws FitsError for impossible axes */
export function hduBeforeTiling(hdu: FoundHdu, what: string): FoundHdu {
  const header = headerBeforeTiling(hdu.header);
  const shape = Array.from({ length: header.number("NAXIS") ?? 0 }, (_, axis) =>
    header.number(`NAXIS${axis + 1}`),
  ).reverse() as number[];
  const dataBytes = shape.reduce(
    (product, length) => product * length,
    Math.abs(header.number("BITPIX") ?? 8) / 8,
  );
  if (!shape.every((length) => length > 0) || !Number.isSafeInteger(dataBytes))
    throw new FitsError(`${what}: its compressed picture has impossible axes`);
  return { header, extent: { isImage: true, shape, dataBytes }, dataStartBytes: 0 };
}

/**
 * Writes a compressed picture as its bytes were before, tile by tile.
 * @param handle of the file that holds `packed`
 * @throws FitsError if it is damaged
 */
export function unpackTiles(
  packed: FoundHdu,
  handle: number,
  into: ScratchFile,
  { plain, what }: { readonly plain: FoundHdu; readonly what: string },
): void {
  const { header } = packed;
  const readAt = (start: number, length: number) => {
    const bytes = new Uint8Array(length);
    const isInside = start >= 0 && start + length <= packed.extent.dataBytes;
    if (!isInside || readFully(handle, bytes, packed.dataStartBytes + start) < length)
      throw new FitsError(`${what}: its compressed picture points outside the file`);
    return bytes;
  };
  const table = new CompressedTable(header, readAt, what);
  const decoder = new TileDecoder(header, table);
  // Fastest axis first, as in the keywords.
  const axes = plain.extent.shape.toReversed();
  const tile = axes.map((length, axis) => {
    const stated = header.number(`ZTILE${axis + 1}`) ?? (axis === 0 ? length : 1);
    return Math.max(1, Math.min(length, stated));
  });
  const tilesAlong = axes.map((length, axis) => Math.ceil(length / tile[axis]!));
  const tileCount = tilesAlong.reduce((product, count) => product * count, 1);
  if (tileCount !== table.rowCount)
    throw new FitsError(
      `${what}: its compressed picture has ${table.rowCount} tiles instead of ${tileCount}`,
    );
  const bitpix = header.number("ZBITPIX")!;
  const width = Math.abs(bitpix) / 8;
  for (let index = 0; index < tileCount; index++) {
    let rest = index;
    const first = axes.map((_, axis) => {
      const along = rest % tilesAlong[axis]!;
      rest = Math.floor(rest / tilesAlong[axis]!);
      return along * tile[axis]!;
    });
    const size = axes.map((length, axis) => Math.min(tile[axis]!, length - first[axis]!));
    const count = size.reduce((product, length) => product * length, 1);
    const bytes = storedBytes(decoder.values(index, count), bitpix);
    for (const run of runsOfTile(axes, first, size))
      into.write(bytes.subarray(run.from * width, (run.from + run.length) * width), run.to * width);
  }
}

/** Runs of pixels that lie together in the tile and in the picture. */
function* runsOfTile(
  axes: readonly number[],
  first: readonly number[],
  size: readonly number[],
): Generator<{ from: number; to: number; length: number }> {
  let whole = 0; // axes that the tile fills, one after another
  while (whole < axes.length - 1 && size[whole] === axes[whole]) whole++;
  const length = size.slice(0, whole + 1).reduce((product, part) => product * part, 1);
  const outer = size.slice(whole + 1);
  const runCount = outer.reduce((product, part) => product * part, 1);
  for (let run = 0; run < runCount; run++) {
    let rest = run;
    const at = first.map((start, axis) => {
      if (axis <= whole) return start;
      const along = rest % size[axis]!;
      rest = Math.floor(rest / size[axis]!);
      return start + along;
    });
    const to = at.reduceRight((place, start, axis) => place * axes[axis]! + start, 0);
    yield { from: run * length, to, length };
  }
}

function storedBytes(values: Int32Array | Float64Array | BigInt64Array, bitpix: number): Uint8Array {
  const width = Math.abs(bitpix) / 8;
  const bytes = new Uint8Array(values.length * width);
  const view = new DataView(bytes.buffer);
  for (let i = 0; i < values.length; i++) {
    const value = Number(values[i]!);
    if (bitpix === 8) bytes[i] = value;
    else if (bitpix === 16) view.setInt16(2 * i, value);
    else if (bitpix === 32) view.setInt32(4 * i, value);
    else if (bitpix === 64) view.setBigInt64(8 * i, BigInt(values[i]!));
    else if (bitpix === -32) view.setFloat32(4 * i, value);
    else view.setFloat64(8 * i, value);
  }
  return bytes;
}
