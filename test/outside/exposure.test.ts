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

const one = check("exposure.secant");
const { inputs, expected } = one;
const setting = {
  exposureSeconds: { min: 1e-4, max: 10 },
  pedestalAdu: inputs.pedestal,
  targetFraction: inputs.target,
};
const frameAt = (exposureMs: number) =>
  evenFrame(exposureMs, inputs.pedestal, inputs.dnPerMs, inputs.fullScale);

test("the exposure law: one frame below the target gives the next exposure", () => {
  const reading = frameAt(inputs.startsMs[0]);
  one.agrees("edgeAt1ms", reading.edgeAdu);
  const advice = adviseExposure(setting, [reading]);
  if (advice.kind !== "expose") throw new Error(`expected an exposure, not ${advice.kind}`);
  one.agrees("nextMs", advice.exposureSeconds * 1000);
});

test("from a clipped frame it comes down to the same exposure, in fewer clipped and dim frames than listed", () => {
  const readings = [frameAt(inputs.startsMs[1])];
  for (let frame = 0; frame < 6; frame++) {
    const advice = adviseExposure(setting, readings);
    if (advice.kind === "done") {
      one.agrees("finalMs", advice.exposureSeconds * 1000);
      const target = inputs.target * inputs.fullScale;
      const before = readings.findIndex(
        ({ edgeAdu }) => Math.abs(edgeAdu - target) < 0.02 * inputs.fullScale,
      );
      expect(before).toBeLessThan(expected.bracketedMs.length);
      return;
    }
    if (advice.kind !== "expose") throw new Error(`expected an exposure, not ${advice.kind}`);
    readings.push(frameAt(advice.exposureSeconds * 1000));
  }
  throw new Error("no end after six frames");
});
