import { expect, test } from "vitest";
import { leaveRigIdle } from "../../../agent/procedures/leave-rig.ts";
import { neverAborted } from "../../../drivers/kit/never-aborted.ts";
import { benchOnWorld } from "./bench-on-world.ts";

test("the cover closes before the diffuser goes out of the light", async () => {
  using scene = benchOnWorld(41, { startsWith: { cover: "open", diffuserInPlace: true } });
  await scene.clock.drive(leaveRigIdle(scene.bench, "closed", neverAborted));
  const { history } = scene.world;
  const opening = history.find(({ part, what }) => part === "diffuser" && what === "moveStarted");
  expect(opening!.coverOpen).toBe(0);
  expect([scene.world.cover.position, scene.world.diffuser.position]).toEqual([0, 0]);
});

test("a diffuser stays before a front that could not be covered", async () => {
  using scene = benchOnWorld(42, { startsWith: { cover: "open", diffuserInPlace: true } });
  scene.world.cover.jam();
  await expect(scene.clock.drive(leaveRigIdle(scene.bench, "closed", neverAborted))).rejects.toMatchObject({
    code: "NOT_COVERED",
  });
  expect(scene.world.diffuser.position).toBe(1);
});
