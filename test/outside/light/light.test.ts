import { readFileSync } from "node:fs";
import { join } from "node:path";
import { expect, test } from "vitest";
import type { LightMeasurement } from "../../../agent/imaging/light/measure-light.ts";
import { measureResponse, responseAt } from "../../../agent/imaging/light/sensor-response.ts";
import { runPython } from "../python.ts";
import { measureLooks } from "./measure-looks.ts";

const ladderScript = readFileSync(join(import.meta.dirname, "ladder.py"), "utf8");
const cross = { seed: 2 };
const measured = (...[scene, differs, asks]: Parameters<typeof measureLooks>) =>
  measureLooks(scene, { ...cross, ...differs }, asks);

/** Largest error that is beyond five sigma. */
function standingError({ map }: LightMeasurement): number {
  return map.error.reduce(
    (most, value, b) => (Math.abs(value) > 5 * map.sigma[b]! ? Math.max(most, Math.abs(value)) : most),
    0,
  );
}

test.each(["A", "B"] as const)(
  "scene %s: an even flat is even, a patch and a fall to the corners are seen",
  async (scene) => {
    const even = await measured(scene, {});
    expect(standingError(even.light)).toBe(0);
    expect(even.light.withoutCurvature.rms).toBeLessThan(0.0003);
    expect(even.light.ghosts.moves).toBeUndefined();
    const patch = (await measured(scene, { error: "patch", size: 0.01 })).light;
    expect(standingError(patch)).toBeGreaterThan(0.004);
    if (scene === "B")
      expect(standingError((await measured(scene, { error: "fall-off", size: 0.03 })).light)).toBeGreaterThan(
        0.004,
      );
  },
);

test("a sheet that lets 1 % through clear, and a reflection that moves against the Sun, are told by their cause", async () => {
  const { clearShare } = (await measured("A", { error: "share", size: 0.01 }, { asksClearShare: true }))
    .light;
  expect(Math.abs(clearShare!.share - 0.01)).toBeLessThan(0.001);
  expect((await measured("B", { ghost: 0.01, ghostMotion: -1 })).light.ghosts.moves).toBe(-1);
});

test("a response that bends, from a ladder whose light drifts by 1 %", () => {
  for (const [curve, size] of [
    ["quadratic", 0.05],
    ["none", 0],
  ] as const) {
    const ladder = runPython(ladderScript, [JSON.stringify({ seed: 3, curve, size })]);
    const response = measureResponse(ladder.steps)!;
    const off = (ladder.at as number[]).map((level, k) => responseAt(response, level) - ladder.truth[k]);
    const mean = off.reduce((sum, value) => sum + value, 0) / off.length;
    const rms = Math.sqrt(off.reduce((sum, value) => sum + (value - mean) ** 2, 0) / off.length);
    expect(rms, curve).toBeLessThan(0.001);
  }
});
