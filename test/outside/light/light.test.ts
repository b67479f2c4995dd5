import { mkdtempSync, readFileSync, rmSync } from "node:fs";
import { tmpdir } from "node:os";
import { join } from "node:path";
import { afterAll, expect, test } from "vitest";
import { measureLight } from "../../../agent/imaging/light/measure-light.ts";
import { measureResponse, responseAt } from "../../../agent/imaging/light/sensor-response.ts";
import type { LightInput } from "../../../agent/imaging/light/solve-looks.ts";
import { loadFft } from "../../../agent/imaging/numerics/fft-library.ts";
import { runPython } from "../python.ts";

// Frames made by numpy alone: nothing of the product or of the simulator is in them.
const script = (name: string) => readFileSync(join(import.meta.dirname, name), "utf8");
const folder = mkdtempSync(join(tmpdir(), "evenfield-light-"));
afterAll(() => rmSync(folder, { recursive: true, force: true }));
const fft = await loadFft();
const shape = { widthPx: 480, heightPx: 360 };
const cross = { seed: 2, width: 480, height: 360, pattern: "cross", reach: 0.3 };

function measured(scene: "A" | "B", differs: Record<string, unknown>, asks: Partial<LightInput> = {}) {
  const file = join(folder, "looks.f32");
  const about = JSON.stringify({ scene, ...cross, ...differs });
  const truth = runPython(script("looks.py"), [about, file]) as {
    readonly radius: number;
    readonly disc: readonly [number, number];
    readonly blocks: readonly (readonly number[])[];
  };
  const bytes = readFileSync(file);
  const all = new Float32Array(bytes.buffer, bytes.byteOffset, bytes.length / 4);
  const pxCount = shape.widthPx * shape.heightPx;
  const pictures = Array.from({ length: all.length / pxCount }, (_, k) =>
    all.slice(k * pxCount, (k + 1) * pxCount),
  );
  const [flat, ...looks] = pictures;
  const mean = flat!.reduce((sum, value) => sum + value, 0) / pxCount;
  const disc = { x: truth.disc[0], y: truth.disc[1], radiusPx: truth.radius };
  const light = measureLight(fft, {
    ...{ shape, looks, ...asks, ...(scene === "A" ? { disc } : {}) },
    flat: { gain: flat!.map((value) => value / mean), mask: new Uint8Array(pxCount) },
  });
  if ("notMeasured" in light) throw new Error(light.notMeasured);
  return { light, blocks: truth.blocks.flat() };
}

/** Largest error that is beyond five sigma. */
function standingError({ map }: ReturnType<typeof measured>["light"]): number {
  return map.error.reduce(
    (most, value, b) => (Math.abs(value) > 5 * map.sigma[b]! ? Math.max(most, Math.abs(value)) : most),
    0,
  );
}

test.each(["A", "B"] as const)(
  "scene %s: an even flat is even, a patch and a fall to the corners are seen",
  (scene) => {
    const even = measured(scene, {});
    expect(standingError(even.light)).toBe(0);
    expect(even.light.withoutCurvature.rms).toBeLessThan(0.0003);
    expect(even.light.ghosts.moves).toBeUndefined();
    const patch = measured(scene, { error: "patch", size: 0.01 }).light;
    expect(standingError(patch)).toBeGreaterThan(0.004);
    if (scene === "B")
      expect(standingError(measured(scene, { error: "fall-off", size: 0.03 }).light)).toBeGreaterThan(0.004);
  },
);

test("a sheet that lets 1 % through clear, and a reflection that moves against the Sun, are told by their cause", () => {
  const { clearShare } = measured("A", { error: "share", size: 0.01 }, { asksClearShare: true }).light;
  expect(Math.abs(clearShare!.share - 0.01)).toBeLessThan(0.001);
  expect(measured("B", { ghost: 0.01, ghostMotion: -1 }).light.ghosts.moves).toBe(-1);
});

test("a response that bends, from a ladder whose light drifts by 1 %", () => {
  for (const [curve, size] of [
    ["quadratic", 0.05],
    ["none", 0],
  ] as const) {
    const ladder = runPython(script("ladder.py"), [JSON.stringify({ seed: 3, curve, size })]);
    const response = measureResponse(ladder.steps)!;
    const off = (ladder.at as number[]).map((level, k) => responseAt(response, level) - ladder.truth[k]);
    const mean = off.reduce((sum, value) => sum + value, 0) / off.length;
    const rms = Math.sqrt(off.reduce((sum, value) => sum + (value - mean) ** 2, 0) / off.length);
    expect(rms, curve).toBeLessThan(0.001);
  }
});
