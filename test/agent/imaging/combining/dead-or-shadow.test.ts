import { expect, test } from "vitest";
import { normaliseFlat } from "../../../../agent/imaging/combining/normalise-flat.ts";
import { findDust } from "../../../../agent/imaging/dust/dust.ts";
import { Random } from "../../../../drivers/kit/random.ts";

const shape = { widthPx: 160, heightPx: 120 };
const sides = 5;
const speckPx = 6;

/** A speck 55 % deep and 6 px wide, whose edge runs through pixels; a dead pixel, a dead pair and a column at a third. */
function flat(hasColourFilters: boolean) {
  const random = new Random(11);
  const meanAdu = Float32Array.from({ length: shape.widthPx * shape.heightPx }, (_, i) => {
    const [x, y] = [i % shape.widthPx, Math.floor(i / shape.widthPx)];
    let covered = 0;
    for (let k = 0; k < sides ** 2; k++)
      if (
        Math.hypot(x - 70.3 + (k % sides) / sides - 0.4, y - 60.6 + Math.floor(k / sides) / sides - 0.4) <
        speckPx / 2
      )
        covered += 1 / sides ** 2;
    const isDead = x === 120 || (y === 30 && (x === 30 || x === 40 || x === 41));
    return 40_000 * (isDead ? 0.33 : 1 - 0.55 * covered) * (1 + 0.002 * random.gauss());
  });
  return normaliseFlat(
    {
      shape,
      meanAdu,
      sigmaAdu: new Float32Array(meanAdu.length).fill(80),
      mask: new Uint8Array(meanAdu.length),
    },
    { hasColourFilters },
  )!;
}

test.for([false, true])(
  "a small deep shadow is found, not taken for dead pixels; dead ones stay masked (colour filters: %s)",
  (hasColourFilters) => {
    const { gain, mask, sigma, levelAdu } = flat(hasColourFilters);
    const dead = [30 * 160 + 30, 30 * 160 + 40, 30 * 160 + 41, 120, 119 * 160 + 120];
    expect(dead.map((i) => mask[i] !== 0)).toEqual(dead.map(() => true));
    if (hasColourFilters) return;
    const found = findDust({ shape, gain, mask, sigma, levelAdu });
    expect(found).toHaveLength(1);
    expect(Math.hypot(found[0]!.xPx - 70.3, found[0]!.yPx - 60.6)).toBeLessThan(0.3);
    expect(found[0]!.depth).toBeCloseTo(0.55, 1);
    expect(found[0]!.diameterPx).toBeCloseTo(6, 0);
  },
);
