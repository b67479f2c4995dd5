import { afterAll, beforeAll, describe, expect, test } from "vitest";
import { IndiClient } from "../../drivers/indi/session/client.ts";
import type { CommandValues } from "../../drivers/indi/session/command.ts";
import { connectDevice } from "../../drivers/indi/session/device-connection.ts";
import { readsBack, switchIn } from "../../drivers/indi/wire/property.ts";
import { systemClock } from "../../drivers/kit/clock.ts";
import { DeviceLostError, OutOfLimitsError, RefusedError } from "../../drivers/kit/errors.ts";
import { silentLog } from "../../drivers/kit/log.ts";
import { Random } from "../../drivers/kit/random.ts";
import { type StockServer, startStockServer } from "./stock-server.ts";

const signal = new AbortController().signal;
const programs = ["telescope", "focus", "wheel", "rotator", "dome", "weather", "ccd", "lightpanel"];
let server: StockServer;
let client: IndiClient;

beforeAll(async () => {
  server = await startStockServer({ drivers: programs.map((name) => `indi_simulator_${name}`) });
  client = new IndiClient({ open: server.open, clock: systemClock, log: silentLog, random: new Random(1) });
  await client.connect(signal);
});

afterAll(async () => {
  await client?.close();
  await server?.[Symbol.asyncDispose]();
});

interface Case {
  readonly device: string;
  readonly offers: readonly string[];
  readonly property: string;
  readonly values: CommandValues;
}

const cases: readonly Case[] = [
  {
    device: "Focuser Simulator",
    offers: ["ABS_FOCUS_POSITION", "FOCUS_MAX"],
    property: "ABS_FOCUS_POSITION",
    values: { FOCUS_ABSOLUTE_POSITION: 52_000 },
  },
  {
    device: "Filter Simulator",
    offers: ["FILTER_SLOT", "FILTER_NAME"],
    property: "FILTER_SLOT",
    values: { FILTER_SLOT_VALUE: 3 },
  },
  {
    device: "Rotator Simulator",
    offers: ["ABS_ROTATOR_ANGLE"],
    property: "ABS_ROTATOR_ANGLE",
    values: { ANGLE: 15 },
  },
  {
    device: "Dome Simulator",
    offers: ["DOME_SHUTTER", "ABS_DOME_POSITION"],
    property: "DOME_SHUTTER",
    values: { SHUTTER_OPEN: true },
  },
  {
    device: "Weather Simulator",
    offers: ["WEATHER_STATUS", "WEATHER_PARAMETERS"],
    property: "WEATHER_UPDATE",
    values: { PERIOD: 5 },
  },
  {
    device: "Light Panel Simulator",
    offers: ["FLAT_LIGHT_CONTROL"],
    property: "FLAT_LIGHT_CONTROL",
    values: { FLAT_LIGHT_ON: true },
  },
  {
    device: "Telescope Simulator",
    offers: ["EQUATORIAL_EOD_COORD", "ON_COORD_SET"],
    property: "TELESCOPE_TRACK_MODE",
    values: { TRACK_SOLAR: true },
  },
  {
    device: "CCD Simulator",
    offers: ["CCD_EXPOSURE", "CCD_INFO", "CCD1"],
    property: "CCD_GAIN",
    values: { GAIN: 10 },
  },
];

