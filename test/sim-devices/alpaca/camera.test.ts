import { expect, test } from "vitest";
import { type AlpacaClient, type Bench, onDevices } from "./alpaca-client.ts";

const onCamera = (work: (bench: Bench) => Promise<void>, options: Parameters<typeof onDevices>[1] = {}) =>
  onDevices(work, { connect: ["camera/0"], ...options });

const value = (client: AlpacaClient, member: string) => client.value(`camera/0/${member}`);
const put = (client: AlpacaClient, member: string, given = {}) => client.outcome(`camera/0/${member}`, given);

test("the course of an exposure: exposing for its time, reading, ready; times as they were", () =>
  onCamera(async ({ client, clock, pass }) => {
    for (const member of ["lastexposureduration", "lastexposurestarttime", "imagearray", "percentcompleted"])
      expect([member, (await client.get(`camera/0/${member}`)).error]).toEqual([member, 0x40b]);
    expect(await value(client, "imageready")).toBe(false);
    const startedMs = clock.nowMs();
    expect(await put(client, "startexposure", { Duration: 2, Light: true })).toBe(0);
    expect(await value(client, "imageready")).toBe(false);
    expect(await value(client, "camerastate")).toBe(2);
    expect(await put(client, "startexposure", { Duration: 1, Light: true })).toBe(0x40b);
    await pass(1);
    expect(await value(client, "percentcompleted")).toBe(50);
    await pass(0.99);
    expect(await value(client, "camerastate")).toBe(2);
    expect(await value(client, "imageready")).toBe(false);
    await pass(5);
    expect(await value(client, "imageready")).toBe(true);
    expect(await value(client, "camerastate")).toBe(0);
    expect(await value(client, "lastexposureduration")).toBe(2);
    expect(await value(client, "lastexposurestarttime")).toBe(new Date(startedMs).toISOString().slice(0, -1));
    // The next one hides the image at once.
    await put(client, "startexposure", { Duration: 2, Light: false });
    expect(await value(client, "imageready")).toBe(false);
    expect((await client.get("camera/0/imagearray")).error).toBe(0x40b);
    expect(await put(client, "abortexposure")).toBe(0);
    expect(await value(client, "camerastate")).toBe(0);
    expect(await value(client, "imageready")).toBe(false);
    expect(await put(client, "abortexposure")).toBe(0);
  }));

test("exposures outside the limits are invalid values; a dark one may be shorter than the shortest", () =>
  onCamera(async ({ client, simulator, pass }) => {
    const { exposureSecondsMin, exposureSecondsMax } = simulator.world.spec.camera;
    expect(await value(client, "exposuremin")).toBe(exposureSecondsMin);
    for (const Duration of [-1, exposureSecondsMin / 2, exposureSecondsMax * 1.01])
      expect(await put(client, "startexposure", { Duration, Light: true })).toBe(0x401);
    expect(await put(client, "startexposure", { Duration: 0, Light: false })).toBe(0);
    await pass(3);
    expect(await value(client, "lastexposureduration")).toBe(exposureSecondsMin);
  }));

test("a subframe is judged when the exposure starts, in binned pixels; the bins follow each other", () =>
  onCamera(async ({ client, simulator, pass }) => {
    const { settings } = simulator.world.camera;
    const before = structuredClone(settings);
    expect(await put(client, "binx", { BinX: 2 })).toBe(0);
    expect(await value(client, "biny")).toBe(2);
    expect(await value(client, "numx")).toBe(64); // left as it was, and too much now
    expect(settings).toEqual(before);
    expect(await put(client, "startexposure", { Duration: 0.1, Light: true })).toBe(0x401);
    for (const [member, name, given] of [
      ["numx", "NumX", 20],
      ["numy", "NumY", 10],
      ["startx", "StartX", 12],
      ["starty", "StartY", 14],
    ] as const)
      expect(await put(client, member, { [name]: given })).toBe(0);
    expect(settings).toMatchObject({ binning: 2, region: { xPx: 24, yPx: 28, widthPx: 40, heightPx: 20 } });
    expect(await put(client, "startexposure", { Duration: 0.1, Light: true })).toBe(0);
    await put(client, "numx", { NumX: 4 }); // no more of this image
    await pass(2);
    const image = (await value(client, "imagearray")) as number[][];
    expect([image.length, image[0]!.length]).toEqual([20, 10]);
    for (const BinX of [0, -1, 99]) expect(await put(client, "binx", { BinX })).toBe(0x401);
    await put(client, "startx", { StartX: 30 });
    expect(await put(client, "startexposure", { Duration: 0.1, Light: true })).toBe(0x401);
  }));

