import { expect, test } from "vitest";
import { matchPair } from "../../../../agent/imaging/match/match-since.ts";
import { smallStructure } from "../../../../agent/imaging/match/small-structure.ts";
import { loadFft } from "../../../../agent/imaging/numerics/fft-library.ts";
import { Random } from "../../../../drivers/kit/random.ts";
import { sumWaves } from "./sum-waves.ts";

const fft = await loadFft();
const shape = { widthPx: 320, heightPx: 240 };
const px = shape.widthPx * shape.heightPx;
const dust = [60, 130, 200, 260].flatMap((xPx, k) =>
  [45, 120, 195].map((yPx, j) => ({
    xPx: xPx + 9 * j,
    yPx: yPx - 4 * k,
    diameterPx: 14 + 3 * j,
    depth: 0.05,
  })),
);

interface Place {
  readonly x: number;
  readonly y: number;
}

function shadows({ x: dx, y: dy }: Place): Float32Array {
  return Float32Array.from({ length: px }, (_, i) => {
    const [x, y] = [(i % shape.widthPx) - dx, Math.floor(i / shape.widthPx) - dy];
    return dust.reduce((level, { xPx, yPx, diameterPx, depth }) => {
      const r = Math.sqrt((x - xPx) ** 2 + (y - yPx) ** 2);
      return r > diameterPx ? level : level * (1 - depth * 0.5 * (1 - Math.tanh((r - diameterPx / 2) / 1.5)));
    }, 1);
  });
}

/** Grains of 8 to 20 px, 4 % rms. */
function grains(seed: number, at: Place): Float32Array {
  const waves = sumWaves(new Random(seed), shape, { count: 60, periodPx: [8, 20], shiftPx: at });
  return Float32Array.from(waves, (wave) => 0.04 * wave);
}

const still = { x: 0, y: 0 };
const flat = shadows(still);

/** An image over the flat: the Sun, of which that share is another by now, and the dust where it lies now. */
function image(seed: number, { moved = still, sunAt = still, changed = 0 }) {
  const noise = new Random(seed);
  const [sun, other, now] = [grains(1, sunAt), grains(2, sunAt), shadows(moved)];
  return smallStructure(
    sun.map(
      (one, i) =>
        ((1 + (1 - changed) * one + changed * other[i]!) * now[i]! * (1 + 0.01 * noise.gauss())) / flat[i]!,
    ),
    shape,
  );
}

const structure = smallStructure(
  flat.map((gain) => gain),
  shape,
);
const earlier = image(10, {});
const since = (seed: number, look: Parameters<typeof image>[1]) =>
  matchPair(fft, structure, earlier, image(seed, look), dust);

test("the Sun wandered by a pixel and the dust stayed: that is seen", () => {
  const found = since(11, { sunAt: { x: 1.3, y: -0.6 } });
  expect(found.says).toBe("fits");
  expect(Math.hypot(found.shift.x, found.shift.y)).toBeLessThan(0.2);
});

test.each([
  [{ x: 0.8, y: -0.6 }, 0],
  [{ x: -3, y: 2 }, 0],
  [{ x: 4, y: 5 }, 0.1],
])("dust that moved by %o under a Sun of which %d is another: seen, and how far", (moved, changed) => {
  const found = since(12, { moved, sunAt: { x: -0.7, y: 0.4 }, changed });
  expect(found.says).toBe("moved");
  expect(Math.hypot(found.shift.x - moved.x, found.shift.y - moved.y)).toBeLessThan(
    0.15 + 0.25 * Math.hypot(moved.x, moved.y),
  );
});

test("however much the Sun has changed, it is never said that dust moved that did not, nor that it stayed when it went", () => {
  for (const [k, changed] of [0.1, 0.2, 0.4, 0.7, 1].entries()) {
    expect(since(20 + k, { changed }).says).not.toBe("moved");
    expect(since(30 + k, { changed, moved: { x: 1.5, y: 1 } }).says).not.toBe("fits");
  }
  expect(since(40, { changed: 1 }).says).toBe("untold");
});
