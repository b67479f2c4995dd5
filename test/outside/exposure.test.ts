import { expect, test } from "vitest";
import type { LevelReading } from "../../agent/imaging/exposure/frame-level.ts";
import { adviseExposure } from "../../agent/imaging/exposure/tune.ts";
import { check } from "./check.ts";

/** A perfectly even, noise-free frame. */
function evenFrame(exposureMs: number, pedestal: number, perMs: number, top: number): LevelReading {
  const level = Math.min(top, pedestal + perMs * exposureMs);
  return {
    exposureSeconds: exposureMs / 1000,
    edgeAdu: level,
    medianLitAdu: level,
    topAdu: top,
    clippedFraction: level >= top ? 1 : 0,
    lowClippedFraction: 0,
    meanAdu: level,
    meanSigmaAdu: 0,
    noiseVarianceAdu2: 0,
    blockMeansAdu: new Float64Array(16).fill(level),
    blockPx: 256,
  };
}

test("the exposure law: one frame below the target gives the next exposure", () => {
  const { inputs, expected, tolerance } = check("exposure.secant");
  const setting = {
    exposureSeconds: { min: 1e-4, max: 10 },
    pedestalAdu: inputs.pedestal,
    targetFraction: inputs.target,
  };
  const reading = evenFrame(inputs.startsMs[0], inputs.pedestal, inputs.dnPerMs, inputs.fullScale);
  expect(reading.edgeAdu).toBe(expected.edgeAt1ms);
  const advice = adviseExposure(setting, [reading]);
  if (advice.kind !== "expose") throw new Error(`expected an exposure, not ${advice.kind}`);
  expect(Math.abs(advice.exposureSeconds * 1000 - expected.nextMs)).toBeLessThan(tolerance.abs);
});

test("from a clipped frame it comes down and ends at the same exposure", () => {
  const { inputs, expected, tolerance } = check("exposure.secant");
  const setting = {
    exposureSeconds: { min: 1e-4, max: 10 },
    pedestalAdu: inputs.pedestal,
    targetFraction: inputs.target,
  };
  const readings = [evenFrame(inputs.startsMs[1], inputs.pedestal, inputs.dnPerMs, inputs.fullScale)];
  for (let frame = 0; frame < 6; frame++) {
    const advice = adviseExposure(setting, readings);
    if (advice.kind === "done") {
      expect(Math.abs(advice.exposureSeconds * 1000 - expected.finalMs)).toBeLessThan(tolerance.abs);
      return;
    }
    if (advice.kind !== "expose") throw new Error(`expected an exposure, not ${advice.kind}`);
    readings.push(
      evenFrame(advice.exposureSeconds * 1000, inputs.pedestal, inputs.dnPerMs, inputs.fullScale),
    );
  }
  throw new Error("no end after six frames");
});
