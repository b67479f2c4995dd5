import { expect, test } from "vitest";
import { IndiCamera } from "../../../../drivers/indi/roles/camera.ts";
import type { CameraOptions } from "../../../../drivers/indi/roles/camera-options.ts";
import {
  DeviceLostError,
  MissingAbilityError,
  OutOfLimitsError,
  ReadbackError,
  RefusedError,
} from "../../../../drivers/kit/errors.ts";
import { type Bench, numberText, onBench, startUtcMs, switchText } from "../role-bench.ts";
import { cameraName, fitsBytes, ScriptedCamera } from "../scripted-camera.ts";
import type { ScriptedServer } from "../scripted-server.ts";

async function onCamera(
  prepare: {
    version?: "1.9.9" | "2.2.4";
    without?: readonly string[];
    change?: (server: ScriptedServer) => void;
    options?: CameraOptions;
  },
  body: (camera: IndiCamera, truth: ScriptedCamera, bench: Bench) => Promise<void>,
): Promise<void> {
  let truth: ScriptedCamera | undefined;
  await onBench(
    (server) => {
      truth = new ScriptedCamera(server, prepare);
      prepare.change?.(server);
    },
    async (bench) => {
      const enable = (property: string) => bench.client.enableBlobs(cameraName, property);
      const route = { enable, ordered: bench.client.ordersBlobs };
      const camera = await new IndiCamera(bench.context(cameraName), route, prepare.options).open(
        bench.signal,
      );
      await body(camera, truth!, bench);
    },
  );
}

const commands = (bench: Bench) => bench.server.commands.map(({ name }) => name);
const light = { exposureSeconds: 2, frameType: "light" } as const;

test("opening changes nothing: the baseline must be read first", () =>
  onCamera({}, async (_, __, bench) => expect(commands(bench)).toEqual([])));

test("an exposure brings its frame with the header's facts", () =>
  onCamera({}, async (camera, _, bench) => {
    const frame = await camera.expose({ exposureSeconds: 3.5, frameType: "flat" }, bench.signal);
    expect(frame).toMatchObject({
      widthPx: 64,
      heightPx: 48,
      exposureSeconds: 3.5,
      frameType: "flat",
      gain: 90,
    });
    expect(frame.pixelsAdu.slice(0, 3)).toEqual(Uint16Array.of(0, 7, 14));
    expect(frame.startedUtcMs).toBeGreaterThanOrEqual(startUtcMs);
    expect(bench.server.value(cameraName, "CCD_FRAME_TYPE", "FRAME_FLAT")).toBe("On");
  }));

test("Ok first and the image later (fast mode's order) is one exposure as well", () =>
  onCamera({}, async (camera, truth, bench) => {
    truth.onExposure = (seconds) => {
      const startedUtcMs = bench.clock.nowMs();
      truth.state("Busy", seconds);
      bench.server.after(seconds, () => truth.state("Idle", 0)); // fast mode ends Idle
      bench.server.after(seconds + 0.04, () => truth.image({ exposureSeconds: seconds, startedUtcMs }));
    };
    expect((await camera.expose(light, bench.signal)).exposureSeconds).toBe(2);
    expect(truth.exposures).toBe(1);
  }));

test("Ok without an image is no exposure: retried after an abort, then after connecting anew, then told", () =>
  onCamera({ options: { readoutSeconds: 5 } }, async (camera, truth, bench) => {
    truth.onExposure = (seconds) => {
      truth.state("Busy", seconds);
      bench.server.after(seconds, () => truth.state("Ok", 0));
    };
    await expect(camera.expose(light, bench.signal)).rejects.toThrow(/second of image and end/);
    expect(truth.exposures).toBe(3);
    expect(commands(bench).filter((name) => name === "CCD_ABORT_EXPOSURE")).toHaveLength(3);
    expect(commands(bench).filter((name) => name === "CONNECTION").length).toBeGreaterThanOrEqual(2);
  }));

test("Busy for ever: one retry after an abort helps", () =>
  onCamera({ options: { readoutSeconds: 5 } }, async (camera, truth, bench) => {
    truth.onExposure = (seconds) => {
      if (truth.exposures > 1) truth.normally(seconds);
      else truth.state("Busy", 0); // a last Busy with 0 is no end
    };
    await camera.expose(light, bench.signal);
    expect(truth.exposures).toBe(2);
    expect(bench.secondsNow()).toBeGreaterThan(7);
    expect(bench.secondsNow()).toBeLessThan(13);
  }));

