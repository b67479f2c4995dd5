import type { Random } from "../../../../drivers/kit/random.ts";

/**
 * Grains like those of the Sun's surface: plane waves of `periodPx` in all directions, rms 1, shifted by `shiftPx`.
 * cos(kx·x + ky·y + phase) is taken apart by columns and rows.
 */
export function sumWaves(
  random: Random,
  { widthPx, heightPx }: { readonly widthPx: number; readonly heightPx: number },
  waves: {
    readonly count: number;
    readonly periodPx: readonly [number, number];
    readonly shiftPx?: { readonly x: number; readonly y: number };
  },
): Float64Array {
  const { count, periodPx, shiftPx = { x: 0, y: 0 } } = waves;
  const scale = Math.sqrt(2 / count);
  const sum = new Float64Array(widthPx * heightPx);
  for (let wave = 0; wave < count; wave++) {
    const [k, turn] = [(2 * Math.PI) / random.between(...periodPx), random.between(0, 2 * Math.PI)];
    const [kx, ky, phase] = [k * Math.cos(turn), k * Math.sin(turn), random.between(0, 2 * Math.PI)];
    const cosX = Float64Array.from({ length: widthPx }, (_, x) => Math.cos(kx * (x - shiftPx.x)));
    const sinX = Float64Array.from({ length: widthPx }, (_, x) => Math.sin(kx * (x - shiftPx.x)));
    for (let y = 0; y < heightPx; y++) {
      const angle = ky * (y - shiftPx.y) + phase;
      const [cosY, sinY] = [scale * Math.cos(angle), scale * Math.sin(angle)];
      for (let x = 0; x < widthPx; x++) sum[y * widthPx + x]! += cosX[x]! * cosY - sinX[x]! * sinY;
    }
  }
  return sum;
}
