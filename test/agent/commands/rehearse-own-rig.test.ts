import { mkdtempSync, readFileSync, rmSync, writeFileSync } from "node:fs";
import { tmpdir } from "node:os";
import { join } from "node:path";
import { afterAll, expect, test } from "vitest";
import { registerRehearse } from "../../../agent/commands/rehearse.ts";
import { rehearseRigFile } from "../../../agent/commands/rehearsed-rig.ts";
import { sceneForRig } from "../../../agent/commands/rehearsed-scene.ts";
import { fitSensor } from "../../../agent/commands/rehearsed-sensor.ts";
import { sunFromSite } from "../../../agent/sky/sun-from-site.ts";
import { readRigFile } from "../../../plans/rig-file.ts";
import { demoScene } from "../../../sim-devices/scene/spec/demo-scene.ts";
import { smallScene } from "../../stage/scenes.ts";
import { evenfield } from "./command-host.ts";

const folder = mkdtempSync(join(tmpdir(), "evenfield-own-rig-"));
afterAll(() => rmSync(folder, { recursive: true, force: true }));

/** Names, numbers and protocols of somebody's own; the diffuser is put on by hand. */
function rigText(devices: string, { site, optics } = smallScene): string {
  return `rig: mine
site: ${JSON.stringify(site)}
optics: { apertureMm: ${optics.apertureMm}, focalLengthMm: ${optics.focalLengthMm}, wavelengthNm: ${optics.wavelengthNm} }
sunFilter: { describe: mine, madeForThisInstrument: true, lastConfirmed: 2026-06-01, confirmAgainAfterDays: 90 }
servers:
  pier: { indi: { host: 192.168.7.20, port: 7625 } }
  hut: { alpaca: { host: hut.local, port: 32323 } }
devices:
${devices}`;
}

const mixed = `
  camera: { server: pier, device: Front Camera, fullScaleAdu: 65535 }
  mount: { server: hut, device: Telescope/2 }
  cover: { server: hut, device: Lid of mine }
  diffuser: { by: hand }
  focuser: { server: pier, device: Rack }
  weather: { server: hut, device: observingconditions/1, windMetresPerSecondMax: 30 }
`;

test("a rig of one's own by its names, over both protocols, with a person: the flat is good, the rig as it was", async () => {
  const rig = join(folder, "mine.yaml");
  writeFileSync(rig, rigText(mixed));
  const scene = join(folder, "small.yaml");
  writeFileSync(scene, JSON.stringify(smallScene));
  const plan = join(import.meta.dirname, "../../../plans/first-flat.yaml");
  const host = await evenfield(registerRehearse, [
    ...["rehearse", plan, "--rig", rig, "--scene", scene, "--runs", join(folder, "runs"), "--json"],
  ]);
  expect(host.exitCode, host.err).toBe(0);
  const { ended, truth, folder: ran } = host.json as { ended: string; truth: object; folder: string };
  expect({ ended, truth }).toMatchObject({ ended: "completed", truth: { differences: [] } });
  expect(host.err).toContain("Not rehearsed: devices.camera.fullScaleAdu: only the real device knows it.");
  expect(host.err).toMatch(/Put the diffuser on now.*yes \(by the simulated person\)/s);
  expect(readFileSync(join(ran, "run.json"), "utf8")).toContain("Front Camera");
});

test("each device is shown as the rig file calls it; two of one name are told apart, and that is said", () => {
  const rigFile = readRigFile(
    rigText(`
  camera: { server: pier, device: Box, gainProperty: A.B }
  wheel: { server: pier, device: Box }
  cover: { server: hut, device: covercalibrator/1 }
  diffuser: { server: hut, device: switch/0, switch: Sheet, closedValue: 90 }
  weather: { server: hut, device: safetymonitor/3, conditions: observingconditions/0, windMetresPerSecondMax: 9 }
`),
    "mine.yaml",
  );
  const { shown, notes, rigFile: rehearsed } = rehearseRigFile(rigFile);
  expect(shown).toEqual({
    indi: [
      { part: "camera", name: "Box" },
      { part: "wheel", name: "Box (wheel)" },
    ],
    alpaca: [
      { part: "cover", name: "Scene Cover", number: 1 },
      { part: "switches", name: "Scene Switches", number: 0, switchName: "Sheet" },
      { part: "station", name: "Scene Station", number: 0 },
      { part: "weather", name: "Scene Weather", number: 3 },
    ],
  });
  expect(rehearsed.devices.wheel).toEqual({ server: "pier", device: "Box (wheel)" });
  expect(rehearsed.devices.camera).toEqual({ server: "pier", device: "Box" });
  expect(notes).toHaveLength(3);
  expect(notes.join()).toMatch(/gainProperty.*closedValue.*two devices called Box/s);
});

