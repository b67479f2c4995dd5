import { readFileSync } from "node:fs";
import { join } from "node:path";
import { expect, test } from "vitest";
import { readPlan } from "../../plans/plan-file.ts";
import { readRigFile } from "../../plans/rig-file.ts";
import { goodPlan, goodRig } from "./broken-files.ts";

const folder = join(import.meta.dirname, "../../plans");
const text = (name: string) => readFileSync(join(folder, name), "utf8");

test("the first plan does the whole job: centre, leak check, flat of 40 by diffuser, 8 images", () => {
  const plan = readPlan(text("first-flat.yaml"), "first-flat.yaml");
  expect(plan.steps).toEqual([
    { step: "centre", toleranceFraction: 0.002, searchDegrees: 2, onFailure: "stop" },
    { step: "leak-check", limitFraction: 0.001, frames: 16, onFailure: "stop" },
    {
      step: "flat",
      blur: "diffuser",
      frames: 40,
      levelFraction: 0.85,
      onlyWhenNoneFits: false,
      proveLight: true,
      correctLight: false,
      correctResponse: false,
      onFailure: "stop",
    },
    {
      step: "images",
      frames: 8,
      levelFraction: 0.7,
      checkFlatEveryFrames: 25,
      whenFlatMoved: "tell",
      newFlatsMost: 2,
      onFailure: "stop",
    },
  ]);
});

test("the flat by drift asks for no leak check and no diffuser", () => {
  const plan = readPlan(text("flat-by-drift.yaml"), "flat-by-drift.yaml");
  expect(plan.steps).toEqual([
    { step: "centre", toleranceFraction: 0.002, searchDegrees: 2, onFailure: "stop" },
    {
      step: "flat",
      blur: "drift",
      frames: 40,
      driftRadiusFraction: 0.25,
      levelFraction: 0.8,
      onlyWhenNoneFits: false,
      proveLight: true,
      correctLight: false,
      correctResponse: false,
      onFailure: "stop",
    },
  ]);
});

test("the flat by defocus asks for no leak check, and for images in focus after it", () => {
  const plan = readPlan(text("flat-by-defocus.yaml"), "flat-by-defocus.yaml");
  expect(plan.steps.map(({ step }) => step)).toEqual(["centre", "flat", "images"]);
  expect(plan.steps[1]).toMatchObject({ blur: "defocus", frames: 40, levelFraction: 0.85 });
});

test("images all day: a kept flat will do, and a new one is taken when the camera has moved", () => {
  const [, , flat, images] = readPlan(text("images-all-day.yaml"), "images-all-day.yaml").steps;
  expect(flat).toMatchObject({ step: "flat", onlyWhenNoneFits: true });
  expect(images).toMatchObject({ frames: 400, checkFlatEveryFrames: 50, whenFlatMoved: "new-flat" });
});

test("the demo rig and the example read without a fault, and the example carries the cautions", () => {
  for (const name of ["demo-rig.yaml", "close-up-rig.yaml", "defocus-rig.yaml"])
    expect(readRigFile(text(name), name).devices.camera.device).toBe("Scene Camera");
  const example = readRigFile(text("rig-example.yaml"), "rig-example.yaml");
  expect(example.devices.diffuser).toEqual({ by: "hand" });
  for (const words of ["Never look through", "finder", "maker", "rules at your site"]) {
    expect(text("rig-example.yaml")).toContain(words);
  }
});

test("a rig may hang on both protocols, its diffuser on a switch", () => {
  const text = goodRig
    .replace("port: 7624 }", "port: 7624 }\n  hut:\n    alpaca: { host: hut.local, port: 11111 }")
    .replace("{ server: home, device: Mount A }", "{ server: hut, device: telescope/0 }")
    .replace("{ by: hand }", "{ server: hut, device: Relays, switch: 3, closedValue: 0 }");
  const rig = readRigFile(text, "r.yaml");
  expect(rig.servers).toEqual({
    home: { indi: { host: "127.0.0.1", port: 7624 } },
    hut: { alpaca: { host: "hut.local", port: 11111 } },
  });
  expect(rig.devices.diffuser).toEqual({ server: "hut", device: "Relays", switch: 3, closedValue: 0 });
});

test("cover and diffuser may be two switches of one device, and not the same one", () => {
  const withSwitches = (cover: string, diffuser: string) =>
    goodRig
      .replace("indi: { host: 127.0.0.1, port: 7624 }", "alpaca: { host: 127.0.0.1, port: 11111 }")
      .replace("device: Cap A }", `device: Relays, switch: ${cover} }`)
      .replace("{ by: hand }", `{ server: home, device: Relays, switch: ${diffuser} }`);
  expect(readRigFile(withSwitches("Lid", "Sheet"), "r.yaml").devices.cover).toMatchObject({ switch: "Lid" });
  expect(() => readRigFile(withSwitches("Lid", "Lid"), "r.yaml")).toThrow(/a device of its own/);
});

test("defaults are filled in", () => {
  expect(readPlan("plan: a\nsteps:\n  - centre\n", "a.yaml").sun).toEqual({ altitudeDegreesMin: 20 });
  expect(readPlan(goodPlan, "a.yaml").steps).toHaveLength(5);
  const rig = readRigFile(goodRig.replace(/limits:\n.*\n/, ""), "r.yaml");
  expect(rig.limits).toEqual({
    brightnessTripFactor: 4,
    sunAltitudeDegreesMin: 10,
    silenceSecondsMax: 60,
    freeDiskMegabytesMin: 500,
  });
});
