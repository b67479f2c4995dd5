import type { Random } from "../../../drivers/kit/random.ts";

/**
 * A smooth random surface: a sum of plane waves no shorter than `shortestPx`.
 * @returns heights at any place, scaled to about ±1/2 over a wavelength or more
 */
export function smoothSurface(random: Random, shortestPx: number): (xPx: number, yPx: number) => number {
  const waves = Array.from({ length: 7 }, () => {
    const k = (2 * Math.PI) / (shortestPx * random.between(1, 2.5));
    const direction = random.between(0, 2 * Math.PI);
    return {
      kx: k * Math.cos(direction),
      ky: k * Math.sin(direction),
      phase: random.between(0, 2 * Math.PI),
    };
  });
  return (xPx, yPx) => {
    let sum = 0;
    for (const wave of waves) sum += Math.cos(wave.kx * xPx + wave.ky * yPx + wave.phase);
    return sum / waves.length;
  };
}