test("what another protocol's client sets shows here", () =>
  onCamera(async ({ client, simulator }) => {
    const { settings } = simulator.world.camera;
    settings.region = { xPx: 8, yPx: 4, widthPx: 32, heightPx: 16 };
    settings.gain = 77;
    expect(await value(client, "startx")).toBe(8);
    expect(await value(client, "numy")).toBe(16);
    expect(await value(client, "gain")).toBe(77);
  }));

test("gain by value: a range and no list; outside of it an invalid value", () =>
  onCamera(async ({ client, simulator }) => {
    const max = (await value(client, "gainmax")) as number;
    expect(await value(client, "gainmin")).toBe(0);
    expect((await client.get("camera/0/gains")).error).toBe(0x400);
    for (const Gain of [-1, max + 1]) expect(await put(client, "gain", { Gain })).toBe(0x401);
    expect(await put(client, "gain", { Gain: max })).toBe(0);
    expect(simulator.world.camera.settings.gain).toBe(max);
    expect((await client.get("camera/0/offsets")).error).toBe(0x400);
  }));

test("gain by index: a list and no range; the number is a place in it", () =>
  onCamera(
    async ({ client, simulator }) => {
      const { settings } = simulator.world.camera;
      const names = (await value(client, "gains")) as string[];
      expect((await client.get("camera/0/gainmin")).error).toBe(0x400);
      expect((await client.get("camera/0/gainmax")).error).toBe(0x400);
      expect(names[(await value(client, "gain")) as number]).toBe(`gain ${settings.gain}`);
      for (const Gain of [-1, names.length]) expect(await put(client, "gain", { Gain })).toBe(0x401);
      expect(await put(client, "gain", { Gain: names.length - 1 })).toBe(0);
      expect(settings.gain).toBe(simulator.world.spec.camera.gainMax);
    },
    { alpaca: { gainBy: "index" } },
  ));

test("the cooler: set points outside reason are refused, one set while it is off waits for it", () =>
  onCamera(async ({ client, simulator, pass }) => {
    const { camera } = simulator.world;
    for (const SetCCDTemperature of [-280, 100])
      expect(await put(client, "setccdtemperature", { SetCCDTemperature })).toBe(0x401);
    expect(await put(client, "cooleron", { CoolerOn: false })).toBe(0);
    expect(await put(client, "setccdtemperature", { SetCCDTemperature: 5 })).toBe(0);
    expect(await value(client, "setccdtemperature")).toBe(5);
    expect(await value(client, "coolerpower")).toBe(0);
    expect(camera.coolerOn).toBe(false);
    await put(client, "cooleron", { CoolerOn: true });
    await pass(200);
    expect(await value(client, "ccdtemperature")).toBe(5);
    expect(await value(client, "coolerpower")).toBeGreaterThan(0);
  }));

test("a camera without a cooler says so in every member", () =>
  onCamera(
    async ({ client }) => {
      expect(await value(client, "cansetccdtemperature")).toBe(false);
      for (const member of ["cooleron", "setccdtemperature", "coolerpower"])
        expect([member, (await client.get(`camera/0/${member}`)).error]).toEqual([member, 0x400]);
      expect(await put(client, "cooleron", { CoolerOn: true })).toBe(0x400);
    },
    {
      change: (spec) => {
        const { coolerCelsiusMin: _, ...camera } = spec.camera;
        return { ...spec, camera };
      },
    },
  ));

test("disconnecting ends the exposure", () =>
  onCamera(async ({ client, simulator }) => {
    await put(client, "startexposure", { Duration: 10, Light: true });
    await client.put("camera/0/connected", { Connected: false });
    expect(simulator.world.camera.phase).toBe("idle");
  }));

test("device state: what can be read now, each value as its own member gives it, and nothing else", () =>
  onCamera(async ({ client }) => {
    const state = (await value(client, "devicestate")) as { Name: string; Value: unknown }[];
    const names = state.map(({ Name }) => Name);
    expect(names).toEqual(["CameraState", "CCDTemperature", "CoolerPower", "ImageReady", "TimeStamp"]);
    for (const { Name, Value } of state.slice(0, -1))
      expect([Name, await value(client, Name.toLowerCase())]).toEqual([Name, Value]);
  }));
