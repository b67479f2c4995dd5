import { constants, crc32, deflateSync } from "node:zlib";

/** Interleaved bytes, row-major, top row first: one a pixel is grey, three are red, green, blue. */
export interface Picture {
  readonly widthPx: number;
  readonly heightPx: number;
  readonly bytes: Uint8Array;
}

/**
 * A PNG of 8 bits. Differences to the left neighbour, entropy-coded only: on noisy frames as small as a search
 * for repeats would make it, and several times faster.
 * @throws RangeError if the bytes are neither grey nor RGB of that size
 * Source: PNG specification (W3C, third edition), sections 9.2 and 11.
 */
export function encodePng(picture: Picture): Uint8Array {
  const { widthPx, heightPx, bytes } = picture;
  const pxCount = widthPx * heightPx;
  const channels = bytes.length === pxCount ? 1 : 3;
  if (pxCount === 0 || bytes.length !== pxCount * channels) {
    throw new RangeError(`${bytes.length} bytes are no picture of ${widthPx} x ${heightPx}`);
  }
  const filtered = filterSub(bytes, { rowBytes: widthPx * channels, rowCount: heightPx, channels });
  const packed = deflateSync(filtered, { level: 1, strategy: constants.Z_HUFFMAN_ONLY, chunkSize: 1 << 20 });
  const header = new Uint8Array(13);
  const view = new DataView(header.buffer);
  view.setUint32(0, widthPx);
  view.setUint32(4, heightPx);
  header.set([8, channels === 1 ? 0 : 2], 8);
  const signature = Uint8Array.of(0x89, 0x50, 0x4e, 0x47, 0x0d, 0x0a, 0x1a, 0x0a);
  return Buffer.concat([
    signature,
    chunk("IHDR", header),
    chunk("IDAT", packed),
    chunk("IEND", new Uint8Array(0)),
  ]);
}

/** Each byte minus the one a pixel to the left, each row led by the filter's number. */
function filterSub(
  bytes: Uint8Array,
  { rowBytes, rowCount, channels }: { rowBytes: number; rowCount: number; channels: number },
): Uint8Array {
  const filtered = new Uint8Array((rowBytes + 1) * rowCount);
  for (let row = 0; row < rowCount; row++) {
    const from = row * rowBytes;
    const to = from + row + 1;
    filtered[to - 1] = 1;
    for (let i = 0; i < channels; i++) filtered[to + i] = bytes[from + i]!;
    for (let i = channels; i < rowBytes; i++)
      filtered[to + i] = bytes[from + i]! - bytes[from + i - channels]!;
  }
  return filtered;
}

function chunk(type: string, data: Uint8Array): Buffer {
  const whole = Buffer.alloc(12 + data.length);
  whole.writeUInt32BE(data.length, 0);
  whole.write(type, 4, "latin1");
  whole.set(data, 8);
  whole.writeUInt32BE(crc32(whole.subarray(4, 8 + data.length)), 8 + data.length);
  return whole;
}
