import { afterAll, beforeAll, expect } from "vitest";
import { connectRig, type RigEntries } from "../../drivers/connect.ts";
import { systemClock } from "../../drivers/kit/clock.ts";
import { silentLog } from "../../drivers/kit/log.ts";
import { Random } from "../../drivers/kit/random.ts";
import type { Mount } from "../../drivers/roles/mount.ts";
import { cameraConformance } from "../drivers/conformance/camera.ts";
import { deviceConformance } from "../drivers/conformance/device.ts";
import { mountConformance } from "../drivers/conformance/mount.ts";
import { moversConformance } from "../drivers/conformance/movers.ts";
import { type Adapter, calm } from "../drivers/conformance/rig-under-test.ts";
import { type StockServer, startStockServer } from "./stock-server.ts";

let simulators: StockServer;

const entries: RigEntries = {
  servers: { stock: { indi: { host: "127.0.0.1", port: 7624 } } },
  devices: {
    camera: { server: "stock", device: "CCD Simulator", readoutSeconds: 10 },
    mount: { server: "stock", device: "Telescope Simulator" },
    focuser: { server: "stock", device: "Focuser Simulator" },
    wheel: { server: "stock", device: "Filter Simulator" },
    rotator: { server: "stock", device: "Rotator Simulator" },
    dome: { server: "stock", device: "Dome Simulator" },
    weather: { server: "stock", device: "Weather Simulator" },
  },
};

/** Readings and echoes of commands, which nobody can put back. Coordinates are compared by the mount's own settings. */
const notSettings =
  /\.(CCD_EXPOSURE|CCD1|CCD2|CCD_TEMPERATURE|FPS|STREAM_DELAY|EQUATORIAL_EOD_COORD|TARGET_EOD_COORD|MOUNT_AXES|EQUATORIAL_PE|TIME_UTC|TELESCOPE_PIER_SIDE|FWHM|FOCUS_TEMPERATURE|CCD_FILE_PATH)\./;

const adapter: Adapter = {
  name: "Debian's INDI server and simulators",
  timeoutMs: 180_000,
  drive: async (work) => {
    const { open } = simulators;
    const everyValue = () =>
      Object.fromEntries(Object.entries(simulators.getprop()).filter(([key]) => !notSettings.test(key)));
    const remember = async () => {
      const before = everyValue();
      return async () => expect(everyValue()).toEqual(before);
    };
    await using connected = await connectRig(
      entries,
      { clock: systemClock, log: silentLog, random: new Random(1), openers: () => open },
      calm(),
    );
    return await work({
      rig: connected.rig,
      clock: systemClock,
      remember,
      isConnected: async (device) => {
        const connect = `${device}.CONNECTION.CONNECT`;
        return simulators.getprop(connect)[connect] === "On";
      },
      [Symbol.asyncDispose]: async () => {},
    });
  },
};

beforeAll(async () => {
  simulators = await startStockServer({
    drivers: ["ccd", "telescope", "focus", "wheel", "rotator", "dome", "weather"].map(
      (name) => `indi_simulator_${name}`,
    ),
  });
});
afterAll(async () => {
  await simulators[Symbol.asyncDispose]();
});

/** Near where the mount is, so that slews are short; the simulator knows no horizon. */
async function nearby(mount: Mount) {
  const { pointing } = await mount.state(calm());
  return { raHours: (pointing.raHours + 0.5) % 24, decDegrees: pointing.decDegrees > 0 ? 15 : -15 };
}

deviceConformance(adapter);
cameraConformance(adapter);
mountConformance(adapter, nearby);
moversConformance(adapter, ["focuser", "wheel", "rotator", "dome", "weather"]);