test("the world stands where the rig stands, when the Sun is high enough there, and the filter is no older than today", () => {
  const far = { ...smallScene, site: { latitudeDegrees: 60.2, longitudeDegrees: 24.9, elevationMetres: 10 } };
  const rigFile = readRigFile(rigText("  camera: { server: pier, device: C }", far), "far.yaml");
  const now = Date.parse("2026-07-30T20:00:00Z");
  const least = { altitudeDegreesMin: 30 };
  const summer = sceneForRig(rigFile, least, demoScene, now);
  const startUtcMs = Date.parse(summer.spec.startUtc);
  expect(startUtcMs - now).toBeLessThan(86_400_000);
  expect(sunFromSite(startUtcMs, rigFile.site).altitudeDegrees).toBeGreaterThan(33);
  expect(summer.spec.startsWith.cover).toBe("open"); // it has none
  expect(summer.rigFile).toBe(rigFile);
  const winter = sceneForRig(rigFile, least, demoScene, Date.parse("2026-12-01T12:00:00Z"));
  expect(winter.spec.startUtc.slice(0, 7)).toBe("2027-03");
  const days = (Date.parse(winter.spec.startUtc) - Date.parse("2026-12-01T12:00:00Z")) / 86_400_000;
  const statedDays =
    (Date.parse(winter.rigFile.sunFilter.lastConfirmed) - Date.parse("2026-06-01")) / 86_400_000;
  expect(Math.abs(days - statedDays)).toBeLessThan(1.01);
  expect(winter.notes.join()).toContain("1280 x 960 pixels of 4.8 µm");
  expect(() => sceneForRig(rigFile, { altitudeDegreesMin: 80 }, demoScene, now)).toThrow(
    /does not climb to 83°/,
  );
});

test("the sensor and the filter array that a rig file states are the camera's; of a large one the field is kept, by fewer pixels", () => {
  const text = (camera: string) => rigText(`  camera: { server: pier, device: C, ${camera} }`, smallScene);
  const sceneOf = (camera: string) =>
    sceneForRig(
      readRigFile(text(camera), "own.yaml"),
      { altitudeDegreesMin: 20 },
      demoScene,
      Date.parse("2026-06-21T09:00:00Z"),
    );
  const plain = sceneOf("sensor: { widthPx: 640, heightPx: 480, pixelMicron: 5.6 }");
  expect(plain.spec.camera).toMatchObject({ widthPx: 640, heightPx: 480, pixelMicron: 5.6 });
  expect(plain.spec.startsWith.region).toEqual({ xPx: 0, yPx: 0, widthPx: 640, heightPx: 480 });
  expect(plain.notes.join()).toMatch(/wells, noise and converter.*640 x 480 pixels of 5.6 µm/);
  for (const { xPx, yPx } of plain.spec.rig.dust) {
    expect(xPx).toBeLessThan(640);
    expect(yPx).toBeLessThan(480);
  }
  const large = sceneOf("sensor: { widthPx: 4000, heightPx: 3000, pixelMicron: 2.4 }, filterArray: RGGB");
  const { widthPx, heightPx, pixelMicron, mosaic } = large.spec.camera;
  expect(widthPx * heightPx).toBeLessThanOrEqual(1.4e6);
  expect(widthPx * pixelMicron).toBeCloseTo(4000 * 2.4, -2);
  expect(mosaic).toMatchObject({ pattern: "RGGB" });
  expect(mosaic!.red).toBeGreaterThan(10 * mosaic!.blue); // by the wavelength of the rig file
  const violet = fitSensor(demoScene, { filterArray: "RGGB" }, 393.4).spec.camera.mosaic!;
  expect(violet.blue).toBeGreaterThan(10 * violet.red);
  expect(large.notes.join()).toContain("3 x 3 of the sensor's are one");
});

test("a rig file that was written for a scene has that scene as it is", () => {
  const rigFile = readRigFile(rigText("  camera: { server: pier, device: C }", demoScene), "demo.yaml");
  expect(sceneForRig(rigFile, { altitudeDegreesMin: 20 }, demoScene, 0)).toEqual({
    spec: demoScene,
    rigFile,
    notes: [],
  });
});
