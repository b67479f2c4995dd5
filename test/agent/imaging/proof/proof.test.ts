import { expect, test } from "vitest";
import { maskBits } from "../../../../agent/imaging/combining/mask-bits.ts";
import type { Flat } from "../../../../agent/imaging/combining/normalise-flat.ts";
import { radialProfile } from "../../../../agent/imaging/disc/radial-profile.ts";
import { findDust } from "../../../../agent/imaging/dust/dust.ts";
import { flatShape } from "../../../../agent/imaging/proof/flat-shape.ts";
import { judgeMaster } from "../../../../agent/imaging/proof/judge-master.ts";
import { leftoverSun } from "../../../../agent/imaging/proof/leftover-sun.ts";
import { proveFlat } from "../../../../agent/imaging/proof/proof.ts";
import { describeVerdict, worstVerdict } from "../../../../agent/imaging/proof/proof-figure.ts";
import { Random } from "../../../../drivers/kit/random.ts";

const shape = { widthPx: 320, heightPx: 240 };
const px = shape.widthPx * shape.heightPx;

interface Spot {
  readonly x: number;
  readonly y: number;
  readonly radius: number;
  readonly hole: number;
  readonly depth: number;
}

/** Vignetted, 3 % brighter to the right, with dust and 0.1 % noise. */
function flatWith(spots: readonly Spot[], options: { noise?: number; bump?: number } = {}): Flat {
  const { noise = 0.001, bump = 0 } = options;
  const random = new Random(3);
  const gain = Float32Array.from({ length: px }, (_, i) => {
    const x = i % shape.widthPx;
    const y = Math.floor(i / shape.widthPx);
    const [u, v] = [x / 160 - 1, y / 120 - 1];
    let level = (1 - 0.08 * (u * u + v * v)) * (1 + 0.015 * u);
    level *= 1 + bump * Math.exp(-((x - 100) ** 2 + (y - 80) ** 2) / (2 * 30 ** 2));
    for (const { x: sx, y: sy, radius, hole, depth } of spots) {
      const r = Math.hypot(x - sx, y - sy);
      const rim = (edge: number) => 1 / (1 + Math.exp((r - edge) / 0.8));
      level *= 1 - depth * (rim(radius) - (hole > 0 ? rim(hole) : 0));
    }
    return level * (1 + noise * random.gauss());
  });
  return { shape, gain, sigma: new Float32Array(px).fill(noise), mask: new Uint8Array(px), levelAdu: 50_000 };
}

const spots: readonly Spot[] = [
  { x: 60, y: 60, radius: 12, hole: 0, depth: 0.06 },
  { x: 200, y: 90, radius: 20, hole: 7, depth: 0.03 },
  { x: 232, y: 108, radius: 15, hole: 5, depth: 0.04 }, // overlaps the one before
  { x: 130, y: 180, radius: 6, hole: 0, depth: 0.02 },
  { x: 312, y: 200, radius: 14, hole: 0, depth: 0.05 }, // cut by the edge
];

test("every dust shadow is found where it is, as wide and as deep as it is; nothing else is", () => {
  const found = findDust(flatWith(spots), { focalRatio: 10, pixelMicron: 4 });
  expect(found).toHaveLength(spots.length);
  for (const spot of spots) {
    const match = found.find(({ xPx, yPx }) => Math.hypot(xPx - spot.x, yPx - spot.y) < 3)!;
    expect(match, `spot at ${spot.x}, ${spot.y}`).toBeDefined();
    const cut = spot.x + spot.radius > shape.widthPx;
    expect(Math.abs(match.diameterPx / (2 * spot.radius) - 1)).toBeLessThan(0.15);
    expect(Math.abs(match.depth / spot.depth - 1), `depth at ${spot.x}, ${spot.y}`).toBeLessThan(
      cut ? 0.4 : 0.25,
    );
    expect(match.ring).toBe(spot.hole > 0);
    expect(match.distanceMm).toBeCloseTo((match.diameterPx * 4 * 10) / 1000, 6);
  }
});

test("a clean flat has no dust", () => {
  expect(findDust(flatWith([]))).toEqual([]);
});

test("gradient, corners and a hot spot are measured", () => {
  const shaped = flatShape(flatWith([], { bump: 0.05 }))!;
  expect(shaped.hotSpot!.excess).toBeGreaterThan(0.01);
  expect(Math.hypot(shaped.hotSpot!.xPx - 100, shaped.hotSpot!.yPx - 80)).toBeLessThan(30);
  const even = flatShape(flatWith([]))!;
  expect(even.hotSpot).toBeUndefined();
  expect(even.gradientPeakToPeak).toBeCloseTo(0.03, 2);
  expect(Math.abs(even.gradientDegrees)).toBeLessThan(5);
  expect(even.lowOrder.x2).toBeCloseTo(0.085, 2);
  expect(even.cornerOverCentre).toBeCloseTo(0.85, 1);
});

