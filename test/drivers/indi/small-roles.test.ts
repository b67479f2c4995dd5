import { expect, test } from "vitest";
import { IndiFocuser } from "../../../drivers/indi/roles/focuser.ts";
import { IndiRotator } from "../../../drivers/indi/roles/rotator.ts";
import { IndiWheel } from "../../../drivers/indi/roles/wheel.ts";
import { OutOfLimitsError } from "../../../drivers/kit/errors.ts";
import { connectionText, onBench } from "./role-bench.ts";
import { recording, type ScriptedServer } from "./scripted-server.ts";

const focuserName = "Focuser Simulator";
const wheelName = "Filter Simulator";
const rotatorName = "Rotator Simulator";

const recorded = (name: string) => (server: ScriptedServer) => {
  server.load(connectionText(name));
  server.load(recording("other-devices-connect-1.9.9.xml"), { only: [name] });
};

/** As recorded: no Busy, no other answer while it moves, then a message and Ok. */
function blockingFocuser(server: ScriptedServer): void {
  recorded(focuserName)(server);
  server.on("ABS_FOCUS_POSITION", ({ values }) => {
    const from = Number(server.value(focuserName, "ABS_FOCUS_POSITION", "FOCUS_ABSOLUTE_POSITION"));
    server.answering = false;
    server.after(Math.abs(Number(values.FOCUS_ABSOLUTE_POSITION) - from) / 1000, () => {
      server.answering = true;
      server.set(focuserName, "ABS_FOCUS_POSITION", "Ok", values);
    });
  });
}

test("a focuser that blocks without Busy arrives; its deadline comes from the steps", () =>
  onBench(blockingFocuser, async (bench) => {
    const focuser = await new IndiFocuser(bench.context(focuserName)).open(bench.signal);
    const before = await focuser.readSettings(bench.signal);
    const from = await focuser.positionSteps(bench.signal);
    await focuser.moveTo(from > 50_000 ? 0 : 100_000, bench.signal);
    expect(bench.secondsNow()).toBeGreaterThan(40);
    for (const setting of before) await focuser.restoreSetting(setting, bench.signal);
    expect(await focuser.positionSteps(bench.signal)).toBe(from);
  }));

test("a stuck focuser is a deadline, not a wait for ever", () =>
  onBench(recorded(focuserName), async (bench) => {
    const focuser = await new IndiFocuser(bench.context(focuserName), { stepsPerSecondMin: 1000 }).open(
      bench.signal,
    );
    bench.server.on("ABS_FOCUS_POSITION", () => bench.server.set(focuserName, "ABS_FOCUS_POSITION", "Busy"));
    const from = await focuser.positionSteps(bench.signal);
    await expect(focuser.moveTo(from - 1000, bench.signal)).rejects.toMatchObject({ code: "RIG_DEADLINE" });
  }));

test("FOCUS_MAX rewrites the limits by an update; the new ones are kept to", () =>
  onBench(recorded(focuserName), async (bench) => {
    const focuser = await new IndiFocuser(bench.context(focuserName)).open(bench.signal);
    expect(focuser.limits.positionSteps).toEqual({ min: 0, max: 100_000 });
    bench.server.sendRaw(
      `<setNumberVector device="${focuserName}" name="ABS_FOCUS_POSITION" state="Ok"><oneNumber name="FOCUS_ABSOLUTE_POSITION" min="0" max="60000" step="600">42500</oneNumber></setNumberVector>`,
    );
    await bench.clock.sleep(0.1);
    await expect(focuser.moveTo(70_000, bench.signal)).rejects.toBeInstanceOf(OutOfLimitsError);
    expect(bench.server.commands).toEqual([]);
  }));

