import { readFileSync } from "node:fs";
import { join } from "node:path";
import { expect, test } from "vitest";
import { inspectFile } from "../../agent/files/inspect/inspect-file.ts";
import { loadFft } from "../../agent/imaging/numerics/fft-library.ts";
import type { FlatFound } from "../../agent/procedures/flat/flat-request.ts";
import { smallScene } from "../stage/scenes.ts";
import { openStage } from "../stage/stage.ts";
import { driftPlanText, driftScene } from "./drift-scene.ts";
import { dustyScene } from "./slipping-scene.ts";

const firstFlat = readFileSync(join(import.meta.dirname, "../../plans/first-flat.yaml"), "utf8");
const fewFrames = firstFlat.replace("frames: 40", "frames: 8");
const darkCorners = {
  ...smallScene,
  rig: { ...smallScene.rig, vignetting: { atCorner: 0.62, offsetXPx: 11, offsetYPx: -7 } },
};

test.each([
  ["nine specks of dust", { scene: dustyScene, plan: firstFlat }, "good"],
  ["too few frames", { scene: smallScene, plan: fewFrames }, "usable"],
  ["corners that are honestly dark", { scene: darkCorners, plan: firstFlat }, "usable"],
  ["a drift", { scene: driftScene, plan: driftPlanText }, "good"],
] as const)(
  "inspect says of the flat of a run what the run's own proof says: %s",
  async (_, options, verdict) => {
    await using run = await openStage(options);
    const report = await run.run();
    const { proof, files } = report.record.steps.find(({ kind }) => kind === "flat")!.found as FlatFound;
    const inspected = inspectFile(join(run.folder, "run", files.flat), await loadFft());
    expect(report.verdict).toBe(verdict);
    expect(inspected.verdict).toBe(verdict);
    const both = inspected.figures.filter(({ id }) => proof.figures.some((figure) => figure.id === id));
    expect(both.map(({ id }) => id)).toEqual(inspected.figures.map(({ id }) => id));
    expect(both.length).toBeGreaterThanOrEqual(6);
    for (const { value, sigma: _sigma, ...figure } of both) {
      const { value: inRun, sigma: _ofRun, ...ofRun } = proof.figures.find(({ id }) => id === figure.id)!;
      expect(figure).toEqual(ofRun);
      expect(Math.abs(value - inRun), figure.id).toBeLessThanOrEqual(1e-2 * Math.abs(inRun) + 1e-6);
    }
  },
);
