import type { Frame } from "../../../../drivers/roles/camera.ts";
import { mapInto } from "../../../imaging/numerics/map-into.ts";

/**
 * Levels of a short exposure above its pedestal [adu], row-major; NaN where a pixel clips or is unhealthy. Exposures are too
 * short for any dark current but that of pixels that stand out, which are unhealthy.
 * @param levelAdu of a code, above the pedestal
 */
export function levelsOfLook(
  { pixelsAdu }: Pick<Frame, "pixelsAdu">,
  topAdu: number,
  unhealthyPx: Uint8Array | undefined,
  levelAdu: (code: number) => number,
): Float32Array {
  return mapInto(new Float32Array(pixelsAdu.length), pixelsAdu, (value, i) =>
    value >= topAdu - 1 || unhealthyPx?.[i] === 1 ? Number.NaN : levelAdu(value),
  );
}