test("an old frame that comes before this request's Busy is not taken (recorded of 2.2.4)", () =>
  onCamera({ version: "2.2.4" }, async (camera, truth, bench) => {
    truth.onExposure = (seconds) => {
      truth.image({ exposureSeconds: seconds, startedUtcMs: bench.clock.nowMs() - 100 });
      bench.server.after(0.011, () => truth.normally(seconds));
    };
    const frame = await camera.expose(light, bench.signal);
    expect(frame.startedUtcMs).toBeGreaterThanOrEqual(bench.clock.nowMs() - 2100);
    expect(truth.exposures).toBe(1);
  }));

for (const [what, facts] of [
  ["of another exposure time", { exposureSeconds: 30 }],
  ["that began before it was asked for", { startedUtcMs: startUtcMs - 20_000 }],
  ["of another size", { widthPx: 640, heightPx: 480 }],
] as const) {
  test(`an old frame ${what}, under the new request's Busy, is dropped and the right one awaited`, () =>
    onCamera({}, async (camera, truth, bench) => {
      truth.onExposure = (seconds) => {
        truth.normally(seconds);
        truth.image({ exposureSeconds: seconds, startedUtcMs: bench.clock.nowMs(), ...facts });
      };
      const frame = await camera.expose(light, bench.signal);
      expect(frame).toMatchObject({ exposureSeconds: 2, widthPx: 64 });
      expect(truth.exposures).toBe(1);
      expect(bench.warnings.join()).toContain("a frame was dropped");
    }));
}

test("a camera whose clock is an hour off is believed once it repeats it", () =>
  onCamera({ options: { readoutSeconds: 5 } }, async (camera, truth, bench) => {
    truth.onExposure = (seconds) => {
      const startedUtcMs = bench.clock.nowMs() - 3_600_000;
      truth.state("Busy", seconds);
      bench.server.after(seconds, () => {
        truth.image({ exposureSeconds: seconds, startedUtcMs });
        truth.state("Ok", 0);
      });
    };
    await camera.expose(light, bench.signal);
    expect(truth.exposures).toBe(2);
    await camera.expose(light, bench.signal);
    expect(truth.exposures).toBe(3);
  }));

test("binning that the camera claims but does not do is found in the frame's size", () =>
  onCamera({ options: { readoutSeconds: 3 } }, async (camera, truth, bench) => {
    await camera.configure({ binning: 2 }, bench.signal);
    truth.onExposure = (seconds) => {
      const startedUtcMs = bench.clock.nowMs();
      truth.state("Busy", seconds);
      bench.server.after(seconds, () => {
        truth.image({ exposureSeconds: seconds, startedUtcMs, widthPx: 64, heightPx: 48 });
        truth.state("Ok", 0);
      });
    };
    await expect(camera.expose(light, bench.signal)).rejects.toBeInstanceOf(ReadbackError);
  }));

test("Alert on one exposure is a hiccup: the frame is taken again; on each it ends in the device's own words", () =>
  onCamera({}, async (camera, truth, bench) => {
    const fail = () => bench.server.set(cameraName, "CCD_EXPOSURE", "Alert", {}, "USB went away");
    const usual = truth.onExposure;
    truth.onExposure = () => {
      truth.onExposure = usual;
      fail();
    };
    expect(await camera.expose(light, bench.signal)).toMatchObject({ widthPx: 64, exposureSeconds: 2 });
    expect(truth.exposures).toBe(2);
    truth.onExposure = fail;
    await expect(camera.expose(light, bench.signal)).rejects.toThrow(/USB went away/);
    expect(truth.exposures).toBe(5);
  }));

