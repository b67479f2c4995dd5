import { readdirSync } from "node:fs";
import { join } from "node:path";
import { expect, test } from "vitest";
import { FitsFile } from "../../drivers/formats/fits-file.ts";
import { checkWorld, openStage, tinyScene } from "../stage/stage.ts";

const plan = `plan: day
sun: { altitudeDegreesMin: 20 }
camera: { gain: 40, offset: 12, region: { xPx: 8, yPx: 4, widthPx: 80, heightPx: 64 }, sensorCelsius: -4 }
steps:
  - centre
  - leak-check: { frames: 4 }
  - flat: { blur: diffuser, frames: 8, proveLight: false }
  - images: { frames: 2 }
`;

test.each(["indi", "alpaca"] as const)(
  "%s: flat, dark and images are taken with the settings that the plan names, and all are put back",
  async (protocol) => {
    await using run = await openStage({ scene: tinyScene, plan, rig: { protocol } });
    const warnings: string[] = [];
    const report = await run.run({ onWarning: (text) => void warnings.push(text) });
    expect(report).toMatchObject({ ended: "completed", notAsFound: [] });
    const image = join("images", readdirSync(join(report.folder, "images"))[0]!);
    for (const name of ["flat-master.fits", "dark-master.fits", image]) {
      using file = FitsFile.open(join(report.folder, name));
      const { header } = file.hdus[0]!;
      expect([header.number("NAXIS1"), header.number("NAXIS2")], name).toEqual([80, 64]);
      expect([header.number("GAIN"), header.number("OFFSET")], name).toEqual([40, 12]);
      expect(Math.abs(header.number("CCD-TEMP")! + 4), name).toBeLessThan(0.6);
    }
    expect(warnings.join("\n")).toContain("Flats are taken at gain 40");
    expect(run.differences()).toEqual([]);
    expect(checkWorld(run.world)).toEqual([]);
  },
);

test("what the camera can't be set to is refused before anything changes", async () => {
  for (const [camera, words] of [
    ["{ gain: 99999 }", "gain"],
    ["{ region: { xPx: 50, yPx: 0, widthPx: 90, heightPx: 40 } }", "region"],
  ] as const) {
    await using run = await openStage({
      scene: tinyScene,
      plan: plan.replace(/camera: .*/, `camera: ${camera}`),
    });
    const report = await run.run();
    expect(report.exitCode, camera).toBe(2);
    expect(report.failure?.message ?? JSON.stringify(report), camera).toContain(words);
    expect(run.differences(), camera).toEqual([]);
  }
});

test("a temperature beyond the cooler's reach ends the run before anything is opened; the rig is put back", async () => {
  const cold = plan.replace(/camera: .*/, "camera: { gain: 40, sensorCelsius: -90 }");
  await using run = await openStage({ scene: tinyScene, plan: cold });
  const report = await run.run();
  expect(report.exitCode).toBe(5);
  expect(report.failure?.message).toContain("-90");
  expect(report.record.steps).toEqual([]);
  expect(run.differences()).toEqual([]);
});
