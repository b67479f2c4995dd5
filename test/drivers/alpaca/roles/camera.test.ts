import { expect, test } from "vitest";
import type { AlpacaCamera } from "../../../../drivers/alpaca/roles/camera.ts";
import type { CameraOptions } from "../../../../drivers/alpaca/roles/camera-limits.ts";
import { MissingAbilityError, OutOfLimitsError, RefusedError } from "../../../../drivers/kit/errors.ts";
import { type AlpacaBench, onAlpaca, startUtcMs } from "../alpaca-bench.ts";
import { type CameraScript, cameraName, ScriptedCamera } from "../scripted-camera.ts";

async function onCamera(
  script: CameraScript & { options?: CameraOptions },
  body: (camera: AlpacaCamera, truth: ScriptedCamera, bench: AlpacaBench) => Promise<void>,
): Promise<void> {
  let truth: ScriptedCamera | undefined;
  await onAlpaca(
    (far, clock) => {
      truth = new ScriptedCamera(far, clock, script);
    },
    async (bench) => {
      const camera = await bench.open("camera", { device: cameraName, ...script.options });
      await body(camera as AlpacaCamera, truth!, bench);
    },
  );
}

const light = { exposureSeconds: 2, frameType: "light" } as const;
const commands = (bench: AlpacaBench) =>
  bench.far.seen.filter(({ method }) => method === "PUT").map(({ member }) => member);

test("opening changes nothing: the baseline must be read first", () =>
  onCamera({}, async (camera, _, bench) => {
    expect(commands(bench)).toEqual([]);
    expect(camera.limits).toMatchObject({
      gain: { min: 0, max: 400 },
      offset: { min: 0, max: 200 },
      binning: { min: 1, max: 4 },
      sensorPx: { widthPx: 64, heightPx: 48 },
      fullScaleAdu: 65535,
    });
    expect(camera.limits.exposureSeconds.min).toBeGreaterThan(0);
  }));

test("a colour filter array is told, also to whoever reads what the camera can do", async () => {
  await onCamera({ sensorType: 2 }, async (camera) => {
    expect(camera.limits.colourFilterArray).toBe("RGGB");
    expect(camera.describe()).toMatchObject({ colour: "filter array RGGB", fullScale: "65535 adu, 16 bits" });
  });
  const shifted = { sensorType: 2, bayerOffset: [1, 1] } as const;
  await onCamera(shifted, async (camera) => expect(camera.limits.colourFilterArray).toBe("BGGR"));
  await onCamera({}, async (camera) => expect(camera.limits).not.toHaveProperty("colourFilterArray"));
});

test("an exposure brings its frame in rows, with what the camera says of it", () =>
  onCamera({}, async (camera, truth, bench) => {
    const frame = await camera.expose({ exposureSeconds: 3.5, frameType: "flat" }, bench.signal);
    expect(frame).toMatchObject({
      widthPx: 64,
      heightPx: 48,
      exposureSeconds: 3.5,
      startedUtcMs: startUtcMs,
      frameType: "flat",
      gain: 90,
      offset: 10,
      sensorCelsius: 4.5,
    });
    expect([frame.pixelsAdu[0], frame.pixelsAdu[1], frame.pixelsAdu[64]]).toEqual([1000, 1001, 1100]);
    expect(truth.lastLight).toBe(true);
  }));

test.each([
  ["light", true],
  ["flat", true],
  ["dark", false],
  ["bias", false],
] as const)("a %s frame: the shutter is asked to open: %s", (frameType, expected) =>
  onCamera({}, async (camera, truth, bench) => {
    await camera.expose({ exposureSeconds: 0.1, frameType }, bench.signal);
    expect(truth.lastLight).toBe(expected);
  }),
);

test.each([1, 2, 6, 8])("frames of element type %i are the same picture", (elementType) =>
  onCamera({ elementType }, async (camera, _, bench) => {
    await camera.configure({ region: { xPx: 0, yPx: 0, widthPx: 9, heightPx: 2 } }, bench.signal);
    const { pixelsAdu } = await camera.expose(light, bench.signal);
    const byte = (value: number) => (elementType === 6 ? value % 256 : value);
    expect([...pixelsAdu.slice(8, 11)]).toEqual([1008, 1100, 1101].map(byte));
  }),
);

