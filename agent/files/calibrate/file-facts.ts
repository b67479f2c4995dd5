import { statSync } from "node:fs";
import { join } from "node:path";
import type { FitsFileImage } from "../../../drivers/formats/fits-file.ts";
import { readLevel } from "../../imaging/exposure/frame-level.ts";
import { judgeFigure, type Verdict, worstVerdict } from "../../imaging/proof/proof-figure.ts";
import { startUtcMs } from "../combine/exposure-spans.ts";
import { combinedCount, type FrameKind, hasColourFilters, statedKind } from "../frame-kind.ts";
import { openPictures } from "../image-file.ts";
import { explainFileErrors } from "../input-error.ts";
import type { Labelled } from "../same-setting.ts";
import { decideKind, type PictureLevels } from "./kind-of-picture.ts";

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
  const seen = explainFileErrors(path, () => lookAt(image));
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

interface FrameLook {
  readonly levels: PictureLevels;
  readonly levelAdu: number;
  readonly edge: number;
  readonly noiseAdu: number;
  readonly clippedFraction: number;
  readonly lowClippedFraction: number;
}

const bandRows = 16;
const pixelsMost = 500_000;

/** Bands of rows spread over a frame of counts; `undefined` of other numbers. */
function lookAt(image: FitsFileImage): FrameLook | undefined {
  const { widthPx, rowCount, layout } = image;
  if (layout.type !== "uint16" && layout.type !== "uint8") return undefined;
  const rows = Math.min(bandRows, rowCount);
  const bandsMost = Math.max(1, Math.floor(pixelsMost / (rows * widthPx)));
  const bandCount = Math.min(bandsMost, Math.floor(rowCount / rows));
  const pixels = new Uint16Array(bandCount * rows * widthPx);
  for (let band = 0; band < bandCount; band++) {
    const first = Math.floor((band * rowCount) / bandCount);
    pixels.set(image.readRows(Math.min(first, rowCount - rows), rows), band * rows * widthPx);
  }
  const fullScale = layout.type === "uint8" ? 255 : 65_535;
  const shape = { widthPx, heightPx: bandCount * rows };
  const reading = readLevel(pixels, shape, 0, { pedestalAdu: 0, topAdu: fullScale });
  const blocks = blockMedians(pixels, shape.widthPx, rows).sort((a, b) => a - b);
  const at = (fraction: number) => blocks[Math.floor(fraction * (blocks.length - 1))]! / fullScale;
  return {
    levels: { low: at(0.05), middle: at(0.5), high: at(0.95) },
    levelAdu: reading.medianLitAdu,
    edge: reading.edgeAdu / reading.topAdu,
    noiseAdu: Math.sqrt(reading.noiseVarianceAdu2),
    clippedFraction: reading.clippedFraction,
    lowClippedFraction: reading.lowClippedFraction,
  };
}

function blockMedians(pixels: Uint16Array, widthPx: number, rows: number): number[] {
  const medians: number[] = [];
  const block = new Uint16Array(rows * rows);
  for (let start = 0; start + rows * widthPx <= pixels.length; start += rows * widthPx)
    for (let x = 0; x + rows <= widthPx; x += rows) {
      for (let row = 0; row < rows; row++)
        block.set(pixels.subarray(start + row * widthPx + x, start + row * widthPx + x + rows), row * rows);
      medians.push(block.slice().sort()[block.length >> 1]!);
    }
  return medians.length > 0 ? medians : [pixels[pixels.length >> 1]!];
}

function frameVerdict(kind: FrameKind, seen: FrameLook): Verdict {
  if (kind === "dark" || kind === "bias")
    return worstVerdict([judgeFigure("black", seen.lowClippedFraction)]);
  const clipped = judgeFigure("clipped", seen.clippedFraction);
  return worstVerdict(kind === "flat" ? [judgeFigure("upperEdge", seen.edge), clipped] : [clipped]);
}
