import { expect, test } from "vitest";
import { openStage, type StageOptions, tinyScene } from "../stage/stage.ts";

type Stage = Awaited<ReturnType<typeof openStage>>;

/** A mount that is set wrong before the run begins. */
async function stageWith(set: (mount: Stage["world"]["mount"]) => void, more: StageOptions = {}) {
  const plan = "plan: look\nsteps:\n  - centre\n";
  const stage = await openStage({ scene: tinyScene, seed: 3, plan, ...more });
  set(stage.world.mount);
  return stage;
}

test.each(["indi", "alpaca"] as const)(
  "over %s a clock hours off is refused with nobody there, and nothing moves",
  async () => {
    await using stage = await stageWith((mount) => {
      mount.clockErrorSeconds = 7200;
    });
    const { exitCode, ended, failure } = await stage.run();
    expect({ exitCode, ended }).toEqual({ exitCode: 4, ended: "refused" });
    expect(failure!.message).toContain("2.00 h ahead");
    expect(stage.world.history.filter(({ what }) => what === "slewStarted")).toEqual([]);
  },
);

test("a longitude of the wrong sign is refused, with both values, and so is the sidereal time that comes of it", async () => {
  await using stage = await stageWith(
    (mount) => {
      const { longitudeDegrees } = mount.believedSite;
      mount.believedSite = { ...mount.believedSite, longitudeDegrees: -longitudeDegrees };
    },
    { protocol: "alpaca" },
  );
  const { exitCode, failure } = await stage.run();
  expect(exitCode).toBe(4);
  expect(failure!.message).toMatch(
    /its site is .* and that of the rig file .*east and west seem to be mixed up/,
  );
  expect(failure!.message).toMatch(/its sidereal time is .* h and ours .* 1\.31 h behind/);
});

test("at a terminal it is said, in the record too, and the Sun is looked for", async () => {
  await using stage = await stageWith(
    (mount) => {
      mount.clockErrorSeconds = -400;
    },
    { person: async () => "yes" },
  );
  const warned: string[] = [];
  const { record } = await stage.run({ onWarning: (text) => warned.push(text) });
  expect(warned[0]).toMatch(/its clock reads .* 40[01] s behind\. The mount may point elsewhere/);
  expect(record.timeline.map(({ event }) => event)).toContain("the mount's clock: wrong");
  expect(record.steps.map(({ kind }) => kind)).toEqual(["centre"]);
});
