import { join } from "node:path";
import { expect, test } from "vitest";
import { registerInspect } from "../../agent/commands/inspect.ts";
import { FitsFile } from "../../drivers/formats/fits-file.ts";
import { evenfield } from "../agent/commands/command-host.ts";
import { smallScene } from "../stage/scenes.ts";
import { openStage } from "../stage/stage.ts";

const planText = `plan: conversion
sun: { altitudeDegreesMin: 20 }
steps:
  - centre
  - leak-check: { frames: 16 }
  - flat: { blur: diffuser, frames: 24 }
  - images: { frames: 1 }
`;

function headerOf(path: string) {
  using file = FitsFile.open(path);
  return file.image().header;
}

test.each([
  ["as it is", smallScene],
  [
    "with wells of 50 000 electrons and 14 bits",
    {
      ...smallScene,
      camera: { ...smallScene.camera, bits: 14, fullWellElectrons: 50_000, electronsPerCodeAtGain0: 3 },
    },
  ],
] as const)(
  "the camera %s: its conversion and noise, measured on the flat's frames, are in every later file",
  async (_, scene) => {
    await using run = await openStage({ scene, plan: planText });
    const report = await run.run();
    const truth = run.simulator.painter.truth({ gain: 0 });
    const { conversion } = report.record.findings;
    expect(Math.abs(conversion!.electronsPerAdu / truth.electronsPerAdu - 1)).toBeLessThan(0.01);
    const rounding = (scene.camera.electronsPerCodeAtGain0 ** 2 / 12) ** 0.5;
    expect(conversion!.darkNoiseElectrons / Math.hypot(truth.readNoiseElectrons, rounding)).toBeCloseTo(1, 1);
    for (const file of ["flat-master.fits", "images/image-0001.fits"])
      expect(headerOf(join(run.folder, "run", file)).number("EGAIN"), file).toBeCloseTo(
        conversion!.electronsPerAdu,
        4,
      );
    expect(headerOf(join(run.folder, "run/dark-master.fits")).has("EGAIN")).toBe(false); // not yet known then
    const told = await evenfield(registerInspect, [
      "inspect",
      join(run.folder, "run/flat-master.fits"),
      "--json",
    ]);
    const limit = told.json.files[0].figures.find((figure: { id: string }) => figure.id === "photonLimit");
    expect(limit.value).toBeGreaterThan(0.97);
    expect(limit.value).toBeLessThan(1.1);
  },
);
