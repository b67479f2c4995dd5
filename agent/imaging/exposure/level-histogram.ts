/**
 * Pixels per level, for a picture of their distribution.
 * @param pixelsAdu counts, any shape
 * @param topAdu the highest code of the converter; levels above it count in the last bin
 * @returns pixels per bin; bin i covers [i, i + 1) / bins of `topAdu`
 */
export function codesPerBin(
  pixelsAdu: Uint16Array,
  { topAdu, bins }: { topAdu: number; bins: number },
): number[] {
  const counts = new Array<number>(bins).fill(0);
  const perAdu = bins / (topAdu + 1);
  for (let i = 0; i < pixelsAdu.length; i++) {
    counts[Math.min(bins - 1, Math.floor(pixelsAdu[i]! * perAdu))]!++;
  }
  return counts;
}
