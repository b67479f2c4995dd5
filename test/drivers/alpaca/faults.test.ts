import { expect, test } from "vitest";
import type { AlpacaCamera } from "../../../drivers/alpaca/roles/camera.ts";
import type { AlpacaMount } from "../../../drivers/alpaca/roles/mount.ts";
import { DeadlineError, DeviceLostError } from "../../../drivers/kit/errors.ts";
import type { HttpRequest } from "../../../drivers/kit/http-link.ts";
import type { Cover } from "../../../drivers/roles/cover.ts";
import { type AlpacaBench, onAlpaca } from "./alpaca-bench.ts";
import { json, type Seen, text } from "./scripted-alpaca.ts";
import { type CameraScript, cameraName, ScriptedCamera } from "./scripted-camera.ts";
import { mountName, ScriptedMount } from "./scripted-mount.ts";
import { addCover } from "./scripted-movers.ts";

/** What can go wrong between here and a device; each ends well or in an error that says what and what to do. */

async function withCamera(
  body: (camera: AlpacaCamera, truth: ScriptedCamera, bench: AlpacaBench) => Promise<void>,
  script: CameraScript & { readoutSeconds?: number } = {},
): Promise<void> {
  let truth: ScriptedCamera | undefined;
  await onAlpaca(
    (far, clock) => {
      truth = new ScriptedCamera(far, clock, script);
    },
    async (bench) => {
      const camera = (await bench.open("camera", { device: cameraName })) as AlpacaCamera;
      await body(camera, truth!, bench);
    },
  );
}

const light = { exposureSeconds: 60, frameType: "light" } as const;
const short = { exposureSeconds: 2, frameType: "light" } as const;

/** Misbehaves so many times for one member, then no more. */
function times(
  count: number,
  member: string,
  answer: (seen: Seen) => ReturnType<typeof text> | "hang" | "cut" | "refuse",
) {
  let left = count;
  return (seen: Seen) => (seen.member === member && left-- > 0 ? answer(seen) : undefined);
}

test("server restarted in mid-exposure: connected again, settings put back, the frame taken anew", () =>
  withCamera(async (camera, truth, bench) => {
    await camera.configure(
      { gain: 120, binning: 2, region: { xPx: 0, yPx: 0, widthPx: 32, heightPx: 16 } },
      bench.signal,
    );
    bench.clock.setTimer(20, () => {
      bench.far.intercept = () => "refuse";
      truth.connection.connected = false;
      truth.forget();
      bench.far.transactions = 0;
    });
    bench.clock.setTimer(32, () => {
      bench.far.intercept = undefined;
    });
    const frame = await camera.expose(light, bench.signal);
    expect(frame).toMatchObject({ widthPx: 16, heightPx: 8, exposureSeconds: 60, gain: 120 });
    expect(truth.exposures).toBe(2);
    expect(bench.warnings.join()).toContain("connecting again");
  }));

test("server that restarts so fast that nobody sees it: its count of transactions tells", () =>
  withCamera(async (camera, truth, bench) => {
    await camera.configure({ binning: 4 }, bench.signal);
    bench.clock.setTimer(5, () => {
      truth.forget();
      bench.far.transactions = 0;
    });
    const frame = await camera.expose(light, bench.signal);
    expect(frame).toMatchObject({ widthPx: 16, heightPx: 12 });
    expect(bench.server.restartCount).toBe(1);
  }));

test("device disconnected by another client in mid-exposure: connected again and the frame taken anew", () =>
  withCamera(async (camera, truth, bench) => {
    bench.clock.setTimer(20, () => {
      truth.connection.connected = false;
      truth.forget();
    });
    expect(await camera.expose(light, bench.signal)).toMatchObject({ widthPx: 64, exposureSeconds: 60 });
    expect(truth.exposures).toBe(2);
    expect(truth.connection.connected).toBe(true);
  }));

test("power-cycled device that its server calls connected: disconnected and connected", () =>
  onAlpaca(
    (far, clock) => void addCover(far, clock, "Flap"),
    async (bench) => {
      const cover = (await bench.open("cover", { device: "Flap" })) as unknown as Cover;
      let isDead = true;
      bench.far.intercept = (seen, request) => {
        if (seen.member === "connected" && seen.parameters.get("Connected") === "True") isDead = false;
        if (seen.member !== "coverstate" || !isDead) return undefined;
        return { ...bench.far.answer(request), ...json({ ErrorNumber: 0x407, ErrorMessage: "no power" }) };
      };
      expect(await cover.state(bench.signal)).toBe("closed");
      const sent = bench.far.asked("connected").map(({ parameters }) => parameters.get("Connected"));
      expect(sent).toEqual(["False", "True"]);
    },
  ));

