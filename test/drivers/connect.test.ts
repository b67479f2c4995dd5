import { expect, test } from "vitest";
import { connectRig, type RigEntries, RigNotConnectedError } from "../../drivers/connect.ts";
import { describeRig } from "../../drivers/describe-rig.ts";
import { silentLog } from "../../drivers/kit/log.ts";
import { Random } from "../../drivers/kit/random.ts";
import { VirtualClock } from "../../drivers/kit/virtual-clock.ts";
import { devicesOf } from "../../drivers/roles/rig.ts";
import { connectionText, numberText, startUtcMs, switchText } from "./indi/role-bench.ts";
import { cameraName, ScriptedCamera } from "./indi/scripted-camera.ts";
import { recording, ScriptedServer } from "./indi/scripted-server.ts";

const entries: RigEntries = {
  servers: {
    hut: { indi: { host: "hut.local", port: 7624 } },
    roof: { indi: { host: "roof.local", port: 7625 } },
  },
  devices: {
    camera: { server: "hut", device: cameraName },
    focuser: { server: "hut", device: "Focuser Simulator", stepsPerSecondMin: 500 },
    wheel: { server: "hut", device: "Filter Simulator" },
    weather: { server: "roof", device: "Weather Simulator" },
    cover: { server: "roof", device: "Front" },
    diffuser: { by: "hand" },
  },
};

function hutAndRoof() {
  const clock = new VirtualClock(startUtcMs);
  const servers = { hut: new ScriptedServer(clock), roof: new ScriptedServer(clock) };
  new ScriptedCamera(servers.hut);
  for (const [server, name] of [
    [servers.hut, "Focuser Simulator"],
    [servers.hut, "Filter Simulator"],
    [servers.roof, "Weather Simulator"],
  ] as const) {
    server.load(connectionText(name, { on: name !== "Focuser Simulator" }));
    server.load(recording("other-devices-connect-1.9.9.xml"), { only: [name], without: ["CONNECTION"] });
  }
  servers.roof
    .load(connectionText("Front"))
    .load(switchText("Front", "CAP_PARK", { PARK: true, UNPARK: false }));
  const opened: string[] = [];
  const options = {
    clock,
    log: silentLog,
    random: new Random(3),
    openers: (_: unknown, name: string) => {
      opened.push(name);
      return servers[name as "hut" | "roof"].open;
    },
  };
  return { clock, servers, opened, options };
}

const signal = new AbortController().signal;

test("a rig's devices open as roles, one client for each server; hand-placed things have nothing to open", async () => {
  const { clock, opened, options } = hutAndRoof();
  await clock.drive(
    (async () => {
      await using connected = await connectRig(entries, options, signal);
      expect(opened.sort()).toEqual(["hut", "roof"]);
      expect(devicesOf(connected.rig).map(({ role }) => role)).toEqual([
        "camera",
        "focuser",
        "cover",
        "wheel",
        "weather",
      ]);
      expect(connected.rig.diffuser).toBeUndefined();
      const camera = describeRig(connected.rig)[0]!;
      expect(camera).toMatchObject({ role: "camera", device: cameraName, abilities: { gain: "0 to 100" } });
    })(),
  );
});

test("connecting and closing leaves every value as it was, a disconnected device disconnected", async () => {
  const { clock, servers, options } = hutAndRoof();
  const all = () => [servers.hut.everyValue(), servers.roof.everyValue()];
  const before = all();
  await clock.drive(
    (async () => {
      await using connected = await connectRig(entries, options, signal);
      expect(servers.hut.value("Focuser Simulator", "CONNECTION", "CONNECT")).toBe("On");
      describeRig(connected.rig);
    })(),
  );
  expect(all()).toEqual(before);
});

test("all devices that do not open are told at once, and the others are closed again", async () => {
  const { clock, servers, options } = hutAndRoof();
  servers.hut.delete("Filter Simulator");
  servers.roof.delete("Front");
  const before = servers.hut.everyValue();
  await clock.drive(
    (async () => {
      const error = await connectRig(entries, options, signal).catch((thrown: unknown) => thrown);
      expect(error).toBeInstanceOf(RigNotConnectedError);
      const { failures, message } = error as RigNotConnectedError;
      expect(failures.map(({ role }) => role).sort()).toEqual(["cover", "wheel"]);
      expect(message).toContain("Filter Simulator");
      expect(message).toContain("Front");
    })(),
  );
  expect(servers.hut.everyValue()).toEqual(before);
});

test("a device that connects and then lacks what its role needs is left disconnected, as it was found", async () => {
  const { clock, servers, options } = hutAndRoof();
  servers.hut.delete("Focuser Simulator", "ABS_FOCUS_POSITION");
  await clock.drive(
    (async () => {
      const error = await connectRig(entries, options, signal).catch((thrown: unknown) => thrown);
      expect((error as Error).message).toContain("ABS_FOCUS_POSITION");
    })(),
  );
  expect(servers.hut.value("Focuser Simulator", "CONNECTION", "DISCONNECT")).toBe("On");
});

test("a server that is not there fails its devices by name and leaves the other server's in peace", async () => {
  const { clock, servers, options } = hutAndRoof();
  const openers = (_: unknown, name: string) =>
    name === "roof" ? () => Promise.reject(new Error("connection refused")) : servers.hut.open;
  await clock.drive(
    (async () => {
      const error = await connectRig(entries, { ...options, openers }, signal).catch(
        (thrown: unknown) => thrown,
      );
      expect(error).toBeInstanceOf(RigNotConnectedError);
      expect((error as RigNotConnectedError).failures.map(({ role }) => role).sort()).toEqual([
        "cover",
        "weather",
      ]);
      expect((error as Error).message).toContain("connection refused");
    })(),
  );
});

test("two roles of one device: the first answers for its connection, before and after", async () => {
  const { clock, servers, options } = hutAndRoof();
  servers.hut.remember(cameraName, "CONNECTION", { CONNECT: "Off", DISCONNECT: "On" });
  servers.hut.load(numberText(cameraName, "FILTER_SLOT", { FILTER_SLOT_VALUE: [2, 1, 5] }));
  const found: string[] = [];
  const both = {
    ...entries,
    devices: { camera: entries.devices.camera, wheel: { server: "hut", device: cameraName } },
  };
  await clock.drive(
    (async () => {
      {
        await using connected = await connectRig(
          both,
          { ...options, found: (role, _, on) => found.push(`${role} ${on}`) },
          signal,
        );
        const { camera, wheel } = connected.rig;
        expect((await camera.readSettings(signal)).at(-1)).toEqual({ key: "connected", value: false });
        expect(await wheel!.readSettings(signal)).toEqual([{ key: "slot", value: 2 }]);
      }
      expect(found).toEqual(["camera false"]);
      expect(servers.hut.value(cameraName, "CONNECTION", "DISCONNECT")).toBe("On");
    })(),
  );
});
