import { expect, test } from "vitest";
import {
  type LadderStep,
  measureResponse,
  responseAt,
  responseEffect,
} from "../../../../agent/imaging/light/sensor-response.ts";
import { Random } from "../../../../drivers/kit/random.ts";

const seed = 20261202;
const random = new Random(seed);
const gains = Array.from({ length: 300 }, (_, k) => 1 - 0.3 * (k / 300) ** 2);
const levels = [0.15, 0.3, 0.45, 0.6, 0.75, 0.9, 0.9, 0.75, 0.6, 0.45, 0.3, 0.15];

function ladder(measured: (level: number) => number, drift: number): LadderStep[] {
  return levels.map((level, k) => {
    const light = 1 + drift * (k / 11 - 0.5) + 0.1 * drift * random.gauss();
    return {
      exposureSeconds: level,
      seconds: k,
      levels: gains.map((gain) => measured(level * light * gain) * (1 + 0.0005 * random.gauss())),
    };
  });
}

/** Largest error over 10 to 90 %, the mean taken out: a constant is the gain's. */
function worstError(steps: readonly LadderStep[], measured: (level: number) => number): number {
  const response = measureResponse(steps)!;
  const at = Array.from({ length: 33 }, (_, k) => 0.1 + (0.8 * k) / 32);
  const off = at.map((level) => responseAt(response, measured(level)) - Math.log(measured(level) / level));
  const mean = off.reduce((sum, value) => sum + value, 0) / off.length;
  return Math.max(...off.map((value) => Math.abs(value - mean)));
}

test("a response that bends by 5 % at full scale is found, and none where none is", () => {
  const bent = (level: number) => level * (1 - 0.05 * level);
  expect(worstError(ladder(bent, 0.01), bent), `seed ${seed}`).toBeLessThan(0.0025);
  expect(
    worstError(
      ladder((level) => level, 0.01),
      (level) => level,
    ),
  ).toBeLessThan(0.0025);
});

test("what a bent response does to pictures at another level than the flat's, with its sigma", () => {
  const bent = (level: number) => level * (1 - 0.05 * level);
  const at = { flatLevel: 0.85, pictureLevel: 0.35 };
  const truth = gains.map((gain) => Math.log(1 - 0.05 * 0.85 * gain) - Math.log(1 - 0.05 * 0.35 * gain));
  const mean = truth.reduce((sum, value) => sum + value, 0) / truth.length;
  const rms = Math.sqrt(truth.reduce((sum, value) => sum + (value - mean) ** 2, 0) / truth.length);
  const found = responseEffect(measureResponse(ladder(bent, 0.01))!, gains, at);
  expect(Math.abs(found.rms - rms), `seed ${seed}`).toBeLessThan(Math.max(3 * found.sigma, 0.0002));
  const linear = responseEffect(measureResponse(ladder((level) => level, 0.01))!, gains, at);
  expect(linear.rms).toBeLessThan(Math.max(3 * linear.sigma, 0.0002));
});

test("too few frames, or all of one level, tell nothing", () => {
  const steps = ladder((level) => level, 0);
  expect(measureResponse(steps.slice(0, 5))).toBeUndefined();
  expect(
    measureResponse(Array.from({ length: 8 }, (_, k) => ({ ...steps[3]!, seconds: k }))),
  ).toBeUndefined();
});
