import { readFileSync } from "node:fs";
import { decode } from "fast-png";

/** A grey image, 0 … 1, row-major. */
export interface GreyImage {
  readonly widthPx: number;
  readonly heightPx: number;
  readonly levels: Float32Array;
}

/** Reads a PNG; colours are averaged, alpha ignored. @throws Error naming the file if it can't be read */
export function readGreyPng(file: string): GreyImage {
  let png: ReturnType<typeof decode>;
  try {
    png = decode(readFileSync(file));
  } catch (cause) {
    throw new Error(`Surface image ${file} can't be read as PNG`, { cause });
  }
  if (png.palette) throw new Error(`Surface image ${file} has a palette; a grey PNG is needed`);
  const colours = png.channels <= 2 ? 1 : 3;
  const top = 2 ** png.depth - 1;
  const levels = new Float32Array(png.width * png.height);
  for (let i = 0; i < levels.length; i++) {
    let sum = 0;
    for (let c = 0; c < colours; c++) sum += png.data[i * png.channels + c]!;
    levels[i] = sum / (colours * top);
  }
  return { widthPx: png.width, heightPx: png.height, levels };
}
