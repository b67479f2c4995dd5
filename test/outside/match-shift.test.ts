import { expect, test } from "vitest";
import { matchTrain } from "../../agent/imaging/match/match-train.ts";
import { smallStructure } from "../../agent/imaging/match/small-structure.ts";
import { loadFft } from "../../agent/imaging/numerics/fft-library.ts";
import { Random } from "../../drivers/kit/random.ts";
import { check } from "./check.ts";

const side = 512;
const shape = { widthPx: side, heightPx: side };

/** Twelve dust rings from a seed, moved; vignetting about a centre, with noise. Recipe of the published check. */
function dusty(options: {
  readonly dustSeed: number;
  readonly noiseSeed: number;
  readonly shift?: readonly [number, number];
  readonly other?: boolean;
  readonly noise?: number;
}): Float32Array {
  const { dustSeed, noiseSeed, shift = [0, 0], other = false, noise = 0.002 } = options;
  const dust = new Random(dustSeed);
  const rings = Array.from({ length: 12 }, () => {
    const [a, b, c, d] = [dust.uniform(), dust.uniform(), dust.uniform(), dust.uniform()];
    return { x: 30 + 452 * a + shift[0], y: 30 + 452 * b + shift[1], r: 6 + 18 * c, depth: 0.02 + 0.06 * d };
  });
  const gauss = new Random(noiseSeed);
  return Float32Array.from({ length: side * side }, (_, i) => {
    const [x, y] = [i % side, Math.floor(i / side)];
    const [cx, cy, vignetting] = other ? [240, 270, 0.2] : [(side - 1) / 2, (side - 1) / 2, 0.15];
    let value = 1 - (vignetting * ((x - cx) ** 2 + (y - cy) ** 2)) / (side ** 2 / 2);
    for (const ring of rings) {
      const r = Math.hypot(x - ring.x, y - ring.y);
      value *= 1 - ring.depth * (1 / (1 + Math.exp(r - ring.r)) - 0.8 / (1 + Math.exp(r - 0.35 * ring.r)));
    }
    return value + noise * gauss.gauss();
  });
}

test("dust of one train is found where it went, and other dust is told apart", async () => {
  const one = check("match.shift");
  const fft = await loadFft();
  const structure = smallStructure(dusty({ dustSeed: 41, noiseSeed: 42 }), shape);
  const found = [
    dusty({ dustSeed: 41, noiseSeed: 43 }),
    dusty({ dustSeed: 41, noiseSeed: 43, shift: [3.4, -2.7], other: true }),
    dusty({ dustSeed: 41, noiseSeed: 43, shift: [25, -40] }),
    dusty({ dustSeed: 44, noiseSeed: 43 }),
  ].map((second) => matchTrain(fft, structure, smallStructure(second, shape), [], "flat"));
  one.agrees(
    "shift",
    found.map(({ says, shift }) => (says === "other" ? null : [shift.x, shift.y])),
  );
  one.agrees(
    "ncc",
    found.map(({ correlation }) => correlation),
  );
  expect(found.map(({ says }) => says)).toEqual(["fits", "moved", "moved", "other"]);
});
