import { rmSync } from "node:fs";
import { basename, join } from "node:path";
import { toNative } from "../../../drivers/formats/byte-order.ts";
import { serField, serHeaderBytes } from "../../../drivers/formats/ser.ts";
import type { SerFile } from "../../../drivers/formats/ser-file.ts";
import { checkOutput } from "../output-name.ts";
import type { SequenceRequest, SequenceResult } from "./sequence-result.ts";
import { checkRecord, isSerDone, recordPath, writeRecord } from "./ser-record.ts";

/** SER of the same depth, byte order and times, with the header as it was. */
export function serResult(ser: SerFile, request: SequenceRequest): SequenceResult {
  const output = join(request.outputFolder, basename(ser.path));
  return {
    output,
    as: "uint16",
    countMax: 2 ** ser.header.depthBits - 1,
    frameBytes: ser.frameBytes,
    headBytes: () => serHeaderBytes,
    holdsSum: false,
    encode: (pixels, into) => {
      const bytes = new Uint8Array(pixels.buffer, pixels.byteOffset, pixels.byteLength);
      if (ser.bytesPerPixel === 2 && ser.byteOrder === "little") return bytes;
      if (ser.bytesPerPixel === 2) toNative(bytes, into, 2, "keep");
      else into.set(pixels);
      return into;
    },
    isDone: (origin) => isSerDone(output, origin),
    checkNames: () => {
      checkOutput(output, request.inputs, request.replace);
      checkRecord(output, request.inputs);
    },
    finish: (part, { cards }) => {
      const head = ser.headerBytes.slice();
      // A recording that was broken off may say 0.
      new DataView(head.buffer).setInt32(serField.frameCount, ser.frameCount, true);
      rmSync(recordPath(output), { force: true }); // it speaks of the file that is replaced now
      part.finish({ head, tail: ser.trailer() }, request.replace);
      writeRecord(output, cards);
    },
  };
}
