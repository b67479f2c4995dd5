import { mkdtempSync, readFileSync, rmSync } from "node:fs";
import { tmpdir } from "node:os";
import { join } from "node:path";
import { type LightMeasurement, measureLight } from "../../../agent/imaging/light/measure-light.ts";
import type { LightInput } from "../../../agent/imaging/light/solve-looks.ts";
import { loadFft } from "../../../agent/imaging/numerics/fft-library.ts";
import { runPython } from "../python.ts";

// Frames made by numpy alone: nothing of the product or of the simulator is in them.
const script = readFileSync(join(import.meta.dirname, "looks.py"), "utf8");
const shape = { widthPx: 480, heightPx: 360 };
const usual = { width: shape.widthPx, height: shape.heightPx, pattern: "cross", reach: 0.3 };

/** The whole disc, or a frame well within it. */
export type LooksScene = "A" | "B";

/** Displaced looks and a flat as `looks.py` makes them, measured; and the flat's true error in blocks of 32 px. */
export async function measureLooks(
  scene: LooksScene,
  differs: Record<string, unknown>,
  asks: Partial<LightInput> = {},
): Promise<{ light: LightMeasurement; blocks: readonly number[] }> {
  const fft = await loadFft();
  const folder = mkdtempSync(join(tmpdir(), "evenfield-light-"));
  try {
    const file = join(folder, "looks.f32");
    const truth = runPython(script, [JSON.stringify({ scene, ...usual, ...differs }), file]) as {
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
  } finally {
    rmSync(folder, { recursive: true, force: true });
  }
}
