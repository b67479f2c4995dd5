import { readFileSync } from "node:fs";
import { join } from "node:path";
import { readFitsInPlace } from "../../../../drivers/formats/fits-read.ts";
import type { SkyOffset } from "../../../../drivers/roles/mount-sky.ts";
import { writeRawFrame } from "../../master-files.ts";
import type { Workbench } from "../../step.ts";
import type { MovingFrame } from "./drift-path.ts";

export interface DriftFrame {
  /** Below the run's folder, raw as the camera gave it. */
  readonly file: string;
  readonly at: SkyOffset;
  readonly edgeFraction: number;
  /** Frames that the flat does not know prove it. */
  readonly isProof: boolean;
}

/** A drift's frames lie on disk: the solution reads each when its turn comes, and a person can solve them again. */
export function writeDriftFrame(
  bench: Workbench,
  folder: string,
  index: number,
  moving: MovingFrame,
): string {
  const file = `${folder}/frame-${String(index + 1).padStart(4, "0")}.fits`;
  writeRawFrame(bench, file, moving.frame, "Flat Field");
  return file;
}

export interface LevelsRequest {
  readonly dark: Float32Array;
  readonly clipAdu: number;
  readonly unhealthyPx: Uint8Array | undefined;
}

/** Levels above the dark; NaN where a pixel is clipped or unhealthy. @param clippedIn counts clipped pixels, if given */
export function readDriftLevels(
  bench: Workbench,
  { file }: DriftFrame,
  { dark, clipAdu, unhealthyPx }: LevelsRequest,
  into: Float32Array,
  clippedIn?: Uint16Array,
): void {
  const path = join(bench.folder, file);
  const [hdu] = readFitsInPlace(readFileSync(path), path);
  const pixels = hdu!.pixels!;
  for (let i = 0; i < into.length; i++) {
    const isClipped = pixels[i]! >= clipAdu;
    if (isClipped && clippedIn) clippedIn[i]!++;
    into[i] = isClipped || unhealthyPx?.[i] === 1 ? Number.NaN : pixels[i]! - dark[i]!;
  }
}
