import { expect, test } from "vitest";
import { measureResponse } from "../../../../agent/imaging/light/sensor-response.ts";
import {
  straightenCounts,
  straightenMaster,
  straightLevel,
} from "../../../../agent/imaging/light/straighten.ts";

/** A sensor that is 5 % too faint at full scale. */
const measured = (level: number) => level * (1 - 0.05 * level);
const topAdu = 60_000;

test("levels of a bent sensor become proportional to the light within 0.05 %, by a ladder of exposures", () => {
  const gains = Array.from({ length: 40 }, (_, k) => 0.7 + 0.01 * k);
  const seconds = [1, 0.6, 0.35, 0.18, 0.18, 0.35, 0.6, 1];
  const ladder = seconds.map((exposureSeconds, k) => ({
    exposureSeconds,
    seconds: k,
    levels: gains.map((gain) => measured(0.8 * gain * exposureSeconds * (1 + 0.0004 * k))),
  }));
  const curve = { ...measureResponse(ladder)!, topAdu };
  const ratios = [0.1, 0.2, 0.4, 0.6, 0.85].map(
    (level) => straightLevel(curve, topAdu * measured(level)) / level,
  );
  for (const ratio of ratios) expect(Math.abs(ratio / ratios[2]! - 1)).toBeLessThan(0.0005);
  expect(Math.abs(measured(0.85) / 0.85 / (measured(0.4) / 0.4) - 1)).toBeGreaterThan(0.02);
});

test("a master's sigma goes with the curve's slope; what lies below the dark stays; an image keeps its dark", () => {
  const curve = { coefficients: [-0.05, 0, 0] as const, topAdu };
  const master = { meanAdu: new Float32Array([30_000, -3]), sigmaAdu: new Float32Array([10, 10]) };
  const { meanAdu, sigmaAdu } = straightenMaster(master, curve);
  expect(meanAdu[0]!).toBeCloseTo(30_000 * Math.exp(0.025), 1);
  expect(meanAdu[1]!).toBe(-3);
  const slope = (straightLevel(curve, 30_001) - straightLevel(curve, 29_999)) / 2;
  expect(sigmaAdu[0]!).toBeCloseTo(10 * slope, 4);
  const image = straightenCounts(
    new Uint16Array([30_500, 480]),
    new Float32Array([500, 500]),
    curve,
    new Float32Array(2),
  );
  expect(image[0]!).toBeCloseTo(500 + 30_000 * Math.exp(0.025), 1);
  expect(image[1]!).toBe(480);
});
