import { join } from "node:path";
import type { Card } from "../../../drivers/formats/fits-card.ts";
import { headerBytes, paddedBytes } from "../../../drivers/formats/fits-header-write.ts";
import { encodeFits, encodePixels } from "../../../drivers/formats/fits-write.ts";
import type { SerFile } from "../../../drivers/formats/ser-file.ts";
import { mapInto } from "../../imaging/numerics/map-into.ts";
import type { FrameSource } from "../frame-source.ts";
import { keptCards } from "../kept-cards.ts";
import { checkOutput, plainName } from "../output-name.ts";
import { isDone } from "./apply-origin.ts";
import type { SequenceRequest, SequenceResult } from "./sequence-result.ts";

/** A FITS cube; times of the frames go into an extension. */
export function cubeResult(
  source: FrameSource,
  as: "float32" | "uint16",
  request: SequenceRequest,
): SequenceResult {
  const { widthPx, rowCount, frameCount } = source;
  const { writtenUtcMs } = request;
  const frameBytes = widthPx * rowCount * (as === "uint16" ? 2 : 4);
  const output = join(request.outputFolder, plainName(source.path).replace(/\.ser$/i, ".fits"));
  const times = timesExtension(source.ser, writtenUtcMs);
  const head = (added: readonly Card[], dataSum: number) => {
    const cards = [...keptCards(source.cards), ...added];
    const place = { index: 0, hduCount: times.length > 0 ? 2 : 1, writtenUtcMs, dataSum };
    return headerBytes({ type: as, shape: [frameCount, rowCount, widthPx], cards }, place);
  };
  return {
    output,
    as,
    countMax: 65_535,
    frameBytes,
    headBytes: (cards) => head(cards, 0).length,
    holdsSum: true,
    encode: (pixels, into) => {
      encodePixels(pixels, into);
      return into;
    },
    isDone: (origin) => isDone(output, origin, as),
    checkNames: () => checkOutput(output, request.inputs, request.replace),
    finish: (part, { cards, dataSum }) => {
      const padding = paddedBytes(frameCount * frameBytes) - frameCount * frameBytes;
      const tail = new Uint8Array(padding + times.length);
      tail.set(times, padding);
      part.finish({ head: head(cards, dataSum), tail }, request.replace);
    },
  };
}

/** Seconds of each frame since the first, as an image extension. */
function timesExtension(ser: SerFile | undefined, writtenUtcMs: number): Uint8Array {
  const stamps = ser?.stampsTicks();
  if (stamps === undefined) return new Uint8Array(0);
  const seconds = mapInto(
    new Float64Array(stamps.length),
    stamps,
    (ticks) => Number(ticks - stamps[0]!) / 1e7,
  );
  const cards = [{ keyword: "BUNIT", value: "s", comment: "since the first frame, see DATE-OBS" }];
  const whole = encodeFits([{}, { pixels: seconds, name: "FRAMETIME", cards }], writtenUtcMs);
  return whole.subarray(encodeFits([{}], writtenUtcMs).length);
}
