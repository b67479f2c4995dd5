import { expect, test } from "vitest";
import { listRigChecks } from "../../../../agent/run/checks/rig-checks.ts";
import { neverAborted } from "../../../../drivers/kit/never-aborted.ts";
import { VirtualClock } from "../../../../drivers/kit/virtual-clock.ts";
import type { Rig } from "../../../../drivers/roles/rig.ts";
import { readPlan } from "../../../../plans/plan-file.ts";
import { readRigFile } from "../../../../plans/rig-file.ts";
import { forenoonUtcMs, testPlanText, testRigText } from "../fake-run.ts";

const limits = {
  exposureSeconds: { min: 0.001, max: 10 },
  pixelMicron: 3.75,
} as const;

async function failed(changes: { limits?: object; solarRate?: boolean; plan?: string }): Promise<string[]> {
  const rig = {
    camera: {
      name: "Cam A",
      limits: { ...limits, ...changes.limits },
      setup: async () => ({ binning: 1, gain: 0, offset: 0, region: { widthPx: 640, heightPx: 480 } }),
    },
    mount: { name: "Mount A", abilities: { solarRate: changes.solarRate ?? true } },
  } as unknown as Rig;
  const checks = await listRigChecks({
    rig,
    rigFile: readRigFile(testRigText, "rig.yaml"),
    plan: readPlan(changes.plan ?? testPlanText, "plan.yaml"),
    clock: new VirtualClock(forenoonUtcMs),
    signal: neverAborted,
  });
  return checks.filter(({ verdict }) => verdict === "failed").map(({ text }) => text);
}

test("a rig that can do the plan", async () => expect(await failed({})).toEqual([]));

test("a camera behind a colour filter array: a flat is refused before anything moves, images are not", async () => {
  const colour = { limits: { colourFilterArray: "RGGB" } };
  expect(await failed(colour)).toEqual([
    "step 2 (leak-check): the pixels of Cam A lie behind a colour filter array (RGGB), and flats are taken with monochrome cameras only",
  ]);
  const plan = "plan: look\nsteps:\n  - centre\n  - images: { frames: 4 }\n";
  expect(await failed({ ...colour, plan })).toEqual([]);
});

test("a mount without a solar rate: told before it is asked to follow the Sun", async () =>
  expect(await failed({ solarRate: false })).toEqual([
    "step 1 (centre) follows the Sun, and Mount A has no solar tracking rate",
  ]));

test("darks longer than the camera exposes", async () => {
  const plan = "plan: darks\nsteps:\n  - darks: { frames: 4, exposureSeconds: 60 }\n";
  expect(await failed({ plan })).toEqual([
    "step 1 (darks) asks for 60 s, and Cam A exposes from 0.001 to 10 s",
  ]);
});
