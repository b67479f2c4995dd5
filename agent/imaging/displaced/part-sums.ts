import type { PartSums } from "./passes.ts";

/** Zeros for each part. */
export function sharedDoubles(length: number): PartSums<Float64Array> {
  const make = () => new Float64Array(new SharedArrayBuffer(8 * length));
  return [make(), make()];
}

/** @returns the first part's array, which then holds both */
export function addSecond(sums: PartSums<Float64Array>): Float64Array {
  const [sum, second] = sums;
  for (let i = 0; i < sum.length; i++) sum[i]! += second[i]!;
  return sum;
}

/** The same for the other kind of number: one loop that saw both would be slow. */
export function addSecondFloats([sum, second]: PartSums<Float32Array>): void {
  for (let i = 0; i < sum.length; i++) sum[i]! += second[i]!;
}
