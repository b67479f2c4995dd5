import { expect, test } from "vitest";
import * as z from "zod";
import { checkWorld } from "../../agent/rehearsal/checkers/check-world.ts";
import { AlpacaServer } from "../../drivers/alpaca/wire/server.ts";
import { silentLog } from "../../drivers/kit/log.ts";
import { neverAborted } from "../../drivers/kit/never-aborted.ts";
import { accountDifferences } from "../../sim-devices/scene/world-account.ts";
import { HandClient } from "../sim-devices/sim-session.ts";
import { tinyScene } from "../stage/scenes.ts";
import { openStage, type Stage } from "../stage/stage.ts";

/** Judged with the devices connected, and refused for its exposure time. */
const refusedPlan = "plan: too-long\nsteps:\n  - darks: { exposureSeconds: 500, frames: 4 }\n";
const quietPlan = "plan: darks\nsteps:\n  - darks: { exposureSeconds: 0.5, frames: 4 }\n";

const camera = "Scene Camera";

/** Another client leaves the camera as no flat would have it, and exposes if asked. */
async function setUpOverIndi({ simulator, clock }: Stage, exposureSeconds?: number): Promise<void> {
  const client = new HandClient(await simulator.openIndi(neverAborted));
  await client.say('<getProperties version="1.7"/>');
  const isOn = simulator.world.account()[camera];
  expect(isOn).toBeDefined();
  await client.switchOn(camera, "CONNECTION", "CONNECT");
  await clock.sleep(1);
  await client.switchOn(camera, "CCD_COMPRESSION", "INDI_ENABLED");
  await client.switchOn(camera, "CCD_TRANSFER_FORMAT", "FORMAT_NATIVE");
  await client.switchOn(camera, "UPLOAD_MODE", "UPLOAD_LOCAL");
  if (exposureSeconds !== undefined)
    await client.say(
      `<newNumberVector device="${camera}" name="CCD_EXPOSURE"><oneNumber name="CCD_EXPOSURE_VALUE">${exposureSeconds}</oneNumber></newNumberVector>`,
    );
  await clock.sleep(1);
}

async function setUpOverAlpaca({ simulator, clock }: Stage, exposureSeconds?: number): Promise<void> {
  const exchange = simulator.openAlpaca();
  await using server = new AlpacaServer({ exchange, clock, log: silentLog, clientId: 7, name: "another" });
  const put = (member: string, parameters: Record<string, number | boolean>) =>
    server.ask({
      method: "PUT",
      path: `/api/v1/camera/0/${member}`,
      device: camera,
      member,
      parameters,
      schema: z.unknown(),
      withinSeconds: 10,
      signal: neverAborted,
    });
  await put("connected", { Connected: true });
  await clock.sleep(1);
  await put("gain", { Gain: 77 });
  if (exposureSeconds !== undefined) await put("startexposure", { Duration: exposureSeconds, Light: true });
}

test.each([
  ["indi", setUpOverIndi],
  ["alpaca", setUpOverAlpaca],
] as const)(
  "a plan that is refused once the devices are connected has changed nothing: not even another client's exposure (%s)",
  async (protocol, setUp) => {
    await using stage = await openStage({ scene: tinyScene, protocol, plan: refusedPlan });
    const { world, clock } = stage;
    await clock.drive(setUp(stage, 100));
    expect(world.camera.phase).toBe("exposing");
    const before = stage.account();
    const report = await stage.run();
    expect(report).toMatchObject({
      exitCode: 2,
      failure: { code: "PLAN_DOES_NOT_FIT_RIG" },
    });
    expect(accountDifferences(before, stage.account(), { connections: true })).toEqual([]);
    expect(world.camera.phase).toBe("exposing");
    expect(checkWorld(world).filter(({ checker }) => checker === "commandBeforeBaseline")).toEqual([]);
  },
);

test.each([
  ["indi", setUpOverIndi],
  ["alpaca", setUpOverAlpaca],
] as const)(
  "what another client had set is in the baseline as it was found, and put back after a run (%s)",
  async (protocol, setUp) => {
    await using stage = await openStage({ scene: tinyScene, protocol, plan: quietPlan });
    await stage.clock.drive(setUp(stage));
    const before = stage.account();
    const run = await stage.play();
    expect(run).toMatchObject({ exitCode: 0, violations: [] });
    expect(accountDifferences(before, stage.account(), { connections: true })).toEqual([]);
    if (protocol === "indi")
      expect(run.record?.settings).toContainEqual(
        expect.objectContaining({ key: "UPLOAD_MODE", before: "UPLOAD_LOCAL", state: "same" }),
      );
  },
);
