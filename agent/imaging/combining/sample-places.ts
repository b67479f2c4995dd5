/**
 * Where pieces of `piecePx` begin that are spread over a frame: side by side over all of a small one, else in steps of the
 * golden section, so that neither a row nor a column holds them all.
 */
export function samplePlaces(pxCount: number, piecePx: number, pieces: number): number[] {
  const last = Math.max(0, pxCount - piecePx);
  const filling = Math.ceil(pxCount / piecePx);
  if (filling <= pieces) return Array.from({ length: filling }, (_, k) => Math.min(last, k * piecePx));
  return Array.from({ length: pieces }, (_, k) => Math.floor((((k + 1) * golden) % 1) * last));
}

const golden = (Math.sqrt(5) - 1) / 2;
