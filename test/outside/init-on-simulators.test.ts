import { mkdtempSync, readFileSync, rmSync, writeFileSync } from "node:fs";
import { tmpdir } from "node:os";
import { join } from "node:path";
import { afterAll, expect, test } from "vitest";
import { check } from "../../agent/commands/check.ts";
import { init } from "../../agent/commands/init.ts";
import { filledIn } from "../../agent/commands/init-rig-text.ts";
import { exitCodes } from "../../agent/commands/outcome.ts";
import { probe } from "../../agent/commands/probe.ts";
import { resultSchemas } from "../../agent/commands/result-schemas.ts";
import { systemClock } from "../../drivers/kit/clock.ts";
import { neverAborted } from "../../drivers/kit/never-aborted.ts";
import { readRigFile } from "../../plans/rig-file.ts";
import { TestHost } from "../agent/commands/command-host.ts";
import { startStockServer } from "./stock-server.ts";

class RealTimeHost extends TestHost {
  override readonly clock = systemClock as never;
}

const folder = mkdtempSync(join(tmpdir(), "evenfield-init-"));
afterAll(() => rmSync(folder, { recursive: true, force: true }));
const plan = (name: string) => join(import.meta.dirname, "../../plans", `${name}.yaml`);

test("Debian's simulators: init writes a rig file that passes its check, and probe says what that rig can do", async () => {
  const drivers = ["ccd", "telescope", "focus", "wheel", "rotator"].map((name) => `indi_simulator_${name}`);
  await using server = await startStockServer({ drivers });
  const host = new RealTimeHost();
  const rig = join(folder, "my-rig.yaml");
  const answers = {
    site: "46.5,9.8,1720",
    aperture: "60",
    focalLength: "400",
    filter: "In its own cell, three screws",
  };
  const links = { targets: [], openers: () => server.open };
  await init(
    rig,
    { ...answers, byHand: "cover,diffuser", indi: ["simulators"], seconds: "3", links },
    { prompts: undefined, host },
    neverAborted,
  );
  const today = new Date(systemClock.nowMs()).toISOString().slice(0, 10);
  writeFileSync(rig, filledIn(readFileSync(rig, "utf8"), today));
  const { devices } = readRigFile(readFileSync(rig, "utf8"), rig);
  expect(devices).toMatchObject({
    camera: { device: "CCD Simulator" },
    mount: { device: "Telescope Simulator" },
    focuser: { device: "Focuser Simulator" },
    cover: { by: "hand" },
    diffuser: { by: "hand" },
  });

  const places = { rig, runs: folder, ledger: join(folder, "none.sqlite") };
  const noon = `${Number(today.slice(0, 4)) - 1}-06-21T11:20Z`; // the Sun's height depends on nothing but the time
  const checked = check(plan("images-all-day"), { ...places, at: noon }, host);
  // Confirmed today, the filter's statement lies in the future of that noon; nothing else speaks against the plan.
  expect(checked.exitCode).toBe(exitCodes.safety);
  expect(checked.text.match(/^ {2}NO/gm)).toHaveLength(1);
  expect(checked.text).toContain("which is in the future");

  const probed = await probe({ ...places, openers: () => server.open }, host, neverAborted);
  const { plans, offered } = resultSchemas.probe.parse(probed.result);
  expect(Object.values(offered).flat()).toContain("Telescope Simulator");
  const verdicts = (name: string) =>
    Object.fromEntries(plans.find((one) => one.plan === name)!.checks.map((one) => [one.check, one.verdict]));
  expect(verdicts("first-flat")).toMatchObject({
    devices: "passed",
    disc: "passed",
    disk: "passed",
    "Sun filter": "passed",
  });
  expect(verdicts("flat-by-defocus")).toMatchObject({ disc: "failed" });
  expect(probed.text).toMatch(/disc: the Sun measures \d+ px in a frame of 1280 x 1024 px/);
});
