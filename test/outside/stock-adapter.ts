import { afterAll, beforeAll, expect } from "vitest";
import { connectRig, type RigEntries } from "../../drivers/connect.ts";
import { silentLog } from "../../drivers/kit/log.ts";
import { Random } from "../../drivers/kit/random.ts";
import type { RoleName } from "../../drivers/roles/roles.ts";
import { type Adapter, calm, expectNoForeignCommands } from "../drivers/conformance/rig-under-test.ts";
import { onlyAHangMs } from "../only-a-hang.ts";
import { clockWithoutStalls } from "./clock-without-stalls.ts";
import { type StockServer, startStockServer } from "./stock-server.ts";

/** Debian's simulator of each role: its program, and its entry in a rig. */
const stock = {
  camera: { program: "ccd", device: "CCD Simulator", readoutSeconds: 10 },
  mount: { program: "telescope", device: "Telescope Simulator" },
  focuser: { program: "focus", device: "Focuser Simulator" },
  wheel: { program: "wheel", device: "Filter Simulator" },
  rotator: { program: "rotator", device: "Rotator Simulator" },
  dome: { program: "dome", device: "Dome Simulator" },
  weather: { program: "weather", device: "Weather Simulator" },
} as const satisfies Partial<Record<RoleName, object>>;

export type StockRole = keyof typeof stock;
export const stockRoles = Object.keys(stock) as StockRole[];

/** Readings and echoes of commands, which nobody can put back. Coordinates are compared by the mount's own settings. */
const notSettings =
  /\.(CCD_EXPOSURE|CCD1|CCD2|CCD_TEMPERATURE|FPS|STREAM_DELAY|EQUATORIAL_EOD_COORD|TARGET_EOD_COORD|MOUNT_AXES|EQUATORIAL_PE|TIME_UTC|TELESCOPE_PIER_SIDE|FWHM|FOCUS_TEMPERATURE|CCD_FILE_PATH)\./;

/**
 * A rig of these roles on Debian's server and simulators, one server for all tests of the calling file. A rig needs a
 * camera: it is there whether asked for or not.
 */
export function stockAdapter(
  ...roles: readonly StockRole[]
): Adapter & { readonly server: () => StockServer } {
  let simulators: StockServer;
  const clock = clockWithoutStalls();
  const present = stockRoles.filter((role) => role === "camera" || roles.includes(role));

  beforeAll(async () => {
    simulators = await startStockServer({
      drivers: present.map((role) => `indi_simulator_${stock[role].program}`),
    });
  });
  afterAll(async () => {
    clock[Symbol.dispose]();
    await simulators?.[Symbol.asyncDispose]();
  });

  const entries = {
    servers: { stock: { indi: { host: "127.0.0.1", port: 7624 } } },
    devices: Object.fromEntries(
      present.map((role) => {
        const { program: _, ...entry } = stock[role];
        return [role, { server: "stock", ...entry }];
      }),
    ) as RigEntries["devices"],
  } satisfies RigEntries;

  return {
    name: "Debian's INDI server and simulators",
    timeoutMs: onlyAHangMs,
    server: () => simulators,
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
        { clock, log: silentLog, random: new Random(1), openers: () => open },
        calm(),
      );
      connected.seal.open();
      const result = await work({
        rig: connected.rig,
        clock,
        remember,
        isConnected: async (device) => {
          const connect = `${device}.CONNECTION.CONNECT`;
          return simulators.getprop(connect)[connect] === "On";
        },
        [Symbol.asyncDispose]: async () => {},
      });
      expectNoForeignCommands(connected.rig);
      return result;
    },
  };
}
