import { expect, test } from "vitest";
import { serverRestart } from "../stage/faults/alpaca-faults.ts";
import { at } from "../stage/faults/fault.ts";
import { serverGone } from "../stage/faults/server-faults.ts";
import { tinyScene } from "../stage/scenes.ts";
import { openStage } from "../stage/stage.ts";

const forEver = 1e6;

test.each([
  ["indi", serverGone()],
  ["alpaca", serverRestart(forEver)],
] as const)(
  "a server (%s) that goes in mid-run and does not come back: the run ends in two minutes, and says what is left",
  async (protocol, fault) => {
    await using stage = await openStage({ scene: tinyScene, protocol });
    const goneAfterSeconds = 60;
    const report = await stage.play({ faults: [at(goneAfterSeconds).begins(fault)] });
    expect(report.exitCode).toBe(6);
    expect(report.record?.settings.filter(({ state }) => state === "different")).not.toEqual([]);
    expect(report.seconds - goneAfterSeconds).toBeLessThan(120);
  },
);
