import { existsSync } from "node:fs";
import { readCcdImage } from "../../../drivers/formats/ccd-image.ts";
import type { SmallStructure } from "../../imaging/match/small-structure.ts";
import { aside } from "../aside/aside.ts";
import type { Workbench } from "../step.ts";

/** What is compared of a master flat. */
export interface FlatStructure {
  /** NaN where a pixel is not to be trusted. */
  readonly gain: Float32Array;
  readonly structure: SmallStructure;
}

/** @returns `undefined` when the file is gone */
export async function readStructure(
  file: string,
  clock: Workbench["clock"],
  signal: AbortSignal,
): Promise<FlatStructure | undefined> {
  if (!existsSync(file)) return undefined;
  const { widthPx, heightPx, data, mask } = readCcdImage(file);
  const gain = mask ? data.map((value, i) => (mask[i] === 0 ? value : Number.NaN)) : data;
  const ask = { clock, signal, pxCount: gain.length };
  return { gain, structure: await aside(ask, "smallStructure", gain, { widthPx, heightPx }) };
}
