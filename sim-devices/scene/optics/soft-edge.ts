/** 0 outside, 1 inside, a smooth rise of the given width about the edge (cubic). */
export function softEdge(depthPx: number, widthPx: number): number {
  const t = Math.min(1, Math.max(0, depthPx / widthPx + 0.5));
  return t * t * (3 - 2 * t);
}