describe("Debian's simulators under Debian's server", () => {
  test.each(cases)(
    "$device: connects, reads, obeys $property",
    async ({ device: name, offers, property, values }) => {
      const device = client.device(name);
      await connectDevice(device, signal);
      await device.require(offers, { withinSeconds: 10 }, signal);
      const ended = await device.change(
        property,
        values,
        { withinSeconds: 60, arrived: readsBack(values) },
        signal,
      );
      expect(ended.state).toBe("Ok");
      expect(readsBack(values)(await device.refresh(property, {}, signal))).toBe(true);
      // What another program sees.
      const seen = server.getprop();
      for (const [element, value] of Object.entries(values)) {
        const told = seen[`${name}.${property}.${element}`];
        expect(typeof value === "boolean" ? told === "On" : Number(told)).toBe(value);
      }
    },
  );

  test("refusals: out of limits before sending, and by the device", async () => {
    const rotator = client.device("Rotator Simulator");
    await expect(
      rotator.change("ABS_ROTATOR_ANGLE", { ANGLE: 999 }, { withinSeconds: 5 }, signal),
    ).rejects.toThrow(OutOfLimitsError);
    const dome = client.device("Dome Simulator");
    await dome.change(
      "DOME_PARK",
      { PARK: true },
      { withinSeconds: 120, arrived: readsBack({ PARK: true }) },
      signal,
    );
    await expect(
      dome.change("ABS_DOME_POSITION", { DOME_ABSOLUTE_POSITION: 10 }, { withinSeconds: 60 }, signal),
    ).rejects.toThrow(RefusedError);
  });

  test("images, on the shared link", async () => {
    const camera = client.device("CCD Simulator");
    await client.enableBlobs("CCD Simulator", "CCD1");
    for (let i = 0; i < 3; i++) {
      const frame = camera.nextBlob("CCD1", { withinSeconds: 20, after: camera.revision }, signal);
      await camera.change(
        "CCD_EXPOSURE",
        { CCD_EXPOSURE_VALUE: 0.05 },
        { withinSeconds: 20, errorMessages: "ignore" },
        signal,
      );
      const { bytes, format } = await frame;
      expect(format).toBe(".fits");
      expect(bytes.length % 2880).toBe(0);
      expect(bytes.length).toBeGreaterThan(1280 * 1024 * 2);
    }
  });

  test("images on a link of their own", async () => {
    await using two = new IndiClient({
      open: server.open,
      clock: systemClock,
      log: silentLog,
      random: new Random(2),
      blobLink: "separate",
    });
    await two.connect(signal);
    const camera = two.device("CCD Simulator");
    await camera.require(["CCD_EXPOSURE"], { withinSeconds: 10 }, signal);
    await two.enableBlobs("CCD Simulator", "CCD1");
    const frame = camera.nextBlob("CCD1", { withinSeconds: 60 }, signal);
    await camera.change(
      "CCD_EXPOSURE",
      { CCD_EXPOSURE_VALUE: 2 }, // the other link's wish for pictures has to be with the server by then
      { withinSeconds: 20, errorMessages: "ignore" },
      signal,
    );
    expect((await frame).bytes.length % 2880).toBe(0);
  });

  test("another program's command is noticed", async () => {
    const wheel = client.device("Filter Simulator");
    const noticed = new Promise<string>((resolve) => {
      wheel.onForeignCommand((event) => resolve(event.name));
    });
    server.setprop("Filter Simulator.FILTER_SLOT.FILTER_SLOT_VALUE=2");
    expect(await noticed).toBe("FILTER_SLOT");
    await wheel.waitFor(
      "FILTER_SLOT",
      (v) => v.state === "Ok" && readsBack({ FILTER_SLOT_VALUE: 2 })(v),
      { withinSeconds: 10 },
      signal,
    );
  });

  test("a driver that is killed: waits fail at once, the device comes back disconnected", async () => {
    const rotator = client.device("Rotator Simulator");
    const turning = rotator.change("ABS_ROTATOR_ANGLE", { ANGLE: 300 }, { withinSeconds: 60 }, signal);
    turning.catch(() => {});
    await rotator.waitFor("ABS_ROTATOR_ANGLE", (v) => v.state === "Busy", { withinSeconds: 5 }, signal);
    const [pid] = server.driverPids("indi_simulator_rotator");
    process.kill(pid!, "SIGKILL");
    await expect(turning).rejects.toThrow(DeviceLostError);
    await rotator.require(["CONNECTION"], { withinSeconds: 10 }, signal);
    expect(switchIn(rotator.property("CONNECTION"), "CONNECT")).toBe(false);
    await connectDevice(rotator, signal);
    expect(rotator.property("ABS_ROTATOR_ANGLE")).toBeDefined();
  });
});
