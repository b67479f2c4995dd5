import type { Flat } from "./normalise-flat.ts";

/**
 * With less of the frame trusted a flat is no use: most of any image stays as captured. Own reasoning, no source.
 */
export const trustedLeast = 0.25;

/** 1 where a flat may be divided by and measured: not masked, and above zero. */
export function findTrustedPx(flat: Pick<Flat, "gain" | "mask">): Uint8Array {
  const usePx = new Uint8Array(flat.mask.length);
  for (let i = 0; i < usePx.length; i++) usePx[i] = flat.mask[i] === 0 && flat.gain[i]! > 0 ? 1 : 0;
  return usePx;
}

/** How much of the frame that is. */
export function trustedFraction(flat: Pick<Flat, "gain" | "mask">): number {
  let count = 0;
  for (let i = 0; i < flat.mask.length; i++) if (flat.mask[i] === 0 && flat.gain[i]! > 0) count++;
  return count / flat.mask.length;
}
