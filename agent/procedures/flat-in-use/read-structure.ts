import { existsSync } from "node:fs";
import type { SmallStructure } from "../../imaging/match/small-structure.ts";
import { readMasterFlat } from "../../masters/read-master.ts";
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
  const { shape, mask, gain: whole } = readMasterFlat(file);
  const gain = whole.map((value, i) => (mask[i] === 0 ? value : Number.NaN));
  const at = { signal, pxCount: gain.length };
  return { gain, structure: await computeInThread(bench, at, "smallStructure", gain, shape) };
}
