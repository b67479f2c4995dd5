/** How many pixels carry each 16-bit code: index = code [adu], length 65536. */
export type CodeCounts = Uint32Array;

export function countCodes(pixelsAdu: Uint16Array): CodeCounts {
  const counts = new Uint32Array(65536);
  for (let i = 0; i < pixelsAdu.length; i++) counts[pixelsAdu[i]!]!++;
  return counts;
}

/** The same without the pixels that are 1 in `unhealthyPx`. */
export function countHealthyCodes(pixelsAdu: Uint16Array, unhealthyPx: Uint8Array): CodeCounts {
  if (unhealthyPx.length !== pixelsAdu.length) throw new RangeError("the health map does not fit the frame");
  const counts = new Uint32Array(65536);
  for (let i = 0; i < pixelsAdu.length; i++) if (unhealthyPx[i] === 0) counts[pixelsAdu[i]!]!++;
  return counts;
}

export function totalCount(counts: CodeCounts, fromCode = 0): number {
  let total = 0;
  for (let code = fromCode; code < counts.length; code++) total += counts[code]!;
  return total;
}

/**
 * Exact quantile of the pixels at or above `fromCode`, linear between neighbours in order.
 * @param fraction 0 … 1
 * @returns [adu], or `undefined` when there is no pixel
 * Source: type 7 of R. J. Hyndman and Y. Fan, The American Statistician 50 (1996) 361.
 */
export function quantileAdu(counts: CodeCounts, fraction: number, fromCode = 0): number | undefined {
  const total = totalCount(counts, fromCode);
  if (total === 0) return undefined;
  const place = fraction * (total - 1);
  const low = Math.floor(place);
  let seen = 0;
  let code = fromCode;
  while (seen + counts[code]! <= low) seen += counts[code++]!;
  const atLow = code;
  if (seen + counts[code]! > low + 1 || low + 1 >= total) return atLow;
  code++;
  while (counts[code] === 0) code++;
  return atLow + (code - atLow) * (place - low);
}

/** Share of the pixels at or above a code, 0 … 1; 0 when there is no pixel. */
export function fractionAtOrAbove(counts: CodeCounts, code: number): number {
  const total = totalCount(counts);
  return total === 0 ? 0 : totalCount(counts, Math.max(0, Math.ceil(code))) / total;
}

/** Share of the pixels at or below a code, 0 … 1; 0 when there is no pixel. */
export function fractionAtOrBelow(counts: CodeCounts, code: number): number {
  const total = totalCount(counts);
  return total === 0 ? 0 : 1 - totalCount(counts, Math.max(0, Math.floor(code) + 1)) / total;
}