test.each([
  [".fits.fz", 'frames in the format ".fits.fz" are not read'],
  [".FITS", undefined],
])(
  "frames in the format %s: what is not read is told with the first one, and not taken again",
  (format, told) =>
    onCamera({}, async (camera, truth, bench) => {
      truth.onExposure = (seconds) => {
        const startedUtcMs = bench.clock.nowMs();
        truth.state("Busy", seconds);
        bench.server.after(seconds, () => {
          const facts = { exposureSeconds: seconds, startedUtcMs, widthPx: 64, heightPx: 48 };
          bench.server.blob(cameraName, "CCD1", fitsBytes(facts), format);
          truth.state("Ok", 0);
        });
      };
      const outcome = await camera.expose(light, bench.signal).catch((thrown: unknown) => thrown);
      expect(truth.exposures).toBe(1);
      if (told === undefined) return expect(outcome).toMatchObject({ widthPx: 64 });
      expect(outcome).toMatchObject({ code: "INDI_FRAME_FORMAT", message: expect.stringContaining(told) });
      expect(bench.secondsNow()).toBeLessThan(10);
    }),
);

test("a request that vanishes is told after asking, not waited for", () =>
  onCamera({}, async (camera, _, bench) => {
    bench.server.ignore("CCD_EXPOSURE");
    await expect(
      camera.expose({ exposureSeconds: 1000, frameType: "light" }, bench.signal),
    ).rejects.toBeInstanceOf(RefusedError);
    expect(bench.secondsNow()).toBeLessThan(90); // three times
  }));

test("limits are kept before anything happens; a bias takes the camera's shortest time", () =>
  onCamera({}, async (camera, truth, bench) => {
    for (const exposureSeconds of [0.001, 5000, Number.NaN]) {
      await expect(
        camera.expose({ exposureSeconds, frameType: "dark" }, bench.signal),
      ).rejects.toBeInstanceOf(OutOfLimitsError);
    }
    expect(commands(bench)).toEqual([]);
    const bias = await camera.expose({ exposureSeconds: 0, frameType: "bias" }, bench.signal);
    expect(bias.exposureSeconds).toBe(0.01);
    expect(truth.exposures).toBe(1);
  }));

test("a driver that gives 0 as its shortest exposure: a bias is short, and never 0", () =>
  onCamera(
    {
      without: ["CCD_EXPOSURE"],
      change: (server) =>
        server.load(numberText(cameraName, "CCD_EXPOSURE", { CCD_EXPOSURE_VALUE: [1, 0, 100] })),
    },
    async (camera, _, bench) => {
      expect(camera.limits.exposureSeconds).toEqual({ min: 1e-6, max: 100 });
      expect((await camera.expose({ exposureSeconds: 0, frameType: "bias" }, bench.signal)).frameType).toBe(
        "bias",
      );
      expect(Number(bench.server.commands.at(-1)!.values.CCD_EXPOSURE_VALUE)).toBe(1e-6);
    },
  ));

test("abort: the device is stopped and idle before the reason comes back; the next frame is a new one", () =>
  onCamera({}, async (camera, truth, bench) => {
    const stop = new AbortController();
    const exposing = camera.expose({ exposureSeconds: 100, frameType: "light" }, stop.signal);
    bench.clock.setTimer(5, () => stop.abort(new Error("enough")));
    await expect(exposing).rejects.toThrow("enough");
    expect(bench.server.value(cameraName, "CCD_EXPOSURE", "CCD_EXPOSURE_VALUE")).toBe("0");
    expect(bench.secondsNow()).toBeLessThan(7);
    expect((await camera.expose(light, bench.signal)).exposureSeconds).toBe(2);
    expect(truth.exposures).toBe(2);
  }));

test("a camera that cannot abort: its exposure is waited for, and dropped", () =>
  onCamera({ without: ["CCD_ABORT_EXPOSURE"] }, async (camera, truth, bench) => {
    const stop = new AbortController();
    const exposing = camera.expose({ exposureSeconds: 40, frameType: "light" }, stop.signal);
    bench.clock.setTimer(5, () => stop.abort(new Error("enough")));
    await expect(exposing).rejects.toThrow("enough");
    expect(bench.secondsNow()).toBeGreaterThan(40);
    expect((await camera.expose(light, bench.signal)).exposureSeconds).toBe(2);
    expect(truth.exposures).toBe(2);
  }));

