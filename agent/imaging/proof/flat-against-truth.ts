/** How far a measured flat lies from the true pattern. Fractions of the flat, not percent. */
export interface FlatAgainstTruth {
  readonly comparedPx: number;
  /** Root mean square of master / truth - 1 after both are brought to the same mean. */
  readonly rmsError: number;
  /** What the master's own sigmas predict for it. */
  readonly rmsExpected: number;
  /** Share of pixels whose error is below their own sigma; 0.683 for an honest one. */
  readonly withinOneSigma: number;
  /** Root mean square over blocks of 32 × 32 px: what the eye would see. */
  readonly rmsErrorBlocks: number;
}

const blockPx = 32;

/**
 * Compares a master flat with the true pattern of a simulated rig, over the pixels that the mask trusts.
 * All arrays are [heightPx, widthPx], row-major; `master`, `sigma` and `truth` are ratios, mean about 1.
 * @returns `undefined` when no pixel can be compared
 * @throws RangeError if an array does not fit the shape
 */
export function flatAgainstTruth(input: {
  readonly widthPx: number;
  readonly heightPx: number;
  readonly master: Float32Array;
  readonly sigma: Float32Array;
  readonly mask: Uint8Array;
  readonly truth: Float32Array;
}): FlatAgainstTruth | undefined {
  const { widthPx, heightPx, master, sigma, mask, truth } = input;
  for (const array of [master, sigma, mask, truth]) {
    if (array.length !== widthPx * heightPx) throw new RangeError("an array does not fit the shape");
  }
  let count = 0;
  let ratioSum = 0;
  for (let i = 0; i < master.length; i++) {
    if (mask[i] !== 0) continue;
    count++;
    ratioSum += master[i]! / truth[i]!;
  }
  if (count === 0) return undefined;
  const mean = ratioSum / count;
  let errorSum = 0;
  let varianceSum = 0;
  let within = 0;
  const blocksWide = Math.ceil(widthPx / blockPx);
  const blockSum = new Float64Array(blocksWide * Math.ceil(heightPx / blockPx));
  const blockCount = new Float64Array(blockSum.length);
  for (let y = 0; y < heightPx; y++) {
    for (let x = 0; x < widthPx; x++) {
      const i = y * widthPx + x;
      if (mask[i] !== 0) continue;
      const error = master[i]! / (truth[i]! * mean) - 1;
      const own = sigma[i]! / master[i]!;
      errorSum += error * error;
      varianceSum += own * own;
      if (Math.abs(error) < own) within++;
      const block = Math.floor(y / blockPx) * blocksWide + Math.floor(x / blockPx);
      blockSum[block]! += error;
      blockCount[block]!++;
    }
  }
  let blockErrorSum = 0;
  let blocks = 0;
  for (let b = 0; b < blockSum.length; b++) {
    if (blockCount[b]! < (blockPx * blockPx) / 2) continue;
    blocks++;
    blockErrorSum += (blockSum[b]! / blockCount[b]!) ** 2;
  }
  return {
    comparedPx: count,
    rmsError: Math.sqrt(errorSum / count),
    rmsExpected: Math.sqrt(varianceSum / count),
    withinOneSigma: within / count,
    rmsErrorBlocks: blocks === 0 ? Number.NaN : Math.sqrt(blockErrorSum / blocks),
  };
}
