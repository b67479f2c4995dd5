import { mkdtempSync, rmSync, writeFileSync } from "node:fs";
import { tmpdir } from "node:os";
import { delimiter, join, resolve } from "node:path";
import { afterAll, beforeAll, expect, test } from "vitest";
import { readFits } from "../../drivers/formats/fits-read.ts";
import { sunPlace } from "../../sim-devices/scene/sun/sun-place.ts";
import { HandClient } from "../sim-devices/sim-session.ts";
import { type StockServer, startStockServer } from "./stock-server.ts";

const root = resolve(import.meta.dirname, "../..");
const program = (name: string) => join(root, "sim-devices/indi/programs", name);

/** A site where it is about noon now, so that the Sun is up whenever the test runs. */
const hoursUtc = (Date.now() / 3_600_000) % 24;
const site = { latitudeDegrees: 0, longitudeDegrees: (12 - hoursUtc) * 15, elevationMetres: 0 };

let server: StockServer;
let client: HandClient;
let folder: string;

beforeAll(async () => {
  folder = mkdtempSync(join(tmpdir(), "driver-programs-"));
  const scene = join(folder, "scene.yaml");
  writeFileSync(
    scene,
    [
      "camera: { widthPx: 320, heightPx: 240, pixelMicron: 19.2, readoutSeconds: 0.1 }",
      "startsWith: { region: { xPx: 0, yPx: 0, widthPx: 320, heightPx: 240 }, gain: 0, cover: open }",
      "mount: { pointingErrorDegrees: { east: 0, north: 0 }, driftArcsecPerSecond: { east: 0, north: 0 } }",
      // The stock focuser stands at 50000 of 100000 steps; the picture would be blurred beyond use elsewhere.
      "focuser: { bestSteps: 50000, stepsMin: 0, stepsMax: 100000 }",
      "rig: { dust: [] }",
    ].join("\n"),
  );
  // The programs name their interpreter as `bun`, which may be installed in this folder only.
  process.env.PATH = `${join(root, "node_modules/.bin")}${delimiter}${process.env.PATH}`;
  process.env.EVENFIELD_SCENE = scene;
  server = await startStockServer({
    drivers: [
      "indi_simulator_telescope",
      "indi_simulator_focus",
      "indi_simulator_wheel",
      program("camera-driver.ts"),
      program("front-cover-driver.ts"),
    ],
  });
  client = new HandClient(await server.open(new AbortController().signal));
  await client.say('<getProperties version="1.7"/>');
  await client.say('<enableBLOB device="Scene Camera" name="CCD1">Also</enableBLOB>');
});

afterAll(async () => {
  delete process.env.EVENFIELD_SCENE;
  await server?.[Symbol.asyncDispose]();
  rmSync(folder, { recursive: true, force: true });
});

async function until<T>(what: string, look: () => T | undefined): Promise<T> {
  for (let attempt = 0; attempt < 3000; attempt++) {
    const found = look();
    if (found !== undefined) return found;
    await new Promise((resolve) => setTimeout(resolve, 100));
  }
  throw new Error(`${what} did not come; heard ${client.heard.map((e) => e.attributes.name).join(" ")}`);
}

const heard = (device: string, name: string, state?: string) =>
  client.heard.find(
    (e) =>
      e.attributes.device === device &&
      e.attributes.name === name &&
      (state === undefined || e.attributes.state === state),
  );

async function connect(device: string, last: string): Promise<void> {
  await until(device, () => heard(device, "CONNECTION"));
  await client.switchOn(device, "CONNECTION", "CONNECT");
  await until(`${device} ${last}`, () => heard(device, last));
}

async function slewTo(target: { raHours: number; decDegrees: number }): Promise<void> {
  client.take();
  await client.numbers("Telescope Simulator", "EQUATORIAL_EOD_COORD", {
    RA: target.raHours,
    DEC: target.decDegrees,
  });
  await until("the end of the slew", () => heard("Telescope Simulator", "EQUATORIAL_EOD_COORD", "Ok"));
}

