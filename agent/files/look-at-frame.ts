import type { FitsFileImage } from "../../drivers/formats/fits-file.ts";
import { readLevel } from "../imaging/exposure/frame-level.ts";
import type { PictureLevels } from "./kind-of-picture.ts";

/** What a frame as captured shows of itself. */
export interface FrameLook {
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
export function lookAtFrame(image: FitsFileImage): FrameLook | undefined {
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
