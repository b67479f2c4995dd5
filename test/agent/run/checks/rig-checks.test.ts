import { expect, test } from "vitest";
import { listRigChecks } from "../../../../agent/run/checks/rig-checks.ts";
import { VirtualClock } from "../../../../drivers/kit/virtual-clock.ts";
import type { Rig } from "../../../../drivers/roles/rig.ts";
import { readPlan } from "../../../../plans/plan-file.ts";
import { readRigFile } from "../../../../plans/rig-file.ts";
import { forenoonUtcMs, testPlanText, testRigText } from "../fake-run.ts";

const limits = {
  exposureSeconds: { min: 0.001, max: 10 },
  pixelMicron: 3.75,
  sensorPx: { widthPx: 640, heightPx: 480 },
} as const;

interface Changes {
  limits?: object;
  solarRate?: boolean;
  plan?: string;
  rigText?: string;
}

async function failed(changes: Changes, wanted = "failed"): Promise<string[]> {
  const rig = {
    camera: {
      name: "Cam A",
      limits: { ...limits, ...changes.limits },
    },
    mount: { name: "Mount A", abilities: { solarRate: changes.solarRate ?? true } },
  } as unknown as Rig;
  const checks = listRigChecks({
    rig,
    rigFile: readRigFile(changes.rigText ?? testRigText, "rig.yaml"),
    plan: readPlan(changes.plan ?? testPlanText, "plan.yaml"),
    clock: new VirtualClock(forenoonUtcMs),
    setup: { binning: 1, gain: 0, offset: 0, region: { xPx: 0, yPx: 0, widthPx: 640, heightPx: 480 } },
  });
  return checks.filter(({ verdict }) => verdict === wanted).map(({ text }) => text);
}

test("a rig that can do the plan", async () => expect(await failed({})).toEqual([]));

test("a camera behind a colour filter array: a flat is refused before anything moves, images are not", async () => {
  const colour = { limits: { colourFilterArray: "RGGB" } };
  expect(await failed(colour)).toEqual([
    "step 2 (leak-check): the pixels of Cam A lie behind a colour filter array (RGGB), and flats are taken with those of one colour only",
  ]);
  const plan = "plan: look\nsteps:\n  - centre\n  - images: { frames: 4 }\n";
  expect(await failed({ ...colour, plan })).toEqual([]);
  const red = { limits: { colourFilterArray: "RGGB", colour: "red" as const } };
  expect(await failed(red)).toEqual([]);
  const binned = `${plan}camera: { binning: 2 }\n`;
  expect(await failed({ ...red, plan: binned })).toEqual([
    "the plan names a binning, and binned pixels of Cam A are of no colour: leave it out",
  ]);
});

test("a mount without a solar rate: what it does instead is said before anything moves", async () => {
  expect(await failed({ solarRate: false })).toEqual([]);
  expect(await failed({ solarRate: false }, "doubtful")).toEqual([
    "step 1 (centre) follows the Sun, and Mount A has no solar tracking rate: it follows the stars, and is moved after the Sun between exposures, 20 arcsec at a time",
  ]);
});

test("darks longer than the camera exposes", async () => {
  const plan = "plan: darks\nsteps:\n  - darks: { frames: 4, exposureSeconds: 60 }\n";
  expect(await failed({ plan })).toEqual([
    "step 1 (darks) asks for 60 s, and Cam A exposes from 0.001 to 10 s",
  ]);
});

test("a sensor that the rig file states otherwise than the camera tells", async () => {
  const stated = (pixelMicron: number) =>
    testRigText.replace(
      /(camera: \{[^}]*) \}/,
      `$1, sensor: { widthPx: 640, heightPx: 480, pixelMicron: ${pixelMicron} } }`,
    );
  expect(await failed({ rigText: stated(3.76) }, "doubtful")).toEqual([]);
  expect(await failed({ rigText: stated(2.4) }, "doubtful")).toEqual([
    "the rig file states a sensor of 640 x 480 px of 2.4 µm, and Cam A tells of 640 x 480 px of 3.75 µm",
  ]);
});
