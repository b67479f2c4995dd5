import { expect, test } from "vitest";
import { FrameNoise } from "../../../../sim-devices/scene/sensor/frame-noise.ts";

const count = 2_000_000;
function gaussians(seed: number, frame: number): Float32Array {
  const out = new Float32Array(count);
  new FrameNoise(seed, frame).fillGauss(out, count);
  return out;
}

/** P(Z > z), from tables of the normal law. */
const tails: readonly [number, number][] = [
  [0, 0.5],
  [0.5, 0.30853754],
  [1, 0.15865525],
  [1.5, 0.0668072],
  [2, 0.02275013],
  [2.5, 0.00620967],
  [3, 0.0013499],
  [3.5, 0.00023263],
  [4, 0.00003167],
];

test("normal numbers have the normal law's moments and tails", () => {
  const z = gaussians(11, 3);
  const sums = [0, 0, 0, 0];
  for (let i = 0; i < count; i++) {
    const x = z[i]!;
    sums[0]! += x;
    sums[1]! += x * x;
    sums[2]! += x * x * x;
    sums[3]! += x * x * x * x;
  }
  // Standard errors of the moments of n normal numbers: 1, √2, √15, √96 over √n.
  const n = Math.sqrt(count);
  expect(Math.abs(sums[0]! / count)).toBeLessThan(4 / n);
  expect(Math.abs(sums[1]! / count - 1)).toBeLessThan((4 * Math.SQRT2) / n);
  expect(Math.abs(sums[2]! / count)).toBeLessThan((4 * Math.sqrt(15)) / n);
  expect(Math.abs(sums[3]! / count - 3)).toBeLessThan((4 * Math.sqrt(96)) / n);
  for (const [at, p] of tails) {
    for (const side of [1, -1]) {
      const seen = z.reduce((total, x) => total + (side * x > at ? 1 : 0), 0);
      expect(Math.abs(seen - p * count), `tail beyond ${side * at}`).toBeLessThan(
        4.5 * Math.sqrt(p * count) + 1,
      );
    }
  }
});

test("the bulk is even on a fine scale: chi square over 200 equal-chance bins of the uniforms", () => {
  const noise = new FrameNoise(5, 0);
  const bins = new Float64Array(200);
  for (let i = 0; i < count; i++) bins[Math.floor(200 * noise.uniform())]!++;
  const expected = count / 200;
  const chi2 = bins.reduce((sum, seen) => sum + (seen - expected) ** 2 / expected, 0);
  expect(Math.abs(chi2 - 199)).toBeLessThan(4 * Math.sqrt(2 * 199));
});

test("numbers do not follow from their neighbours, nor frames from each other", () => {
  const a = gaussians(11, 3);
  const b = gaussians(11, 4);
  const c = gaussians(12, 3);
  const correlation = (x: Float32Array, y: Float32Array, lag: number) => {
    let sum = 0;
    for (let i = 0; i + lag < count; i++) sum += x[i]! * y[i + lag]!;
    return sum / Math.sqrt(count);
  };
  for (const lag of [1, 2, 3, 4, 17, 320, 640, 1280])
    expect(Math.abs(correlation(a, a, lag))).toBeLessThan(4.5);
  for (const other of [b, c])
    for (const lag of [0, 1, 2]) expect(Math.abs(correlation(a, other, lag))).toBeLessThan(4.5);
});

test("filled at once or drawn one by one, the numbers are the same, and the same again for the same frame", () => {
  const one = new FrameNoise(9, 77);
  const out = new Float32Array(5000);
  new FrameNoise(9, 77).fillGauss(out, 5000);
  for (let i = 0; i < 5000; i++) expect(Math.fround(one.gauss())).toBe(out[i]!);
});

test.each([0.003, 0.2, 1, 6, 25, 39.9])("Poisson counts of mean %s follow the law count by count", (mean) => {
  const noise = new FrameNoise(21, Math.round(1000 * mean));
  const draws = 400_000;
  const seen = new Float64Array(200);
  for (let i = 0; i < draws; i++) seen[noise.poisson(mean)]!++;
  let p = Math.exp(-mean);
  let chi2 = 0;
  let bins = 0;
  let restSeen = 0;
  let restExpected = 0;
  for (let k = 0; k < 200; k++) {
    const expected = p * draws;
    if (expected > 20) {
      chi2 += (seen[k]! - expected) ** 2 / expected;
      bins++;
    } else {
      restSeen += seen[k]!;
      restExpected += expected;
    }
    p *= mean / (k + 1);
  }
  if (restExpected > 20) {
    chi2 += (restSeen - restExpected) ** 2 / restExpected;
    bins++;
  }
  expect(chi2).toBeLessThan(bins - 1 + 4.5 * Math.sqrt(2 * bins));
});
