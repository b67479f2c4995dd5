import { existsSync } from "node:fs";
import { readCcdImage } from "../../../drivers/formats/ccd-image.ts";
import type { SmallStructure } from "../../imaging/match/small-structure.ts";
import { type ComputingBench, computeInThread } from "../../threads/compute-in-thread.ts";

/** What is compared of a master flat. */
export interface FlatStructure {
  /** NaN where a pixel is not to be trusted. */
  readonly gain: Float32Array;
  readonly structure: SmallStructure;
}

/** @returns `undefined` when the file is gone */
export async function readStructure(
  file: string,
  bench: ComputingBench,
  signal: AbortSignal,
): Promise<FlatStructure | undefined> {
  if (!existsSync(file)) return undefined;
  const { widthPx, heightPx, data, mask } = readCcdImage(file);
  const gain = mask ? data.map((value, i) => (mask[i] === 0 ? value : Number.NaN)) : data;
  const at = { signal, pxCount: gain.length };
  const structure = await computeInThread(bench, at, "smallStructure", gain, { widthPx, heightPx });
  return { gain, structure };
}
