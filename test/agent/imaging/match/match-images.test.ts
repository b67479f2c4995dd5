import { expect, test } from "vitest";
import { matchImages } from "../../../../agent/imaging/match/match-images.ts";
import { matchTrain } from "../../../../agent/imaging/match/match-train.ts";
import { smallStructure } from "../../../../agent/imaging/match/small-structure.ts";
import { loadFft } from "../../../../agent/imaging/numerics/fft-library.ts";
import { Random } from "../../../../drivers/kit/random.ts";

const fft = await loadFft();
const shape = { widthPx: 240, heightPx: 180 };

interface Speck {
  readonly xPx: number;
  readonly yPx: number;
  readonly diameterPx: number;
  readonly depth: number;
}

/** Scattered, so that none hides another. */
const dust: readonly Speck[] = Array.from({ length: 12 }, (_, k) => {
  const random = new Random(700 + k);
  return {
    xPx: 35 + 56 * (k % 4) + random.between(-8, 8),
    yPx: 35 + 55 * Math.floor(k / 4) + random.between(-8, 8),
    diameterPx: random.between(14, 28),
    depth: random.between(0.04, 0.1),
  };
});
const speck: Speck = { xPx: 63, yPx: 62, diameterPx: 24, depth: 0.1 };
const grown = dust.map((one) => ({ ...one, diameterPx: 1.08 * one.diameterPx }));
const shifted = (x: number, y: number) => dust.map((one) => ({ ...one, xPx: one.xPx + x, yPx: one.yPx + y }));

function picture(
  specks: readonly Speck[],
  seed: number,
  light: (x: number, y: number) => number,
  noise: number,
) {
  const random = new Random(seed);
  const levels = Float32Array.from({ length: shape.widthPx * shape.heightPx }, (_, i) => {
    const [x, y] = [i % shape.widthPx, Math.floor(i / shape.widthPx)];
    const level = specks.reduce(
      (product, { xPx, yPx, diameterPx, depth }) => {
        const r = Math.hypot(x - xPx, y - yPx);
        return product * (1 - depth * 0.5 * (1 - Math.tanh((r - diameterPx / 2) / 1.5)));
      },
      light(x, y),
    );
    return level * (1 + noise * random.gauss());
  });
  return smallStructure(levels, shape);
}

const flatOf = (specks: readonly Speck[], seed: number) => picture(specks, seed, () => 1, 0.002);

/** Grains of the Sun, 4 % rms, twice what the dust makes. */
const waves = Array.from({ length: 50 }, (_, k) => {
  const random = new Random(40 + k);
  const [wave, turn] = [(2 * Math.PI) / random.between(8, 40), random.between(0, 2 * Math.PI)];
  return { kx: wave * Math.cos(turn), ky: wave * Math.sin(turn), phase: random.between(0, 2 * Math.PI) };
});
const marginPx = 30;
const sunWidthPx = shape.widthPx + 2 * marginPx;
/** Painted once, with room to wander by whole pixels. */
const painted = Float32Array.from({ length: sunWidthPx * (shape.heightPx + 2 * marginPx) }, (_, i) => {
  const [x, y] = [i % sunWidthPx, Math.floor(i / sunWidthPx)];
  return 1 + 0.008 * waves.reduce((sum, { kx, ky, phase }) => sum + Math.cos(kx * x + ky * y + phase), 0);
});
const sun = (x: number, y: number) => painted[(y + marginPx) * sunWidthPx + x + marginPx]!;

/** Images in which the Sun lies up to so many pixels off, one way and the other. */
function images(specks: readonly Speck[], wanderPx: { readonly x: number; readonly y: number }, count = 8) {
  return Array.from({ length: count }, (_, k) => {
    const random = new Random(90 + k);
    const [dx, dy] = [wanderPx.x, wanderPx.y].map((most) => Math.round(random.between(-1, 1) * most)) as [
      number,
      number,
    ];
    return picture(specks, 200 + k, (x, y) => sun(x - dx, y - dy), 0.006);
  });
}

const flat = flatOf(dust, 1);
const wide = { x: 25, y: 25 };
const together = (specks: readonly Speck[], wanderPx = wide, count?: number) =>
  matchImages(fft, flat, images(specks, wanderPx, count), dust);

test("eight images of the flat's train fit together where one alone is not sure", () => {
  expect(together(dust, wide, 1).says).toBe("uncertain");
  const found = together(dust);
  expect(found.says).toBe("fits");
  expect(found.shift.sigmaPx).toBeLessThan(0.1);
});

test("what has moved, grown or come is told from eight images, in place of a fit", () => {
  const moved = together(shifted(0.5, -0.3));
  expect(moved.says).toBe("moved");
  expect(Math.hypot(moved.shift.x - 0.5, moved.shift.y + 0.3)).toBeLessThan(0.15);
  expect(together(grown).says).toBe("changed");
  const dusty = together([...dust, speck]);
  expect(dusty.says).toBe("changed");
  expect(Math.hypot(dusty.changes!.places[0]!.xPx - 63, dusty.changes!.places[0]!.yPx - 62)).toBeLessThan(12);
});

test("a Sun that stood still, or went along one line, is not taken for dust", () => {
  for (const wander of [
    { x: 0.3, y: 0.3 },
    { x: 25, y: 0.3 },
  ])
    expect(together(dust, wander).says).toBe("uncertain");
});

test("between flats a new speck and shadows 8 % wider do not fit, and the same dust does", () => {
  const says = (specks: readonly Speck[]) => matchTrain(fft, flat, flatOf(specks, 2), dust, "flat").says;
  expect(says(dust)).toBe("fits");
  expect(says([...dust, speck])).toBe("changed");
  expect(says(grown)).toBe("changed");
});
