import { expect, test } from "vitest";
import type { Moment } from "../../sim-devices/scene/moment.ts";
import { openStage, tinyScene } from "../stage/stage.ts";

/** The Sun crosses the meridian of the scene at 11:22:36 UTC, between the covered slew to it and the first open one. */
test.each(["alpaca", "indi"] as const)(
  "over %s a German mount that passes the meridian while it is centred goes round its pier behind the cover",
  async (protocol) => {
    await using stage = await openStage({
      scene: tinyScene,
      seed: 3,
      protocol,
      startUtc: "2026-06-21T11:22:10Z",
      plan: "plan: noon\nsteps:\n  - centre\n  - images: { frames: 2 }\n",
    });
    stage.world.mount.makeGerman();
    const flips: Moment[] = [];
    const { exitCode, violations, record, origin } = await stage.play({
      onChange: (moment) => {
        if (moment.what === "flipStarted") flips.push(moment);
      },
    });
    expect(exitCode, origin).toBe(0);
    expect(violations).toEqual([]);
    expect(flips.length).toBeGreaterThan(0);
    expect(flips.map(({ coverOpen }) => coverOpen)).toEqual(flips.map(() => 0));
    const foretold = record!.timeline.find(({ event }) => event.startsWith("the Sun passes the meridian"));
    expect(foretold?.fields?.utc).toMatch(/^2026-06-21T11:22:3/);
    expect(record!.timeline.map(({ event }) => event)).toContain(
      "covering for a slew that may flip the mount",
    );
  },
);