test("the driver dies in mid-exposure: connected again, set up again, exposed again", () =>
  onCamera({}, async (camera, truth, bench) => {
    await camera.configure({ gain: 40 }, bench.signal);
    const { server } = bench;
    truth.onExposure = (seconds) => {
      truth.onExposure = (again) => truth.normally(again);
      truth.state("Busy", seconds);
      server.after(1, () => {
        server.remember(cameraName, "CONNECTION", { CONNECT: "Off", DISCONNECT: "On" });
        server.remember(cameraName, "CCD_GAIN", { GAIN: "90" });
        const definitions = server.definitions(cameraName);
        server.delete(cameraName);
        server.after(0.06, () => server.define(definitions));
      });
    };
    await camera.expose(light, bench.signal);
    expect(server.value(cameraName, "CCD_GAIN", "GAIN")).toBe("40");
    expect(truth.exposures).toBe(2);
  }));

test("a driver that stays away is told as lost", () =>
  onCamera({}, async (camera, truth, bench) => {
    truth.onExposure = () => bench.server.delete(cameraName);
    await expect(camera.expose(light, bench.signal)).rejects.toSatisfy(
      (error) => error instanceof DeviceLostError || error instanceof MissingAbilityError,
    );
  }));

test("frames are brought to come whole and alone: FITS, not compressed, to us, no fast mode, no stream", () =>
  onCamera(
    {
      change: (server) => {
        server.remember(cameraName, "CCD_TRANSFER_FORMAT", { FORMAT_FITS: "Off", FORMAT_NATIVE: "On" });
        server.remember(cameraName, "UPLOAD_MODE", { UPLOAD_CLIENT: "Off", UPLOAD_LOCAL: "On" });
        server.remember(cameraName, "CCD_COMPRESSION", { INDI_ENABLED: "On", INDI_DISABLED: "Off" });
        server.remember(cameraName, "CCD_FAST_TOGGLE", { INDI_ENABLED: "On", INDI_DISABLED: "Off" });
        server.remember(cameraName, "CCD_VIDEO_STREAM", { STREAM_ON: "On", STREAM_OFF: "Off" });
      },
    },
    async (camera, _, bench) => {
      const { server, signal } = bench;
      const before = await camera.readSettings(signal);
      await camera.expose(light, signal);
      expect(server.value(cameraName, "CCD_TRANSFER_FORMAT", "FORMAT_FITS")).toBe("On");
      expect(server.value(cameraName, "UPLOAD_MODE", "UPLOAD_CLIENT")).toBe("On");
      expect(server.value(cameraName, "CCD_COMPRESSION", "INDI_DISABLED")).toBe("On");
      expect(server.value(cameraName, "CCD_FAST_TOGGLE", "INDI_DISABLED")).toBe("On");
      expect(server.value(cameraName, "CCD_VIDEO_STREAM", "STREAM_OFF")).toBe("On");
      for (const setting of before) await camera.restoreSetting(setting, signal);
      expect(server.value(cameraName, "UPLOAD_MODE", "UPLOAD_LOCAL")).toBe("On");
      expect(server.value(cameraName, "CCD_VIDEO_STREAM", "STREAM_ON")).toBe("On");
      expect(await camera.readSettings(signal)).toEqual(before);
    },
  ));

test("the whole set-up is put back: every value of every property that a separate reader sees", () =>
  onCamera({ version: "2.2.4" }, async (camera, _, bench) => {
    const { server, signal } = bench;
    const all = () => server.everyValue({ except: ["CCD_EXPOSURE"] });
    const before = all();
    const settings = await camera.readSettings(signal);
    const region = { xPx: 8, yPx: 4, widthPx: 32, heightPx: 16 };
    expect(await camera.configure({ gain: 5, offset: 100, binning: 2, region }, signal)).toEqual({
      gain: 5,
      offset: 100,
      binning: 2,
      region,
    });
    await camera.expose({ exposureSeconds: 0.5, frameType: "dark" }, signal);
    expect(all()).not.toEqual(before);
    for (const setting of settings) await camera.restoreSetting(setting, signal);
    expect(all()).toEqual(before);
  }));

test("the region is sent again after the binning, which may have lost it", () =>
  onCamera({}, async (camera, _, bench) => {
    bench.server.on("CCD_BINNING", (command) => {
      bench.server.obey(command);
      bench.server.set(cameraName, "CCD_FRAME", "Ok", { WIDTH: "1280", HEIGHT: "1024" });
    });
    const { region } = await camera.configure({ binning: 2 }, bench.signal);
    expect(region).toEqual({ xPx: 0, yPx: 0, widthPx: 64, heightPx: 48 });
    expect(commands(bench)).toEqual(["CCD_BINNING", "CCD_FRAME"]);
  }));