test("an aborted move stops the focuser first", () =>
  onBench(recorded(focuserName), async (bench) => {
    const { server } = bench;
    server.load(
      `<defSwitchVector device="${focuserName}" name="FOCUS_ABORT_MOTION" state="Idle" perm="rw" rule="AtMostOne"><defSwitch name="ABORT">Off</defSwitch></defSwitchVector>`,
    );
    server.on("ABS_FOCUS_POSITION", () => server.set(focuserName, "ABS_FOCUS_POSITION", "Busy"));
    server.on("FOCUS_ABORT_MOTION", () =>
      server.set(focuserName, "ABS_FOCUS_POSITION", "Idle", { FOCUS_ABSOLUTE_POSITION: "12345" }),
    );
    const focuser = await new IndiFocuser(bench.context(focuserName)).open(bench.signal);
    const stop = new AbortController();
    const moving = focuser.moveTo(77_000, stop.signal);
    bench.clock.setTimer(2, () => stop.abort(new Error("stop")));
    await expect(moving).rejects.toThrow("stop");
    expect(server.commands.map(({ name }) => name)).toEqual(["ABS_FOCUS_POSITION", "FOCUS_ABORT_MOTION"]);
    expect(await focuser.positionSteps(bench.signal)).toBe(12345);
  }));

for (const [version, silence, busy] of [
  ["1.9.9: Busy with the old slot, then Ok", 0, 0.5],
  ["2.2.4: silence, then Busy and at once Ok", 1, 0.01],
] as const) {
  test(`the wheel turns (${version}) and is put back`, () =>
    onBench(recorded(wheelName), async (bench) => {
      const { server, signal } = bench;
      server.on("FILTER_SLOT", ({ values }) => {
        server.after(silence, () => server.set(wheelName, "FILTER_SLOT", "Busy"));
        server.after(silence + busy, () => server.set(wheelName, "FILTER_SLOT", "Ok", values));
      });
      const wheel = await new IndiWheel(bench.context(wheelName)).open(signal);
      expect(wheel.slotNames).toHaveLength(8);
      expect(wheel.slotNames[3]).toBe("Ha 0.5A");
      const before = await wheel.readSettings(signal);
      await wheel.moveTo(4, signal);
      expect(await wheel.slot(signal)).toBe(4);
      for (const setting of before) await wheel.restoreSetting(setting, signal);
      expect(await wheel.readSettings(signal)).toEqual(before);
      for (const wrong of [0, 9, 2.5])
        await expect(wheel.moveTo(wrong, signal)).rejects.toBeInstanceOf(OutOfLimitsError);
    }));
}

test("the rotator takes any angle into one turn and knows that 359.9 and 0 are neighbours", () =>
  onBench(recorded(rotatorName), async (bench) => {
    const { server, signal } = bench;
    server.on("ABS_ROTATOR_ANGLE", ({ values }) => {
      server.set(rotatorName, "ABS_ROTATOR_ANGLE", "Busy");
      server.after(3, () =>
        server.set(rotatorName, "ABS_ROTATOR_ANGLE", "Ok", {
          ANGLE: String((Number(values.ANGLE) + 359.9) % 360),
        }),
      );
    });
    const rotator = await new IndiRotator(bench.context(rotatorName)).open(signal);
    await rotator.moveTo(360, signal);
    expect(await rotator.angleDegrees(signal)).toBeCloseTo(359.9, 6);
    expect(rotator.sameSetting({ key: "angle", value: 0 }, { key: "angle", value: 359.9 })).toBe(true);
    await rotator.moveTo(-90, signal);
    expect(server.commands.at(-1)!.values).toEqual({ ANGLE: "270" });
  }));

test("a rotator that stops half-way with Ok has not arrived (recorded abort)", () =>
  onBench(recorded(rotatorName), async (bench) => {
    const { server, signal } = bench;
    server.on("ABS_ROTATOR_ANGLE", () => {
      server.set(rotatorName, "ABS_ROTATOR_ANGLE", "Busy", { ANGLE: "50" });
      server.after(1.2, () => server.set(rotatorName, "ABS_ROTATOR_ANGLE", "Ok", { ANGLE: "60" }));
    });
    const rotator = await new IndiRotator(bench.context(rotatorName)).open(signal);
    await expect(rotator.moveTo(90, signal)).rejects.toMatchObject({ code: "RIG_READBACK" });
  }));