test("two operations find the device gone at once: connected once, and one given up does not spoil the other", () =>
  onAlpaca(
    (far, clock) => void addCover(far, clock, "Flap"),
    async (bench) => {
      const cover = (await bench.open("cover", { device: "Flap" })) as unknown as Cover;
      bench.far.intercept = () => "refuse";
      bench.clock.setTimer(6, () => {
        bench.far.intercept = undefined;
      });
      const stop = new AbortController();
      bench.clock.setTimer(3, () => stop.abort(new Error("no longer wanted")));
      const [first, second] = await Promise.allSettled([cover.state(stop.signal), cover.state(bench.signal)]);
      expect(first).toMatchObject({ status: "rejected", reason: { message: "no longer wanted" } });
      expect(second).toEqual({ status: "fulfilled", value: "closed" });
    },
  ));

test("HTTP 500 with a page of HTML: its words, its status, and the frame taken again or given up", () =>
  withCamera(async (camera, truth, bench) => {
    const page = "<html><head><title>x</title></head><body><h1>Oops</h1> stack &amp; trace</body></html>";
    bench.far.intercept = times(1, "startexposure", () => text(500, page, "text/html"));
    expect(await camera.expose(short, bench.signal)).toMatchObject({ widthPx: 64 });
    expect(truth.exposures).toBe(1);
    bench.far.intercept = times(99, "startexposure", () => text(500, page, "text/html"));
    const error = await camera.expose(short, bench.signal).catch((thrown: unknown) => thrown);
    expect(error).toMatchObject({ code: "RIG_REFUSED", cause: { status: 500 } });
    expect(String(error)).toMatch(/Test Camera: startexposure: the server answers HTTP 500 \(Oops stack/);
    expect([truth.exposures, bench.far.asked("startexposure").length]).toEqual([1, 5]);
  }));

test("a camera that calls one exposure failed is asked once more; what its interface forbids is not", () =>
  withCamera(async (camera, truth, bench) => {
    truth.fate = "error";
    bench.far.intercept = ({ member }) => {
      if (member !== "startexposure" || truth.exposures === 0) return undefined;
      truth.fate = "fine"; // the second time
      truth.forget();
      return undefined;
    };
    expect(await camera.expose(short, bench.signal)).toMatchObject({ widthPx: 64 });
    const before = bench.far.asked("startexposure").length;
    const fault = (errorNumber: number) => (seen: Seen, request: HttpRequest) =>
      seen.member === "startexposure"
        ? { ...bench.far.answer(request), ...json({ ErrorNumber: errorNumber, ErrorMessage: "no" }) }
        : undefined;
    bench.far.intercept = fault(0x401);
    await expect(camera.expose(short, bench.signal)).rejects.toMatchObject({ errorNumber: 0x401 });
    expect(bench.far.asked("startexposure").length - before).toBe(1);
  }));

test("HTTP 500 now and then while a device is connected and read: asked again, and it opens", () =>
  onAlpaca(
    (far, clock) => {
      addCover(far, clock, "Flap");
      const failed = new Set<string>();
      far.intercept = ({ method, member }) => {
        const key = `${method} ${member}`;
        if (failed.has(key)) return undefined;
        failed.add(key);
        return text(500, "busy");
      };
    },
    async (bench) => {
      const cover = (await bench.open("cover", { device: "Flap" })) as unknown as Cover;
      expect(await cover.state(bench.signal)).toBe("closed");
    },
  ));

test.each([
  ["HTTP 500", () => text(500, "no")],
  ["a driver's own error", () => json({ ErrorNumber: 0x500, ErrorMessage: "no" })],
] as const)("%s on DeviceState: the values are read one by one, and it is not asked again", (_, answer) =>
  onAlpaca(
    (far, clock) => void new ScriptedMount(far, clock, { version: 4 }),
    async (bench) => {
      const mount = (await bench.open("mount", { device: mountName })) as AlpacaMount;
      bench.far.intercept = (seen, request) =>
        seen.member === "devicestate" ? { ...bench.far.answer(request), ...answer() } : undefined;
      expect(await mount.state(bench.signal)).toMatchObject({ motion: "still" });
      const asked = bench.far.asked("devicestate", "GET").length;
      expect(await mount.state(bench.signal)).toMatchObject({ motion: "still" });
      expect(bench.far.asked("devicestate", "GET").length).toBe(asked);
      expect(bench.warnings.join()).toContain("one by one");
    },
  ),
);

test("an image cut on its way is fetched again; cut every time it ends in an error that names the camera", () =>
  withCamera(async (camera, truth, bench) => {
    bench.far.intercept = times(1, "imagearray", () => "cut");
    expect(await camera.expose(short, bench.signal)).toMatchObject({ widthPx: 64 });
    expect([truth.exposures, bench.far.asked("imagearray", "GET").length]).toEqual([1, 2]);
    bench.far.intercept = times(99, "imagearray", () => "cut");
    const error = await camera.expose(short, bench.signal).catch((thrown: unknown) => thrown);
    expect(error).toBeInstanceOf(DeviceLostError);
    expect(String(error)).toContain(`${cameraName}: imagearray: other side closed`);
  }));

test("an image with a wrong length is no frame: the exposure is taken again", () =>
  withCamera(async (camera, truth, bench) => {
    let left = 1;
    bench.far.intercept = (seen, request) => {
      if (seen.member !== "imagearray" || left-- <= 0) return undefined;
      const reply = bench.far.answer(request);
      return { ...reply, body: reply.body.subarray(0, reply.body.length - 100) };
    };
    expect(await camera.expose(short, bench.signal)).toMatchObject({ widthPx: 64 });
    expect(truth.exposures).toBe(2);
  }));

test("a stall of 30 s in the middle of a wait is sat out; one in the image ends the attempt", () =>
  withCamera(async (camera, truth, bench) => {
    bench.clock.setTimer(1, () => {
      bench.far.intercept = () => "hang";
    });
    bench.clock.setTimer(14, () => {
      bench.far.intercept = undefined;
    });
    await camera.expose(short, bench.signal);
    expect(truth.exposures).toBe(1);
    const startSeconds = bench.secondsNow();
    bench.far.intercept = times(1, "imagearray", () => "hang");
    await camera.expose(short, bench.signal);
    expect(bench.secondsNow() - startSeconds).toBeGreaterThan(30);
    expect(truth.exposures).toBe(3);
  }));

test("a server that never answers again: the read ends at its deadline, with what was asked", () =>
  withCamera(async (camera, _, bench) => {
    bench.far.intercept = () => "hang";
    const startSeconds = bench.secondsNow();
    const error = await camera.ensureStopped(bench.signal).catch((thrown: unknown) => thrown);
    expect(error).toBeInstanceOf(DeadlineError);
    expect(error).toMatchObject({
      code: "RIG_DEADLINE",
      what: "the answer to camerastate",
      device: cameraName,
    });
    expect(bench.secondsNow() - startSeconds).toBeLessThan(15);
    expect(await camera.isAlive(bench.signal)).toBe(false);
  }));

test("transaction ids missing, and content types with and without parameters: all the same", () =>
  withCamera(async (camera, _, bench) => {
    bench.far.intercept = (_seen, request) => {
      const reply = bench.far.answer(request);
      if (!reply.headers["content-type"]!.startsWith("application/json")) {
        return { ...reply, headers: { "content-type": "application/imagebytes; charset=binary" } };
      }
      const {
        ClientTransactionID: _1,
        ServerTransactionID: _2,
        ...rest
      } = JSON.parse(new TextDecoder().decode(reply.body)) as Record<string, unknown>;
      return { ...json(rest), headers: { "content-type": "application/json" } };
    };
    expect(await camera.expose(short, bench.signal)).toMatchObject({ widthPx: 64, gain: 90 });
    expect(bench.server.restartCount).toBe(0);
  }));

test("an answer to another question: the link is dropped, and the next answer is the right one", () =>
  withCamera(async (camera, _, bench) => {
    bench.far.intercept = times(1, "camerastate", () =>
      json({ ClientTransactionID: 1, ErrorNumber: 0, Value: 2 }),
    );
    await expect(camera.ensureStopped(bench.signal)).rejects.toMatchObject({
      code: "ALPACA_UNREADABLE_REPLY",
    });
    expect(bench.far.resets).toBe(1);
    await camera.ensureStopped(bench.signal);
  }));

test.each([
  ["a comma in a JSON number", '{"Value":20,5,"ErrorNumber":0,"ErrorMessage":""}'],
  ["a number as text with a comma", '{"Value":"20,5","ErrorNumber":0,"ErrorMessage":""}'],
  ["a number as text", '{"Value":"20.5","ErrorNumber":0,"ErrorMessage":""}'],
  ["null", '{"Value":null,"ErrorNumber":0,"ErrorMessage":""}'],
  ["nothing", '{"ErrorNumber":0,"ErrorMessage":""}'],
  ["HTML", "<html>login</html>"],
])("a reading that is %s is an error with what came, never a number", (_, body) =>
  onAlpaca(
    (far, clock) => void new ScriptedMount(far, clock, { version: 3 }),
    async (bench) => {
      const mount = (await bench.open("mount", { device: mountName })) as AlpacaMount;
      bench.far.intercept = (seen) =>
        seen.member === "declination" ? text(200, body, "application/json") : undefined;
      const error = await mount.state(bench.signal).catch((thrown: unknown) => thrown);
      expect(error).toMatchObject({
        code: "ALPACA_UNREADABLE_REPLY",
        member: "declination",
        device: mountName,
      });
    },
  ),
);

test("what we send has a full stop, whatever the machine's language", () =>
  onAlpaca(
    (far, clock) => void new ScriptedMount(far, clock),
    async (bench) => {
      const mount = (await bench.open("mount", { device: mountName })) as AlpacaMount;
      await mount.slewTo({ raHours: 6.000_000_1, decDegrees: 1e-7 }, bench.signal);
      const sent = bench.far.asked("slewtocoordinatesasync")[0]!.parameters;
      expect(sent.get("RightAscension")).toMatch(/^6\.0000001\d*$/);
      expect(sent.get("Declination")).toBe("0.0000001");
    },
  ));

test("link lost in mid-slew for some seconds: the slew is not sent twice, and arrives", () =>
  onAlpaca(
    (far, clock) => void new ScriptedMount(far, clock),
    async (bench) => {
      const mount = (await bench.open("mount", { device: mountName })) as AlpacaMount;
      bench.clock.setTimer(1, () => {
        bench.far.intercept = () => "refuse";
      });
      bench.clock.setTimer(6, () => {
        bench.far.intercept = undefined;
      });
      await mount.slewTo({ raHours: 6, decDegrees: 50 }, bench.signal);
      expect(bench.far.asked("slewtocoordinatesasync")).toHaveLength(1);
      expect((await mount.state(bench.signal)).pointing.decDegrees).toBeCloseTo(50, 3);
    },
  ));

test("HTTP 500 and garbage now and then in mid-slew: looked at again, and it arrives", () =>
  onAlpaca(
    (far, clock) => void new ScriptedMount(far, clock),
    async (bench) => {
      const mount = (await bench.open("mount", { device: mountName })) as AlpacaMount;
      let count = 0;
      bench.far.intercept = ({ member }) => {
        if (member !== "devicestate" || bench.secondsNow() < 1 || bench.secondsNow() > 8) return undefined;
        count++;
        return count % 3 === 0 ? text(500, "busy") : count % 3 === 1 ? text(200, "<html>") : undefined;
      };
      await mount.slewTo({ raHours: 6, decDegrees: 50 }, bench.signal);
      bench.far.intercept = undefined;
      expect(count).toBeGreaterThan(5);
      expect(bench.far.asked("abortslew")).toEqual([]);
      expect((await mount.state(bench.signal)).pointing.decDegrees).toBeCloseTo(50, 3);
    },
  ));

test("a mount out of sight in mid-slew is told to stop before the run is told", () =>
  onAlpaca(
    (far, clock) => void new ScriptedMount(far, clock, { slewDegreesPerSecond: 0.6 }),
    async (bench) => {
      const mount = (await bench.open("mount", { device: mountName })) as AlpacaMount;
      bench.clock.setTimer(2, () => {
        bench.far.intercept = ({ member }) => (member === "abortslew" ? undefined : text(500, "busy"));
      });
      await expect(mount.slewTo({ raHours: 6, decDegrees: 60 }, bench.signal)).rejects.toMatchObject({
        status: 500,
      });
      expect(bench.far.asked("abortslew")).toHaveLength(1);
    },
  ));

test("a lost answer to a command that moves is never sent again by itself: the mount is stopped", () =>
  onAlpaca(
    (far, clock) => void new ScriptedMount(far, clock),
    async (bench) => {
      const mount = (await bench.open("mount", { device: mountName })) as AlpacaMount;
      bench.far.intercept = times(1, "slewtocoordinatesasync", () => "cut");
      await expect(mount.slewTo({ raHours: 6, decDegrees: 50 }, bench.signal)).rejects.toBeInstanceOf(
        DeviceLostError,
      );
      expect(bench.far.asked("slewtocoordinatesasync")).toHaveLength(1);
    },
  ));
