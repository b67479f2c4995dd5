import { existsSync } from "node:fs";
import { readCcdImage } from "../../../drivers/formats/ccd-image.ts";
import { type SmallStructure, smallStructure } from "../../imaging/match/small-structure.ts";

/** What is compared of a master flat; `undefined` when its file is gone. */
export function readStructure(file: string): SmallStructure | undefined {
  if (!existsSync(file)) return undefined;
  const { widthPx, heightPx, data, mask } = readCcdImage(file);
  const gains = mask ? data.map((gain, i) => (mask[i] === 0 ? gain : Number.NaN)) : data;
  return smallStructure(gains, { widthPx, heightPx });
}