test("a region that the camera rounds is taken as it is", () =>
  onCamera({}, async (camera, _, bench) => {
    bench.server.on("CCD_FRAME", ({ values }) =>
      bench.server.set(cameraName, "CCD_FRAME", "Ok", {
        ...values,
        WIDTH: String(8 * Math.floor(Number(values.WIDTH) / 8)),
      }),
    );
    const { region } = await camera.configure(
      { region: { xPx: 0, yPx: 0, widthPx: 45, heightPx: 30 } },
      bench.signal,
    );
    expect(region.widthPx).toBe(40);
  }));

test("a set-up outside the limits is refused before anything is sent", () =>
  onCamera({}, async (camera, _, bench) => {
    const wrong = [
      { gain: 500 },
      { offset: -1 },
      { binning: 5 },
      { binning: 1.5 },
      { region: { xPx: 0, yPx: 0, widthPx: 1281, heightPx: 10 } },
      { region: { xPx: 0.5, yPx: 0, widthPx: 10, heightPx: 10 } },
      { coolerCelsius: -80 },
    ];
    for (const setup of wrong)
      await expect(camera.configure(setup, bench.signal)).rejects.toBeInstanceOf(OutOfLimitsError);
    expect(commands(bench)).toEqual([]);
  }));

test("Alert followed by Ok with the old gain is a refusal (recorded)", () =>
  onCamera({}, async (camera, _, bench) => {
    bench.server.on("CCD_GAIN", () => {
      bench.server.set(cameraName, "CCD_GAIN", "Alert", {}, "Error: Invalid range for Value (GAIN).");
      bench.server.set(cameraName, "CCD_GAIN", "Ok", {});
    });
    await expect(camera.configure({ gain: 10 }, bench.signal)).rejects.toThrow();
  }));

test("gain among CCD_CONTROLS in the maker's spelling, its automatic switched off and put back", () =>
  onCamera(
    {
      without: ["CCD_GAIN", "CCD_OFFSET"],
      change: (server) => {
        server.load(
          numberText(cameraName, "CCD_CONTROLS", {
            Exposure: 1,
            Gain: [250, 0, 400],
            Brightness: [10, 0, 100],
          }),
        );
        server.load(
          switchText(
            cameraName,
            "CCD_CONTROLS_MODE",
            { AUTO_Gain: true, AUTO_Exposure: false },
            { rule: "AnyOfMany" },
          ),
        );
      },
    },
    async (camera, _, bench) => {
      expect(camera.limits.gain).toEqual({ min: 0, max: 400 });
      const before = await camera.readSettings(bench.signal);
      expect(await camera.configure({ gain: 0, offset: 20 }, bench.signal)).toMatchObject({
        gain: 0,
        offset: 20,
      });
      expect(bench.server.values(cameraName, "CCD_CONTROLS")).toEqual({
        Exposure: "1",
        Gain: "0",
        Brightness: "20",
      });
      expect(bench.server.value(cameraName, "CCD_CONTROLS_MODE", "AUTO_Gain")).toBe("Off");
      for (const setting of before) await camera.restoreSetting(setting, bench.signal);
      expect(bench.server.values(cameraName, "CCD_CONTROLS")).toEqual({
        Exposure: "1",
        Gain: "250",
        Brightness: "10",
      });
      expect(bench.server.value(cameraName, "CCD_CONTROLS_MODE", "AUTO_Gain")).toBe("On");
    },
  ));

test("gain where the rig file says; a wrong place is told", () =>
  onCamera(
    {
      without: ["CCD_GAIN", "CCD_OFFSET"],
      change: (server) => server.load(numberText(cameraName, "ISO_LIKE", { amp: [3, 0, 9] })),
      options: { gainProperty: "ISO_LIKE.amp" },
    },
    async (camera, _, bench) => {
      expect(camera.limits).toMatchObject({ gain: { min: 0, max: 9 }, offset: undefined });
      expect((await camera.configure({ gain: 1 }, bench.signal)).gain).toBe(1);
      await expect(camera.configure({ offset: 1 }, bench.signal)).rejects.toBeInstanceOf(MissingAbilityError);
    },
  ));

