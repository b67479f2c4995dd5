import { createInflate } from "node:zlib";

/**
 * Inflates zlib data off the main thread into a buffer of the size that its sender declared.
 * @returns the bytes, or what is wrong: more or fewer than declared, or no zlib data
 */
export function inflateTo(
  compressed: Uint8Array,
  sizeBytes: number,
): Promise<{ bytes: Uint8Array } | { broken: string }> {
  return new Promise((resolve) => {
    const target = new Uint8Array(sizeBytes);
    let filled = 0;
    const inflate = createInflate({ chunkSize: 256 * 1024 });
    const end = (outcome: { bytes: Uint8Array } | { broken: string }) => {
      inflate.destroy();
      resolve(outcome);
    };
    inflate.on("data", (piece: Buffer) => {
      if (filled + piece.length > sizeBytes) {
        end({ broken: `it inflates to more than the ${sizeBytes} bytes declared` });
        return;
      }
      target.set(piece, filled);
      filled += piece.length;
    });
    inflate.on("error", (error) => end({ broken: `it does not inflate: ${error.message}` }));
    inflate.on("end", () => {
      if (filled < sizeBytes) end({ broken: `it inflates to ${filled} of ${sizeBytes} bytes` });
      else end({ bytes: target });
    });
    inflate.end(compressed);
  });
}