async function image(seconds: number) {
  client.take();
  await client.numbers("Scene Camera", "CCD_EXPOSURE", { CCD_EXPOSURE_VALUE: seconds });
  const blob = await until("an image", () => client.heard.find((e) => e.tag === "setBLOBVector"));
  const hdu = readFits(Buffer.from(blob.children[0]!.text.trim(), "base64"))[0]!;
  const pixels = hdu.pixels as Uint16Array;
  return { header: hdu.header, mean: pixels.reduce((sum, value) => sum + value, 0) / pixels.length };
}

test("both programs define their devices, and a separate program reads them", async () => {
  await connect("Telescope Simulator", "EQUATORIAL_EOD_COORD");
  await connect("Focuser Simulator", "ABS_FOCUS_POSITION");
  await connect("Filter Simulator", "FILTER_SLOT");
  await connect("Scene Camera", "CCD1");
  await connect("Scene Cover", "CAP_PARK");
  await connect("Scene Diffuser", "CAP_PARK");
  const all = server.getprop();
  expect(all["Scene Camera.CCD_INFO.CCD_MAX_X"]).toBe("320");
  expect(all["Scene Camera.ACTIVE_DEVICES.ACTIVE_TELESCOPE"]).toBe("Telescope Simulator");
  expect(all["Scene Cover.CAP_PARK.UNPARK"]).toBe("On");
  expect(all["Scene Diffuser.CAP_PARK.PARK"]).toBe("Off");
});

test("the picture follows a mount and leaves that other programs drive", async () => {
  const { latitudeDegrees: LAT, longitudeDegrees, elevationMetres: ELEV } = site;
  await client.numbers("Telescope Simulator", "GEOGRAPHIC_COORD", {
    LAT,
    LONG: (longitudeDegrees + 360) % 360,
    ELEV,
  });
  await client.switchOn("Telescope Simulator", "TELESCOPE_PARK", "UNPARK");
  await client.switchOn("Telescope Simulator", "TELESCOPE_TRACK_MODE", "TRACK_SOLAR");
  await until("the site", () => heard("Telescope Simulator", "GEOGRAPHIC_COORD", "Ok"));
  const sun = sunPlace(site, Date.now());
  await slewTo(sun);
  const bright = await image(0.001);
  expect(bright.header.number("SITELONG")).toBeCloseTo(site.longitudeDegrees, 3);
  expect(bright.header.text("TELESCOP")).toBe("Telescope Simulator");
  await slewTo({ raHours: sun.raHours, decDegrees: sun.decDegrees + 10 });
  const away = await image(0.001);
  const sunlight = bright.mean - away.mean; // what is left is the pedestal
  expect(sunlight).toBeGreaterThan(0.5 * away.mean);

  await slewTo(sunPlace(site, Date.now()));
  client.take();
  await client.switchOn("Scene Diffuser", "CAP_PARK", "PARK");
  await until("the diffuser", () => heard("Scene Diffuser", "CAP_PARK", "Ok"));
  const diffused = await image(0.001);
  expect(diffused.mean - away.mean).toBeLessThan(sunlight / 10);
  expect(diffused.mean).toBeGreaterThan(away.mean);
  client.take();
  await client.switchOn("Scene Cover", "CAP_PARK", "PARK");
  await until("the cover", () => heard("Scene Cover", "CAP_PARK", "Ok"));
  const covered = await image(0.001);
  expect(Math.abs(covered.mean - away.mean)).toBeLessThan(sunlight / 100);
});

test("focus and filter of other drivers stand in the header", async () => {
  client.take();
  await client.numbers("Focuser Simulator", "ABS_FOCUS_POSITION", { FOCUS_ABSOLUTE_POSITION: 50_100 });
  await until("the focuser", () => heard("Focuser Simulator", "ABS_FOCUS_POSITION", "Ok"));
  await client.numbers("Filter Simulator", "FILTER_SLOT", { FILTER_SLOT_VALUE: 2 });
  await until("the wheel", () => heard("Filter Simulator", "FILTER_SLOT", "Ok"));
  const { header } = await image(0.001);
  expect(header.number("FOCUSPOS")).toBe(50_100);
  expect(header.text("FILTER")).toBe("continuum");
});
