import { expect, test } from "vitest";
import { connectRig, type RigEntries, RigNotConnectedError } from "../../drivers/connect.ts";
import { describeRig } from "../../drivers/describe-rig.ts";
import { silentLog } from "../../drivers/kit/log.ts";
import { Random } from "../../drivers/kit/random.ts";
import { VirtualClock } from "../../drivers/kit/virtual-clock.ts";
import { devicesOf } from "../../drivers/roles/rig.ts";
import { ScriptedAlpaca } from "./alpaca/scripted-alpaca.ts";
import { cameraName, ScriptedCamera } from "./alpaca/scripted-camera.ts";
import { addCover, addSwitch } from "./alpaca/scripted-movers.ts";
import { connectionText, startUtcMs } from "./indi/role-bench.ts";
import { recording, ScriptedServer } from "./indi/scripted-server.ts";

/** A camera, a cover and a diffuser on one Alpaca server, the rest on INDI. */
function bothProtocols() {
  const clock = new VirtualClock(startUtcMs);
  const hut = new ScriptedAlpaca(clock);
  const camera = new ScriptedCamera(hut, clock, { connected: false });
  addCover(hut, clock, "Flap");
  addSwitch(hut, clock, "Relays");
  const roof = new ScriptedServer(clock);
  for (const name of ["Focuser Simulator", "Filter Simulator"]) {
    roof.load(connectionText(name)).load(recording("other-devices-connect-1.9.9.xml"), {
      only: [name],
      without: ["CONNECTION"],
    });
  }
  const found: string[] = [];
  const options = {
    clock,
    log: silentLog,
    random: new Random(5),
    openers: () => roof.open,
    exchanges: () => hut,
    found: (role: string, device: string, connected: boolean) =>
      void found.push(`${role} ${device} ${connected}`),
  };
  return { clock, hut, roof, camera, found, options };
}

const entries: RigEntries = {
  servers: {
    hut: { alpaca: { host: "hut.local", port: 11111 } },
    roof: { indi: { host: "roof.local", port: 7624 } },
  },
  devices: {
    camera: { server: "hut", device: cameraName },
    cover: { server: "hut", device: "covercalibrator/0" },
    diffuser: { server: "hut", device: "Relays", switch: "Diffuser" },
    focuser: { server: "roof", device: "Focuser Simulator" },
    wheel: { server: "roof", device: "Filter Simulator" },
  },
};
const signal = new AbortController().signal;

test("one rig over two protocols: roles like any other, described, and left as found", async () => {
  const { clock, hut, camera, found, options } = bothProtocols();
  await clock.drive(
    (async () => {
      await using connected = await connectRig(entries, options, signal);
      connected.seal.open();
      expect(devicesOf(connected.rig).map(({ role }) => role)).toEqual([
        "camera",
        "focuser",
        "cover",
        "diffuser",
        "wheel",
      ]);
      expect(describeRig(connected.rig)[0]).toMatchObject({
        device: cameraName,
        abilities: { gain: "0 to 400" },
      });
      expect(camera.connection.connected).toBe(true);
      const frame = await connected.rig.camera.expose({ exposureSeconds: 1, frameType: "light" }, signal);
      expect(frame.widthPx).toBe(64);
    })(),
  );
  expect(camera.connection.connected).toBe(false);
  expect(found).toContain(`camera ${cameraName} false`);
  expect(hut.problems).toEqual([]);
});

test("what is missing on either side is told at once, with what the server has instead", async () => {
  const { clock, camera, options } = bothProtocols();
  const wrong = {
    ...entries,
    devices: {
      ...entries.devices,
      cover: { server: "hut", device: "Flop" },
      mount: { server: "hut", device: "telescope/0" },
      wheel: { server: "roof", device: "No Such Wheel" },
    },
  };
  const error = await clock.drive(connectRig(wrong, options, signal).catch((thrown: unknown) => thrown));
  expect(error).toBeInstanceOf(RigNotConnectedError);
  const { message } = error as Error;
  expect(message).toContain(
    'Flop: Alpaca server hut.local:11111 has no covercalibrator of this name; it has covercalibrator/0 "Flap"',
  );
  expect(message).toContain(
    "telescope/0: Alpaca server hut.local:11111 has no telescope of this name; it has no telescope at all",
  );
  expect(message).toContain("No Such Wheel");
  expect(camera.connection.connected).toBe(false);
});
