import { expect, test } from "vitest";
import { checkWorld, openStage, tinyScene } from "../stage/stage.ts";

const plan = `plan: stars
sun: { altitudeDegreesMin: 20 }
steps:
  - centre
  - leak-check: { frames: 4 }
  - flat: { blur: diffuser, frames: 8, proveLight: false }
  - images: { frames: 8, everySeconds: 240 }
`;
const scene = { ...tinyScene, mount: { ...tinyScene.mount, hasSolarRate: false } };

test.each(["indi", "alpaca"] as const)(
  "%s: a mount that can only follow the stars is moved after the Sun between the images",
  async (protocol) => {
    await using run = await openStage({ scene, plan, rig: { protocol } });
    const report = await run.run();
    expect(report).toMatchObject({ ended: "completed", notAsFound: [] });
    const moves = report.record.timeline.filter(({ event }) => event === "the mount was moved after the Sun");
    // The Sun goes 0.0411 arcsec a second against the stars: 28 in three images here, when it is 20 or more.
    expect(moves.length).toBeGreaterThanOrEqual(2);
    for (const { fields } of moves) expect(fields!.behindArcsec as number).toBeLessThan(35);
    expect(run.differences()).toEqual([]);
    expect(checkWorld(run.world)).toEqual([]);
  },
);
