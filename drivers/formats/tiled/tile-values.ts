import { gunzipSync } from "node:zlib";
import { FitsError } from "../fits-error.ts";
import type { FitsHeader } from "../fits-header.ts";
import type { CompressedTable } from "./compressed-table.ts";
import { type Dither, unquantise } from "./dither.ts";
import { hcompressValues } from "./hcompress.ts";
import { plioValues } from "./plio.ts";
import { riceValues } from "./rice.ts";

/** Decodes the tiles of one compressed picture to its stored numbers. Source: FITS Standard 4.0, section 10. */
export class TileDecoder {
  readonly #method: string;
  readonly #bitpix: number;
  readonly #rice: { readonly bytesPerValue: 1 | 2 | 4; readonly blockPx: number };
  readonly #dither: Dither;
  readonly #seed: number;
  readonly #blank: number | undefined;

  constructor(
    private readonly header: FitsHeader,
    private readonly table: CompressedTable,
  ) {
    this.#method = (header.text("ZCMPTYPE") ?? "").trim();
    if (!methods.has(this.#method)) throw this.#unknown("way of compression", this.#method);
    this.#bitpix = header.number("ZBITPIX") ?? 0;
    const bytesPerValue = this.#parameter("BYTEPIX") ?? 4;
    if (bytesPerValue !== 1 && bytesPerValue !== 2 && bytesPerValue !== 4)
      throw this.#unknown("BYTEPIX", String(bytesPerValue));
    this.#rice = { bytesPerValue, blockPx: this.#parameter("BLOCKSIZE") ?? 32 };
    const dither = (header.text("ZQUANTIZ") ?? "NO_DITHER").trim();
    if (dither !== "NO_DITHER" && dither !== "SUBTRACTIVE_DITHER_1" && dither !== "SUBTRACTIVE_DITHER_2") {
      // NONE stands for reals that were never rounded.
      if (dither !== "NONE") throw this.#unknown("rounding", dither);
      this.#dither = "NO_DITHER";
    } else this.#dither = dither;
    this.#seed = header.number("ZDITHER0") ?? 1;
    this.#blank = header.number("ZBLANK");
  }

  /** @throws FitsError if the tile is damaged */
  values(tileIndex: number, count: number): Int32Array | Float64Array | BigInt64Array {
    try {
      return this.#values(tileIndex, count);
    } catch (error) {
      if (error instanceof FitsError) throw error;
      const why = error instanceof Error ? error.message : String(error);
      throw new FitsError(
        `${this.table.what}: tile ${tileIndex} of its compressed picture is damaged (${why})`,
        {
          cause: error,
        },
      );
    }
  }

  #values(tileIndex: number, count: number): Int32Array | Float64Array | BigInt64Array {
    const { table } = this;
    const row = table.row(tileIndex);
    const packed = table.heap(row, "COMPRESSED_DATA");
    if (packed === undefined) {
      const gzipped = table.heap(row, "GZIP_COMPRESSED_DATA");
      const plain = gzipped ? gunzipSync(gzipped) : table.heap(row, "UNCOMPRESSED_DATA");
      if (plain === undefined) throw new RangeError("it holds nothing");
      return storedNumbers(plain, this.#bitpix, count);
    }
    const scale = table.number(row, "ZSCALE") ?? this.header.number("ZSCALE");
    const isRounded = this.#bitpix < 0 && scale !== undefined;
    const stored = this.#unpack(packed, count, isRounded ? 32 : this.#bitpix);
    if (!isRounded) return stored;
    const zero = table.number(row, "ZZERO") ?? this.header.number("ZZERO") ?? 0;
    const blank = table.number(row, "ZBLANK") ?? this.#blank;
    const numbers = stored instanceof Int32Array ? stored : new Int32Array(stored as Float64Array);
    return unquantise(numbers, { scale, zero, blank }, { dither: this.#dither, seed: this.#seed, tileIndex });
  }

  #unpack(packed: Uint8Array, count: number, bitpix: number): Int32Array | Float64Array | BigInt64Array {
    switch (this.#method) {
      case "RICE_1":
      case "RICE_ONE":
        return riceValues(packed, count, this.#rice);
      case "PLIO_1":
        return this.#fromLineList(packed, count);
      case "HCOMPRESS_1":
        return hcompressValues(packed, count);
      case "NOCOMPRESS":
        return storedNumbers(packed, bitpix, count);
      case "GZIP_2":
        return storedNumbers(unshuffled(gunzipSync(packed), Math.abs(bitpix) / 8), bitpix, count);
      default:
        return storedNumbers(gunzipSync(packed), bitpix, count);
    }
  }

  /** A list holds nothing below 0: of numbers meant unsigned it has what they mean. */
  #fromLineList(packed: Uint8Array, count: number): Int32Array {
    const view = new DataView(packed.buffer, packed.byteOffset, packed.length);
    const words = Int16Array.from({ length: packed.length >> 1 }, (_, k) => view.getInt16(2 * k));
    const values = plioValues(words, count);
    const meansUnsigned = this.#bitpix === 16 && this.header.number("BZERO") === 32_768;
    return meansUnsigned ? values.map((value) => value - 32_768) : values;
  }

  /** The value of the parameter of that name. */
  #parameter(name: string): number | undefined {
    for (let k = 1; this.header.has(`ZNAME${k}`); k++)
      if (this.header.text(`ZNAME${k}`)?.trim() === name) return this.header.number(`ZVAL${k}`);
    return undefined;
  }

  #unknown(what: string, value: string): FitsError {
    return new FitsError(`${this.table.what}: its picture is compressed with the unknown ${what} "${value}"`);
  }
}

const methods = new Set(["RICE_1", "RICE_ONE", "GZIP_1", "GZIP_2", "PLIO_1", "HCOMPRESS_1", "NOCOMPRESS"]);

/** Bytes that lay sorted by their place in the number, put back beside each other. */
function unshuffled(bytes: Uint8Array, width: number): Uint8Array {
  const count = bytes.length / width;
  const result = new Uint8Array(bytes.length);
  for (let place = 0; place < width; place++)
    for (let i = 0; i < count; i++) result[i * width + place] = bytes[place * count + i]!;
  return result;
}

function storedNumbers(
  bytes: Uint8Array,
  bitpix: number,
  count: number,
): Int32Array | Float64Array | BigInt64Array {
  const width = Math.abs(bitpix) / 8;
  if (bytes.length !== count * width)
    throw new RangeError(`${bytes.length} bytes instead of ${count * width}`);
  const view = new DataView(bytes.buffer, bytes.byteOffset, bytes.length);
  if (bitpix === 64) return BigInt64Array.from({ length: count }, (_, i) => view.getBigInt64(8 * i));
  if (bitpix === -64) return Float64Array.from({ length: count }, (_, i) => view.getFloat64(8 * i));
  if (bitpix === -32) return Float64Array.from({ length: count }, (_, i) => view.getFloat32(4 * i));
  const values = new Int32Array(count);
  for (let i = 0; i < count; i++)
    values[i] = bitpix === 8 ? bytes[i]! : bitpix === 16 ? view.getInt16(2 * i) : view.getInt32(4 * i);
  return values;
}
