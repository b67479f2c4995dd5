import { expect, test } from "vitest";
import { IndiDome } from "../../../../drivers/indi/roles/dome.ts";
import { RefusedError } from "../../../../drivers/kit/errors.ts";
import { type Bench, connectionText, onBench } from "../role-bench.ts";
import { recording, type ScriptedServer } from "../scripted-server.ts";

const name = "Dome Simulator";

/** The recorded dome: shutter 5.5 s, 10 degrees a second, parking takes the shutter along and ends before it. */
function recordedDome(server: ScriptedServer): void {
  server.load(connectionText(name));
  server.load(recording("other-devices-connect-1.9.9.xml"), { only: [name] });
  const shutter = (open: boolean) => {
    server.set(name, "DOME_SHUTTER", "Busy", {
      SHUTTER_OPEN: open ? "On" : "Off",
      SHUTTER_CLOSE: open ? "Off" : "On",
    });
    server.after(5.5, () => server.set(name, "DOME_SHUTTER", "Ok"));
  };
  const turn = (to: number, endState: string, then: () => void = () => {}) => {
    const from = Number(server.value(name, "ABS_DOME_POSITION", "DOME_ABSOLUTE_POSITION"));
    server.set(name, "ABS_DOME_POSITION", "Busy");
    server.set(name, "DOME_MOTION", "Busy", { DOME_CW: "On" });
    server.after(Math.abs(to - from) / 10, () => {
      server.set(name, "DOME_MOTION", endState, { DOME_CW: "Off", DOME_CCW: "Off" });
      server.set(name, "ABS_DOME_POSITION", endState, { DOME_ABSOLUTE_POSITION: String(to) });
      then();
    });
  };
  const parked = () => server.value(name, "DOME_PARK", "PARK") === "On";
  server.on("DOME_SHUTTER", ({ values }) => shutter(values.SHUTTER_OPEN === "On"));
  server.on("ABS_DOME_POSITION", ({ values }) => {
    if (parked()) {
      server.message(name, "[ERROR] Please unpark before issuing any motion commands.");
      server.set(name, "ABS_DOME_POSITION", "Alert");
    } else turn(Number(values.DOME_ABSOLUTE_POSITION), "Ok");
  });
  server.on("DOME_PARK", ({ values }) => {
    const park = values.PARK === "On";
    server.set(name, "DOME_PARK", "Busy", values);
    shutter(!park);
    if (park) turn(90, "Idle", () => server.set(name, "DOME_PARK", "Ok"));
    else server.after(5.5, () => server.set(name, "DOME_PARK", "Ok"));
  });
}

const openDome = ({ context, signal }: Bench) => new IndiDome(context(name)).open(signal);

test("a shutter that has reported Alert is unknown, whatever its switch shows", () =>
  onBench(recordedDome, async (bench) => {
    const dome = await openDome(bench);
    expect(await dome.state(bench.signal)).toEqual({
      shutter: "unknown",
      azimuthDegrees: 0,
      parked: false,
      moving: false,
    });
    await dome.ensureShutterOpen(bench.signal);
    expect((await dome.state(bench.signal)).shutter).toBe("open");
  }));

test("the switch shows the target while the shutter still moves", () =>
  onBench(recordedDome, async (bench) => {
    const dome = await openDome(bench);
    const opening = dome.ensureShutterOpen(bench.signal);
    await bench.clock.sleep(2);
    expect((await dome.state(bench.signal)).shutter).toBe("moving");
    await opening;
  }));

test("a recorded abort of the shutter leaves it unknown", () =>
  onBench(recordedDome, async (bench) => {
    const dome = await openDome(bench);
    const opening = dome.ensureShutterOpen(bench.signal);
    opening.catch(() => {});
    await bench.clock.sleep(1);
    bench.server.set(name, "DOME_SHUTTER", "Alert", {}, "Shutter operation aborted. Status: unknown.");
    await expect(opening).rejects.toBeInstanceOf(RefusedError);
    expect((await dome.state(bench.signal)).shutter).toBe("unknown");
  }));

test("turning the short way round counts: 359.5 is near 0; a parked dome is not asked to turn", () =>
  onBench(recordedDome, async (bench) => {
    const dome = await openDome(bench);
    await dome.turnTo(-30, bench.signal);
    expect((await dome.state(bench.signal)).azimuthDegrees).toBe(330);
    bench.server.set(name, "DOME_PARK", "Ok", { PARK: "On", UNPARK: "Off" });
    await bench.clock.sleep(0.1);
    const sent = bench.server.commands.length;
    await expect(dome.turnTo(10, bench.signal)).rejects.toBeInstanceOf(RefusedError);
    expect(bench.server.commands).toHaveLength(sent);
  }));

test("an abort that the dome answers while it turns on is not believed", () =>
  onBench(recordedDome, async (bench) => {
    const { server, signal } = bench;
    const dome = await openDome(bench);
    server.on("DOME_ABORT_MOTION", () => {
      server.set(name, "DOME_ABORT_MOTION", "Alert", { ABORT: "Off" });
      server.set(name, "ABS_DOME_POSITION", "Ok", { DOME_ABSOLUTE_POSITION: "20" });
      server.set(name, "DOME_MOTION", "Ok", { DOME_CW: "Off" });
      for (let i = 1; i <= 4; i++) {
        server.after(i, () =>
          server.set(name, "ABS_DOME_POSITION", "Ok", { DOME_ABSOLUTE_POSITION: String(20 + 10 * i) }),
        );
      }
    });
    server.on("ABS_DOME_POSITION", () =>
      server.set(name, "ABS_DOME_POSITION", "Busy", { DOME_ABSOLUTE_POSITION: "10" }),
    );
    const stop = new AbortController();
    const turning = dome.turnTo(180, stop.signal);
    bench.clock.setTimer(2, () => stop.abort(new Error("stop")));
    await expect(turning).rejects.toThrow("stop");
    expect(server.value(name, "ABS_DOME_POSITION", "DOME_ABSOLUTE_POSITION")).toBe("60");
    expect((await dome.state(signal)).moving).toBe(false);
  }));

test("found parked: unparked and opened for the work, closed and parked again", () =>
  onBench(
    (server) => {
      recordedDome(server);
      server.remember(name, "DOME_PARK", { PARK: "On", UNPARK: "Off" });
      server.remember(name, "ABS_DOME_POSITION", { DOME_ABSOLUTE_POSITION: "90" });
      server.set(name, "DOME_SHUTTER", "Ok");
    },
    async (bench) => {
      const { signal } = bench;
      const dome = await openDome(bench);
      const before = await dome.readSettings(signal);
      expect(before).toEqual([
        { key: "shutter", value: "closed" },
        { key: "parked", value: true },
        { key: "connected", value: true },
      ]);
      await dome.ensureUnparked(signal);
      await dome.ensureShutterOpen(signal);
      await dome.turnTo(200, signal);
      for (const setting of before) await dome.restoreSetting(setting, signal);
      expect(await dome.readSettings(signal)).toEqual(before);
      expect(bench.server.value(name, "ABS_DOME_POSITION", "DOME_ABSOLUTE_POSITION")).toBe("90");
    },
  ));