test("binning and region are set together, in the device's binned pixels, and read back in ours", () =>
  onCamera({}, async (camera, truth, bench) => {
    const region = { xPx: 16, yPx: 8, widthPx: 32, heightPx: 16 };
    const set = await camera.configure({ binning: 2, region, gain: 120, offset: 20 }, bench.signal);
    expect(set).toEqual({ binning: 2, region, gain: 120, offset: 20 });
    const values = Object.values(truth.frame).map((member) => member.get!(new URLSearchParams()));
    expect(values).toEqual([2, 2, 8, 4, 16, 8]);
    expect(await camera.expose(light, bench.signal)).toMatchObject({ widthPx: 16, heightPx: 8, gain: 120 });
  }));

test("a change of binning alone keeps the part of the sensor, whole or not", () =>
  onCamera({}, async (camera, _, bench) => {
    expect((await camera.configure({ binning: 3 }, bench.signal)).region).toEqual({
      xPx: 0,
      yPx: 0,
      widthPx: 63,
      heightPx: 48,
    });
    const whole = { xPx: 0, yPx: 0, widthPx: 64, heightPx: 48 };
    expect((await camera.configure({ binning: 1 }, bench.signal)).region).toEqual(whole);
    const region = { xPx: 8, yPx: 4, widthPx: 24, heightPx: 12 };
    await camera.configure({ region }, bench.signal);
    expect((await camera.configure({ binning: 4 }, bench.signal)).region).toEqual(region);
  }));

test("gain by index: the index is what is set, and its name is told", () =>
  onCamera({ gainBy: "index" }, async (camera, _, bench) => {
    expect(camera.limits.gain).toMatchObject({ min: 0, max: 2 });
    expect(camera.describe().gain).toBe("0 to 2: low, medium, high");
    expect((await camera.configure({ gain: 2 }, bench.signal)).gain).toBe(2);
    await expect(camera.configure({ gain: 3 }, bench.signal)).rejects.toBeInstanceOf(OutOfLimitsError);
  }));

test("a camera without optional members: asked once, remembered, and frames all the same", () => {
  const without = ["lastexposurestarttime", "lastexposureduration", "ccdtemperature", "offset", "cooleron"];
  return onCamera({ gainBy: "none", without }, async (camera, _, bench) => {
    expect(camera.limits.gain).toBeUndefined();
    expect(camera.limits.offset).toBeUndefined();
    for (let i = 0; i < 3; i++) {
      const frame = await camera.expose(light, bench.signal);
      expect(frame).toMatchObject({ exposureSeconds: 2 });
      expect(frame).not.toHaveProperty("gain");
      expect(frame).not.toHaveProperty("sensorCelsius");
    }
    for (const member of without)
      expect([member, bench.far.asked(member, "GET").length]).toEqual([member, 1]);
    await expect(camera.configure({ gain: 1 }, bench.signal)).rejects.toBeInstanceOf(MissingAbilityError);
  });
});

test("outside the limits nothing is sent", () =>
  onCamera({}, async (camera, _, bench) => {
    const { signal } = bench;
    const region = { xPx: 60, yPx: 0, widthPx: 8, heightPx: 8 };
    for (const setup of [
      { gain: 401 },
      { gain: 1.5 },
      { offset: -1 },
      { binning: 5 },
      { region },
      { coolerCelsius: 200 },
    ])
      await expect(camera.configure(setup, signal)).rejects.toBeInstanceOf(OutOfLimitsError);
    for (const exposureSeconds of [601, 0, -1, Number.NaN])
      await expect(camera.expose({ exposureSeconds, frameType: "light" }, signal)).rejects.toBeInstanceOf(
        OutOfLimitsError,
      );
    expect(commands(bench)).toEqual([]);
  }));

test("a 60 s exposure is waited for with a handful of requests, and its end is noticed at once", () =>
  onCamera({}, async (camera, _, bench) => {
    await camera.expose({ exposureSeconds: 60, frameType: "light" }, bench.signal);
    const before = bench.far.seen.length;
    const startSeconds = bench.secondsNow();
    await camera.expose({ exposureSeconds: 60, frameType: "light" }, bench.signal);
    expect(bench.secondsNow() - startSeconds).toBeLessThan(61);
    const waiting = bench.far.seen
      .slice(before)
      .filter(({ member }) => /camerastate|imageready/.test(member));
    expect(waiting.length).toBeLessThanOrEqual(8);
  }));

test("short frames lose little: after the first ones the readout is foreseen", () =>
  onCamera({ readoutSeconds: 0.5 }, async (camera, _, bench) => {
    for (let i = 0; i < 3; i++)
      await camera.expose({ exposureSeconds: 0.05, frameType: "flat" }, bench.signal);
    const startSeconds = bench.secondsNow();
    const before = bench.far.asked("imageready", "GET").length;
    for (let i = 0; i < 10; i++)
      await camera.expose({ exposureSeconds: 0.05, frameType: "flat" }, bench.signal);
    expect((bench.secondsNow() - startSeconds) / 10).toBeLessThan(0.55 * 1.05);
    expect((bench.far.asked("imageready", "GET").length - before) / 10).toBeLessThanOrEqual(5);
  }));

