import { expect, test } from "vitest";
import { at, openStage, tinyScene, worldFaults } from "../stage/stage.ts";

const inNudge = /nudge should be 150\.0 arcsec east, .* and reads 99\d\d\d\.\d arcsec east/;
const between =
  /within 3\.06° of where the Sun is expected and reads 2\d\.\d+° from it, \d\.\d+° at the look before/;

test.each([
  { protocol: "indi", when: "slewEnded", afterSeconds: 0.5, words: inNudge },
  { protocol: "alpaca", when: "slewEnded", afterSeconds: 0.5, words: inNudge },
  { protocol: "indi", when: "exposureStarted", afterSeconds: 0.001, words: between },
  { protocol: "alpaca", when: "exposureStarted", afterSeconds: 0.001, words: between },
] as const)(
  "over $protocol the mount loses its count after $when: the open telescope follows no such report",
  async ({ protocol, when, afterSeconds, words }) => {
    await using stage = await openStage({ scene: tinyScene, seed: 3, protocol });
    let isJumped = false;
    let openSlews = 0;
    let farthestOpen = 0;
    const run = await stage.play({
      onChange: ({ what }) => {
        if (stage.world.cover.position < 1) return;
        if (what === "slewEnded") openSlews++;
        if (isJumped || openSlews === 0 || what !== when) return;
        isJumped = true;
        stage.begin(at(afterSeconds).begins(worldFaults.reportJumps(2)));
      },
      onEvent: (world) => {
        if (world.cover.position === 0) return;
        world.recordState();
        farthestOpen = Math.max(farthestOpen, world.history.at(-1)!.sunSeparationDegrees);
      },
    });
    const [step] = run.record!.steps;
    expect(isJumped).toBe(true);
    expect(step).toMatchObject({ ended: "failed", failure: { code: "RIG_READBACK", device: "Scene Mount" } });
    expect(step!.failure!.message).toMatch(words);
    expect(farthestOpen).toBeLessThan(1.1);
    expect(run.account.cover?.open).toBe(0);
  },
);
