import { join } from "node:path";
import { expect, test } from "vitest";
import { FitsFile } from "../../drivers/formats/fits-file.ts";
import type { SceneSpec } from "../../sim-devices/scene/spec/scene-spec.ts";
import { checkWorld, openStage, sceneOfWidth } from "../stage/stage.ts";
import { flatOfRun } from "./flat-of-run.ts";

/** Of the red light of a narrow line next to nothing comes through the other dyes (common practice, no source). */
const behindArray = (scene: SceneSpec): SceneSpec => ({
  ...scene,
  camera: { ...scene.camera, mosaic: { pattern: "GRBG", red: 0.9, green: 0.08, blue: 0.03 } },
});

/** Begins in an odd row and an odd column, and has an odd row more than whole squares of the pattern. */
const planIn = (region: string, frames: number) => `plan: colour
sun: { altitudeDegreesMin: 20 }
camera: { region: { ${region} } }
steps:
  - centre
  - leak-check: { frames: 4 }
  - flat: { blur: diffuser, frames: ${frames}, darkFrames: 8 }
  - images: { frames: 1 }
`;
const smallPlan = planIn("xPx: 3, yPx: 5, widthPx: 180, heightPx: 131", 4);

const headerOf = (folder: string, name: string) => {
  using file = FitsFile.open(join(folder, name));
  return file.hdus[0]!.header;
};

test("the red pixels of a mosaic make a good flat, in a region that shifts the pattern", async () => {
  const plan = planIn("xPx: 3, yPx: 5, widthPx: 602, heightPx: 461", 32);
  await using run = await openStage({ scene: behindArray(sceneOfWidth(640)), plan });
  const report = await run.run();
  expect(report).toMatchObject({ ended: "completed", notAsFound: [] });
  const { found, master, errorOverExpected } = flatOfRun(run, report);
  expect(found).toMatchObject({ verdict: "good", reasons: [] });
  expect([master.widthPx, master.heightPx]).toEqual([301, 230]);
  expect(errorOverExpected).toBeLessThan(1.1); // of any other pixels it is many times that
  for (const header of [master.header, headerOf(report.folder, "images/image-0001.fits")]) {
    expect([header.text("CFACOLOR"), header.text("CFATYPE")]).toEqual(["red", "GRBG"]);
    expect(header.text("BAYERPAT")).toBeUndefined();
    expect([header.number("XBINNING"), header.number("PIXSIZE")]).toEqual([
      2,
      run.world.spec.camera.pixelMicron,
    ]);
  }
  expect(run.differences()).toEqual([]);
  expect(checkWorld(run.world)).toEqual([]);
});

test("over Alpaca the pattern is told as an offset of another; binning that was found is put back", async () => {
  const scene = behindArray(sceneOfWidth(192));
  const startsWith = { ...scene.startsWith, binning: 2 };
  await using run = await openStage({
    scene: { ...scene, startsWith },
    plan: smallPlan,
    rig: { protocol: "alpaca" },
  });
  const report = await run.run();
  expect(report).toMatchObject({ ended: "completed", notAsFound: [] });
  const { master, errorOverExpected } = flatOfRun(run, report);
  expect([master.widthPx, master.heightPx, master.header.text("CFATYPE")]).toEqual([90, 65, "GRBG"]);
  expect(errorOverExpected).toBeLessThan(1.2);
  expect(run.differences()).toEqual([]);
});

test("a pattern that is not the sensor's: the run ends, says whose light it is, and puts the rig back", async () => {
  const instead = { camera: "device: Scene Camera, filterArray: RGGB" };
  await using run = await openStage({
    scene: behindArray(sceneOfWidth(192)),
    plan: smallPlan,
    rig: { instead },
  });
  const report = await run.run();
  expect(report).toMatchObject({ ended: "failed", exitCode: 5, notAsFound: [] });
  expect(report.failure?.message).toContain("state the true pattern as `filterArray`");
  expect(run.differences()).toEqual([]);
});

test("with all colours images keep the mosaic and say its pattern from their own first pixel", async () => {
  const instead = { camera: "device: Scene Camera, colour: all" };
  const images = smallPlan.replace(/ {2}- (leak-check|flat).*\n/g, "");
  await using run = await openStage({
    scene: behindArray(sceneOfWidth(192)),
    plan: images,
    rig: { instead },
  });
  const report = await run.run();
  expect(report).toMatchObject({ ended: "completed", notAsFound: [] });
  const header = headerOf(report.folder, "images/image-0001.fits");
  expect(["BAYERPAT", "XBAYROFF", "YBAYROFF", "NAXIS1"].map((name) => header.value(name))).toEqual([
    "GBRG",
    0,
    0,
    180,
  ]);
});