test("an image that is still the one before is not taken for the new one", () =>
  onCamera({}, async (camera, truth, bench) => {
    const first = await camera.expose(light, bench.signal);
    truth.fate = "stale";
    bench.clock.setTimer(4, () => {
      truth.fate = "fine";
    });
    const second = await camera.expose(light, bench.signal);
    expect(second.startedUtcMs).toBeGreaterThan(first.startedUtcMs);
    expect(second.pixelsAdu[0]).toBe(2000);
    expect(truth.exposures).toBe(2);
  }));

test("an exposure that the camera forgot is taken again; one that fails is told", () =>
  onCamera({}, async (camera, truth, bench) => {
    truth.fate = "forgotten";
    bench.clock.setTimer(3, () => {
      truth.fate = "fine";
    });
    await camera.expose(light, bench.signal);
    expect(truth.exposures).toBe(2);
    truth.fate = "error";
    await expect(camera.expose(light, bench.signal)).rejects.toBeInstanceOf(RefusedError);
  }));

test("an abort ends the exposure with its reason, and the next frame is a good one", () =>
  onCamera({}, async (camera, truth, bench) => {
    const stop = new AbortController();
    bench.clock.setTimer(1, () => stop.abort(new Error("enough")));
    await expect(camera.expose({ exposureSeconds: 60, frameType: "light" }, stop.signal)).rejects.toThrow(
      "enough",
    );
    expect(truth.aborts).toBe(1);
    expect(bench.secondsNow()).toBeLessThan(3);
    expect((await camera.expose(light, bench.signal)).pixelsAdu[0]).toBe(2000);
    await camera.ensureStopped(bench.signal);
    expect(truth.aborts).toBe(1);
  }));

test("a camera that cannot abort is waited for", () =>
  onCamera({ canAbort: false }, async (camera, _, bench) => {
    const stop = new AbortController();
    bench.clock.setTimer(1, () => stop.abort(new Error("enough")));
    await expect(camera.expose({ exposureSeconds: 30, frameType: "light" }, stop.signal)).rejects.toThrow(
      "enough",
    );
    expect(bench.secondsNow()).toBeGreaterThan(30);
    expect((await camera.expose(light, bench.signal)).pixelsAdu[0]).toBe(2000);
  }));

test("settings: read, changed, put back exactly, and read back", () =>
  onCamera({}, async (camera, truth, bench) => {
    const { signal } = bench;
    const before = await camera.readSettings(signal);
    expect(before.map(({ key }) => key)).toEqual([
      "region",
      "gain",
      "offset",
      "coolerCelsius",
      "cooler",
      "connected",
    ]);
    await camera.configure(
      { binning: 2, gain: 5, region: { xPx: 2, yPx: 2, widthPx: 20, heightPx: 10 } },
      signal,
    );
    await camera.expose(light, signal);
    const values = () => Object.values(truth.frame).map((member) => member.get!(new URLSearchParams()));
    expect(values()).not.toEqual([1, 1, 0, 0, 64, 48]);
    for (const setting of before) await camera.restoreSetting(setting, signal);
    expect(values()).toEqual([1, 1, 0, 0, 64, 48]);
    const after = await camera.readSettings(signal);
    expect(after).toEqual(before);
    expect(before.every((setting, i) => camera.sameSetting(setting, after[i]!))).toBe(true);
    const sent = bench.far.seen.length;
    for (const setting of before) await camera.restoreSetting(setting, signal);
    expect(commands(bench).slice(sent)).toEqual([]);
  }));

test("connecting: the old way and the new one, and left as it was found", async () => {
  for (const version of [3, 4]) {
    let truth: ScriptedCamera | undefined;
    await onAlpaca(
      (far, clock) => {
        truth = new ScriptedCamera(far, clock, { version, connected: false });
      },
      async (bench) => {
        const camera = await bench.open("camera", { device: "camera/0" });
        expect(camera.name).toBe(cameraName);
        expect(truth!.connection.connected).toBe(true);
        expect((await camera.readSettings(bench.signal)).at(-1)).toEqual({ key: "connected", value: false });
      },
    );
    expect(truth!.connection.connected).toBe(false);
  }
});
