import type { ShiftPx } from "./object-grid.ts";

const goldenAngle = Math.PI * (3 - Math.sqrt(5));

/**
 * Displacements that fill a disc evenly and are not visited in order of their place, so that a slow change of
 * transparency does not look like a gradient: r = radius · sqrt((i + ½) / N), each turned by the golden angle.
 * Source: H. Vogel, Mathematical Biosciences 44 (1979) 179.
 */
export function goldenSpiral(frameCount: number, radiusPx: number, startRadians = 0.3): ShiftPx[] {
  return Array.from({ length: frameCount }, (_, i) => {
    const r = radiusPx * Math.sqrt((i + 0.5) / frameCount);
    const angle = (i + 0.5) * goldenAngle + startRadians;
    return { x: r * Math.cos(angle), y: r * Math.sin(angle) };
  });
}
