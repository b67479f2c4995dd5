import { statSync } from "node:fs";
import { join } from "node:path";
import { judgeFigure, type Verdict, worstVerdict } from "../../imaging/proof/proof-figure.ts";
import { startUtcMs } from "../combine/exposure-spans.ts";
import { combinedCount, type FrameKind, hasColourFilters, statedKind } from "../frame-kind.ts";
import { openPictures } from "../image-file.ts";
import { explainFileErrors } from "../input-error.ts";
import { decideKind } from "../kind-of-picture.ts";
import { type FrameLook, lookAtFrame } from "../look-at-frame.ts";
import type { Labelled } from "../same-setting.ts";

/** What is known of a file of the folder before anything is made of it. */
export interface FileFacts extends Labelled {
  /** Relative to the folder. */
  readonly name: string;
  /** Tells it from another of that name. */
  readonly stamp: string;
  readonly fileBytes: number;
  readonly kind: FrameKind | undefined;
  readonly kindWhy: string;
  /** Made of several frames already. */
  readonly isMaster: boolean;
  readonly widthPx: number;
  readonly heightPx: number;
  readonly frameCount: number;
  readonly colourFilters: boolean;
  readonly utcMs: number | undefined;
  readonly levelAdu: number | undefined;
  /** Upper edge over the highest code; of frames as captured. */
  readonly edge: number | undefined;
  readonly noiseAdu: number | undefined;
  readonly clippedFraction: number | undefined;
  readonly verdict: Verdict | undefined;
  readonly warnings: readonly string[];
}

/** @param name of the file, relative to the folder @throws InputError if it can't be read */
export function readFileFacts(folder: string, name: string): FileFacts {
  const path = join(folder, name);
  using opened = openPictures(path);
  const { pictures, file, warnings } = opened;
  const image = pictures[pictures.length >> 1]!;
  const { header } = pictures[0]!;
  const { size, mtimeMs } = statSync(path);
  const isMaster = combinedCount(header) > 1 || file?.findImage("UNCERT") !== undefined;
  const stated = statedKind(header);
  const seen = explainFileErrors(path, () => lookAtFrame(image));
  const { kind, why } = isMaster
    ? { kind: stated, why: `its header says that it is a master ${stated ?? "frame"}` }
    : decideKind(stated, name, seen?.levels);
  return {
    path,
    name,
    header,
    stamp: `${name} ${size} ${Math.round(mtimeMs)}`,
    fileBytes: size,
    kind,
    kindWhy: why,
    isMaster,
    widthPx: image.widthPx,
    heightPx: image.rowCount,
    frameCount: pictures.length,
    colourFilters: hasColourFilters(header),
    utcMs: startUtcMs(header),
    levelAdu: seen?.levelAdu,
    edge: seen?.edge,
    noiseAdu: seen?.noiseAdu,
    clippedFraction: seen?.clippedFraction,
    verdict: seen && kind && frameVerdict(kind, seen),
    warnings,
  };
}

function frameVerdict(kind: FrameKind, seen: FrameLook): Verdict {
  if (kind === "dark" || kind === "bias")
    return worstVerdict([judgeFigure("black", seen.lowClippedFraction)]);
  const clipped = judgeFigure("clipped", seen.clippedFraction);
  return worstVerdict(kind === "flat" ? [judgeFigure("upperEdge", seen.edge), clipped] : [clipped]);
}
