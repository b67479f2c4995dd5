import type { Flat } from "../../imaging/combining/normalise-flat.ts";
import type { MasterKnown } from "../../imaging/proof/judge-master.ts";
import type { Workbench } from "../step.ts";

/** What a run knows of a flat besides its pixels; the same stands in the file's header. */
export function knownOfFlat(
  { optics, rig, train, findings: { conversion } }: Workbench,
  { levelAdu }: Flat,
  frameCount: number,
  gain: number | undefined,
): MasterKnown {
  return {
    focalRatio: optics.focalLengthMm / optics.apertureMm,
    pixelMicron: rig.camera.limits.pixelMicron * (train?.binning ?? 1),
    wavelengthNm: optics.wavelengthNm,
    ...(conversion && conversion.gain === gain ? { photons: { levelAdu, frameCount, ...conversion } } : {}),
  };
}
