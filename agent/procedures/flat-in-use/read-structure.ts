import { existsSync } from "node:fs";
import { readCcdImage } from "../../../drivers/formats/ccd-image.ts";
import { type SmallStructure, smallStructure } from "../../imaging/match/small-structure.ts";

/** What is compared of a master flat. */
export interface FlatStructure {
  /** NaN where a pixel is not to be trusted. */
  readonly gain: Float32Array;
  readonly structure: SmallStructure;
}

/** @returns `undefined` when the file is gone */
export function readStructure(file: string): FlatStructure | undefined {
  if (!existsSync(file)) return undefined;
  const { widthPx, heightPx, data, mask } = readCcdImage(file);
  const gain = mask ? data.map((value, i) => (mask[i] === 0 ? value : Number.NaN)) : data;
  return { gain, structure: smallStructure(gain, { widthPx, heightPx }) };
}