test("vignetting off the middle is no gradient, however strong; light from one side is", () => {
  const drawn = (light: (x: number, y: number) => number): Flat => {
    const gain = Float32Array.from({ length: px }, (_, i) =>
      light(
        (2 * (i % shape.widthPx)) / shape.widthPx - 1,
        (2 * Math.floor(i / shape.widthPx)) / shape.heightPx - 1,
      ),
    );
    return {
      shape,
      gain,
      sigma: new Float32Array(px).fill(0.001),
      mask: new Uint8Array(px),
      levelAdu: 40_000,
    };
  };
  const bowl = drawn((x, y) => 1 - 0.2 * ((x - 0.2) ** 2 + (y + 0.2) ** 2));
  expect(flatShape(bowl)!.gradientPeakToPeak).toBeGreaterThan(0.15);
  const verdicts = judgeMaster(bowl, {}).figures.map(({ id, verdict }) => `${id} ${verdict}`);
  expect(verdicts).toContain("gradient good");
  expect(verdicts).toContain("corner good");
  const tilted = judgeMaster(
    drawn((x, y) => (1 - 0.08 * (x ** 2 + y ** 2)) * (1 + 0.15 * x)),
    {},
  );
  expect(tilted.figures.find(({ id }) => id === "gradient")).toMatchObject({ verdict: "usable" });
});

test("the radial profile falls from the centre of the light outwards", () => {
  const { centrePx, rings } = radialProfile(flatWith([]));
  expect(centrePx.xPx).toBeGreaterThan(150);
  expect(rings.at(0)!.median).toBeGreaterThan(rings.at(-4)!.median);
});

test("a hundredth of a picture of the Sun in the flat is found, none is not", () => {
  const random = new Random(4);
  const sun = Float32Array.from({ length: px }, (_, i) => {
    const [x, y] = [(i % shape.widthPx) - 150, Math.floor(i / shape.widthPx) - 125];
    const r = Math.hypot(x, y) / 95;
    return r < 1 ? (1 - 0.4 * (1 - Math.sqrt(1 - r * r))) * 40_000 * (1 + 0.02 * random.gauss()) : 400;
  });
  const clean = flatWith(spots);
  const none = leftoverSun(clean, sun, shape)!;
  expect(Math.abs(none.share)).toBeLessThan(4 * none.shareSigma);
  const mean = sun.reduce((a, b) => a + b) / px;
  const tainted = { ...clean, gain: clean.gain.map((gain, i) => gain * (0.99 + (0.01 * sun[i]!) / mean)) };
  const left = leftoverSun(tainted, sun, shape)!;
  expect(left.share).toBeCloseTo(0.01, 3);
  expect(left.share).toBeGreaterThan(5 * left.shareSigma);
});

test("a proof names what keeps a flat from being good, with the limits and what to do", () => {
  const flat = flatWith(spots, { noise: 0.004 });
  const meanAdu = flat.gain.map((gain, i) => 40_000 * gain * (i % shape.widthPx < 160 ? 1 : 1.004));
  const proof = proveFlat({
    flat,
    series: { frameCount: 10, clippedFraction: 0, growth: [], halves: undefined },
    upperEdge: { median: 0.7, least: 0.69, most: 0.71 },
    independent: { meanAdu, sigmaAdu: meanAdu.map(() => 20), mask: new Uint8Array(px), frameCount: 8 },
    leak: { fraction: 0.008, sigmaFraction: 1e-4 },
    known: {},
    dust: [],
  });
  expect(proof.dust, "not searched again where it was").toEqual([]);
  const verdicts = Object.fromEntries(proof.figures.map(({ id, verdict }) => [id, verdict]));
  expect(verdicts).toMatchObject({
    upperEdge: "usable",
    noise: "usable",
    clipped: "good",
    leak: "bad",
    corner: "good",
  });
  expect(proof.verdict).toBe("bad");
  expect(proof.reasons.join("\n")).toContain(
    "stray light over the flat's level 0.8 % (good up to 0.1 %, usable up to 0.5 %)",
  );
});

test("what is masked has no say: a flat speaks for the rest of the frame, and is no good for the whole", () => {
  const flat = flatWith([]);
  const verdictWith = (share: number, bit: number) => {
    const mask = Uint8Array.from({ length: px }, (_, i) => (i < share * px ? bit : 0));
    const { figures } = judgeMaster({ ...flat, mask }, {}, []);
    const trusted = figures.find(({ id }) => id === "trusted")!;
    return { ...trusted, words: describeVerdict(worstVerdict(figures), figures) };
  };
  expect(verdictWith(0.005, maskBits.unhealthy)).toMatchObject({
    verdict: "good",
    words: "good, for 99.5 % of the frame",
  });
  const clipped = verdictWith(0.96, maskBits.clipped);
  expect(clipped).toMatchObject({ verdict: "bad", words: "bad, for 4 % of the frame" });
  expect(clipped.whatToDo).toContain("96 % is clipped. Shorten the exposure");
  expect(verdictWith(0.87, maskBits.unlit)).toMatchObject({ verdict: "bad" });
  expect(verdictWith(0.4, maskBits.unlit).whatToDo).toContain("take the flat by diffuser");
  expect(verdictWith(0.4, maskBits.unlit)).toMatchObject({ verdict: "usable" });
});
