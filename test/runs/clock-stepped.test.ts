import { expect, test } from "vitest";
import { at, clockStepped, playRun, tinyScene } from "../stage/stage.ts";

test.each([-8, 2])(
  "the computer's clock is set by %s h in mid-run: covered within half a minute, and told",
  async (hours) => {
    const uncoveredAfter: number[] = [];
    let startMs: number | undefined;
    const run = await playRun({
      scene: tinyScene,
      seed: 3,
      faults: [at(100).begins(clockStepped(hours))],
      onEvent: (world) => {
        startMs ??= world.clock.nowMs();
        const seconds = (world.clock.nowMs() - startMs) / 1000;
        if (world.cover.position > 0 && seconds > 100) uncoveredAfter.push(seconds - 100);
      },
    });
    const said = run.record!.guardEvents.flatMap(({ reasons }) => reasons).join();
    expect(run.exitCode, run.origin).toBe(4);
    expect(said).toContain(hours < 0 ? "set back by 8.00 h" : "set forward by 2.00 h");
    expect(uncoveredAfter.length).toBeGreaterThan(0);
    expect(Math.max(...uncoveredAfter), run.origin).toBeLessThan(30);
    expect(run.account.cover?.open).toBe(0);
  },
);