test("full scale: the word's bits, and a converter of fewer bits fills the upper ones", () =>
  onCamera({}, async (camera, _, bench) => {
    expect(camera.limits.fullScaleAdu).toBe(65535);
    bench.server.define(numberText(cameraName, "ADC_DEPTH", { BITS: 12 }, { perm: "ro" }));
    await bench.clock.sleep(0.1);
    expect(camera.limits.fullScaleAdu).toBe(65520);
    bench.server.set(cameraName, "CCD_INFO", "Ok", { CCD_BITSPERPIXEL: "8" });
    await bench.clock.sleep(0.1);
    expect(camera.limits.fullScaleAdu).toBe(255);
  }));

test("a colour filter array is told by its pattern; a monochrome camera tells of none", () =>
  onCamera({}, async (camera, _, bench) => {
    expect(camera.limits).not.toHaveProperty("colourFilterArray");
    const text = (name: string, value: string) => `<defText name="${name}">${value}</defText>`;
    bench.server.define(
      `<defTextVector device="${cameraName}" name="CCD_CFA" state="Idle" perm="rw">${text("CFA_OFFSET_X", "0")}${text("CFA_TYPE", "RGGB")}</defTextVector>`,
    );
    await bench.clock.sleep(0.1);
    expect(camera.limits.colourFilterArray).toBe("RGGB");
    expect(camera.describe()).toMatchObject({ colour: "filter array RGGB" });
    bench.server.define(
      `<defTextVector device="${cameraName}" name="CCD_CFA" state="Idle" perm="rw">${text("CFA_OFFSET_X", "1")}${text("CFA_OFFSET_Y", "0")}${text("CFA_TYPE", "RGGB")}</defTextVector>`,
    );
    await bench.clock.sleep(0.1);
    expect(camera.limits.colourFilterArray).toBe("GRBG");
  }));

test("a camera of three planes only is refused when it is opened, unless the rig file names a format", async () => {
  const colour = {
    without: ["CCD_CAPTURE_FORMAT"],
    change: (server: ScriptedServer) =>
      server.load(switchText(cameraName, "CCD_CAPTURE_FORMAT", { INDI_RGB: true, INDI_JPG: false })),
  };
  await expect(onCamera(colour, async () => {})).rejects.toThrow(/three planes.*INDI_RGB, INDI_JPG/);
  await onCamera({ ...colour, options: { captureFormat: "INDI_RGB" } }, async (_, __, bench) =>
    expect(commands(bench)).toEqual([]),
  );
});

test("capture format: the deepest plain one is taken, before binning and region, and put back", () =>
  onCamera(
    {
      without: ["CCD_CAPTURE_FORMAT"],
      change: (server) =>
        server.load(
          switchText(cameraName, "CCD_CAPTURE_FORMAT", { MONO_8: true, MONO_16: false, RGB_24: false }),
        ),
    },
    async (camera, _, bench) => {
      const before = await camera.readSettings(bench.signal);
      await camera.configure(
        { binning: 2, region: { xPx: 0, yPx: 0, widthPx: 32, heightPx: 32 } },
        bench.signal,
      );
      expect(bench.server.value(cameraName, "CCD_CAPTURE_FORMAT", "MONO_16")).toBe("On");
      const order = commands(bench);
      expect(order[0]).toBe("CCD_CAPTURE_FORMAT");
      expect(order.indexOf("CCD_BINNING")).toBeLessThan(order.indexOf("CCD_FRAME"));
      for (const setting of before) await camera.restoreSetting(setting, bench.signal);
      expect(bench.server.value(cameraName, "CCD_CAPTURE_FORMAT", "MONO_8")).toBe("On");
    },
  ));

test("a list of capture formats that is empty on the first connect is asked for again", () =>
  onCamera(
    {
      without: ["CCD_CAPTURE_FORMAT"],
      change: (server) => {
        server.load(switchText(cameraName, "CCD_CAPTURE_FORMAT", {}));
        server.beforeAnswer = (_, name) => {
          if (name !== "CCD_CAPTURE_FORMAT") return;
          server.beforeAnswer = () => {};
          server.load(switchText(cameraName, "CCD_CAPTURE_FORMAT", { MONO_8: true, MONO_12: false }));
        };
      },
    },
    async (camera, _, bench) => {
      await camera.expose(light, bench.signal);
      expect(bench.server.value(cameraName, "CCD_CAPTURE_FORMAT", "MONO_12")).toBe("On");
    },
  ));

