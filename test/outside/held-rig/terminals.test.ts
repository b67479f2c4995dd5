import { expect, test } from "vitest";
import { systemClock } from "../../../drivers/kit/clock.ts";
import { isOpen, RealRig } from "./real-rig.ts";
import { repeatIfStalled } from "./repeat-if-stalled.ts";

test.concurrent.each(["stall", "ctrl-s"] as const)(
  "a terminal that has stopped taking words (%s): the guard goes on, SIGTERM is heard, and the rig put back",
  (how) =>
    repeatIfStalled(async () => {
      await using rig = await RealRig.start();
      const run = await rig.atTerminal("run");
      await rig.until("cover open", isOpen);
      run.tell(how);
      await systemClock.sleep(10);
      process.kill(run.pid, "SIGTERM");
      await rig.until("cover closed", (account) => !isOpen(account));
      expect((await run.ended).exit).toBe(130);
      expect(await rig.differences()).toEqual([]);
    })(),
);

test.concurrent(
  "a terminal that hangs up: the rig is put back without it",
  repeatIfStalled(async () => {
    await using rig = await RealRig.start();
    const run = await rig.atTerminal("run");
    await rig.until("cover open", isOpen);
    run.tell("hang-up");
    expect((await run.ended).exit).toBe(130);
    expect(await rig.differences()).toEqual([]);
  }),
);

test.concurrent(
  "Ctrl-Z does not leave the rig alone, and Ctrl-\\ stops in good order",
  repeatIfStalled(async () => {
    await using rig = await RealRig.start();
    const run = await rig.atTerminal("run");
    await rig.until("cover open", isOpen);
    run.tell("ctrl-z");
    run.tell("ctrl-backslash");
    const { exit, said } = await run.ended;
    expect(exit).toBe(130);
    expect(said).toContain("Not paused: nobody would watch over the rig meanwhile.");
    expect(await rig.differences()).toEqual([]);
  }),
);