test("another client's commands to the camera are told", () =>
  onCamera({}, async (camera, _, bench) => {
    bench.server.sendRaw(
      `<newNumberVector device="${cameraName}" name="CCD_GAIN"><oneNumber name="GAIN">3</oneNumber></newNumberVector>`,
    );
    await bench.clock.sleep(0.1);
    expect(bench.warnings.join()).toContain("another client of INDI server commanded CCD_GAIN to GAIN=3");
    expect((await camera.configure({}, bench.signal)).gain).toBe(90); // a command is never a state
  }));

test("cooler: the set point switches it on, is waited for, and off is put back", () =>
  onCamera({}, async (camera, _, bench) => {
    const { server } = bench;
    server.on("CCD_TEMPERATURE", ({ values }) => {
      server.set(cameraName, "CCD_COOLER", "Busy", { COOLER_ON: "On", COOLER_OFF: "Off" });
      server.set(cameraName, "CCD_TEMPERATURE", "Busy");
      const target = Number(values.CCD_TEMPERATURE_VALUE);
      for (let i = 1; i <= 20; i++) {
        server.after(i, () =>
          server.set(cameraName, "CCD_TEMPERATURE", i === 20 ? "Ok" : "Busy", {
            CCD_TEMPERATURE_VALUE: String((target * i) / 20),
          }),
        );
      }
    });
    const before = await camera.readSettings(bench.signal);
    await camera.configure({ coolerCelsius: -10 }, bench.signal);
    expect(await camera.cooler.sensorCelsius(bench.signal)).toBeCloseTo(-9.5, 5);
    expect(server.value(cameraName, "CCD_COOLER", "COOLER_ON")).toBe("On");
    for (const setting of before) await camera.restoreSetting(setting, bench.signal);
    expect(server.value(cameraName, "CCD_COOLER", "COOLER_OFF")).toBe("On");
  }));

test("a cooler that regulates is Busy for good: it is left as it is, or put back on", () =>
  onCamera({}, async (camera, _, bench) => {
    const { server, signal } = bench;
    server.set(cameraName, "CCD_COOLER", "Busy", { COOLER_ON: "On", COOLER_OFF: "Off" });
    await bench.clock.sleep(0.1);
    const before = await camera.readSettings(signal);
    for (const setting of before) await camera.restoreSetting(setting, signal);
    expect(commands(bench)).toEqual([]);
    server.on("CCD_COOLER", ({ values }) => server.set(cameraName, "CCD_COOLER", "Busy", values));
    server.set(cameraName, "CCD_COOLER", "Idle", { COOLER_ON: "Off", COOLER_OFF: "On" });
    await bench.clock.sleep(0.1);
    await camera.restoreSetting({ key: "cooler", value: "COOLER_ON" }, signal);
    expect(server.value(cameraName, "CCD_COOLER", "COOLER_ON")).toBe("On");
  }));

test("a camera found disconnected is disconnected again, last of all", () =>
  onCamera(
    { change: (server) => server.remember(cameraName, "CONNECTION", { CONNECT: "Off", DISCONNECT: "On" }) },
    async (camera, _, bench) => {
      const before = await camera.readSettings(bench.signal);
      expect(before.at(-1)).toEqual({ key: "connected", value: false });
      for (const setting of before) await camera.restoreSetting(setting, bench.signal);
      expect(bench.server.value(cameraName, "CONNECTION", "DISCONNECT")).toBe("On");
      expect(await camera.readSettings(bench.signal)).toEqual(before);
      expect(await camera.isAlive(bench.signal)).toBe(false);
    },
  ));

test("a hung driver is not alive although its server answers", () =>
  onCamera({}, async (camera, _, bench) => {
    expect(await camera.isAlive(bench.signal)).toBe(true);
    bench.server.answering = false;
    expect(await camera.isAlive(bench.signal)).toBe(false);
  }));
