import { mkdtempSync, rmSync, writeFileSync } from "node:fs";
import { tmpdir } from "node:os";
import { delimiter, join, resolve } from "node:path";
import { afterAll, beforeAll, expect, test } from "vitest";
import { writeReport } from "../../agent/outputs/write-report.ts";
import type { FlatFound } from "../../agent/procedures/flat/flat-request.ts";
import { Ledger } from "../../agent/run/ledger/ledger.ts";
import { runPlan } from "../../agent/run/machine/run-plan.ts";
import { sunFromSite } from "../../agent/sky/sun-from-site.ts";
import { systemClock } from "../../drivers/kit/clock.ts";
import { silentLog } from "../../drivers/kit/log.ts";
import { Random } from "../../drivers/kit/random.ts";
import { readPlan } from "../../plans/plan-file.ts";
import { readRigFile } from "../../plans/rig-file.ts";
import { presentKeeper } from "../agent/run/present-keeper.ts";
import { dustyScene } from "../runs/slipping-scene.ts";
import { clockWithoutStalls } from "./clock-without-stalls.ts";
import { type StockServer, startStockServer } from "./stock-server.ts";

const clock = clockWithoutStalls();
const root = resolve(import.meta.dirname, "../..");
const program = (name: string) => join(root, "sim-devices/indi/programs", name);

/**
 * A site where it is about eight in the morning now and the Sun will pass near the zenith: it is up whenever the test runs,
 * and both the Sun and the place off it where darks are taken lie in the east, where the dome's slit begins. A dome that turns far
 * takes half a minute for each slew.
 */
const hoursUtc = (systemClock.nowMs() / 3_600_000) % 24;
const longitudeDegrees = Number((((8 - hoursUtc) * 15 + 540) % 360).toFixed(3)) - 180;
const equator = { latitudeDegrees: 0, longitudeDegrees, elevationMetres: 200 };
const { decDegrees: sunDegrees } = sunFromSite(systemClock.nowMs(), equator);
const site = { ...equator, latitudeDegrees: Math.round(sunDegrees) + 5 };
const today = new Date(systemClock.nowMs()).toISOString().slice(0, 10);

const rigYaml = `
rig: stock-server
site: ${JSON.stringify(site)}
optics: { apertureMm: 60, focalLengthMm: 378, wavelengthNm: 656.28 }
sunFilter:
  describe: Simulated energy-rejection filter of full aperture
  madeForThisInstrument: true
  lastConfirmed: ${today}
servers:
  stock: { indi: { host: 127.0.0.1, port: 7624 } }
devices:
  camera: { server: stock, device: Scene Camera }
  cover: { server: stock, device: Scene Cover }
  diffuser: { server: stock, device: Scene Diffuser }
  mount: { server: stock, device: Telescope Simulator }
  focuser: { server: stock, device: Focuser Simulator }
  wheel: { server: stock, device: Filter Simulator }
  rotator: { server: stock, device: Rotator Simulator }
  dome: { server: stock, device: Dome Simulator }
  weather: { server: stock, device: Weather Simulator }
`;

/**
 * The picture follows Debian's devices: the focuser simulator stands at 50000 steps. A mount that points nearly right is
 * soon corrected: its pulses move it by 7 arcsec a second.
 */
const sceneYaml = JSON.stringify({
  site,
  mount: { pointingErrorDegrees: { east: 0.03, north: -0.02 } },
  focuser: { bestSteps: 50_000, stepsMin: 0, stepsMax: 100_000 },
  camera: dustyScene.camera,
  rig: { ...dustyScene.rig, diffuser: { ...dustyScene.rig.diffuser, transmission: 0.05 } },
  startsWith: { region: dustyScene.startsWith.region },
});

/** Every step of `first-flat.yaml`, with few frames for all but the flat: it is played in real time. */
const planYaml = `
plan: whole-job
sun: { altitudeDegreesMin: 20 }
steps:
  - centre
  - leak-check: { frames: 8 }
  - flat: { blur: diffuser, frames: 32, darkFrames: 8, levelFraction: 0.85 }
  - images: { frames: 2 }
`;

/** Half an hour from the Sun: from the pole, where the simulator begins, every slew to it and back takes half a minute. */
function syncNearSun(): void {
  const { siderealHours, hourAngleHours, decDegrees } = sunFromSite(systemClock.nowMs(), site);
  const raHours = (siderealHours - hourAngleHours + 23.5) % 24;
  server.setprop("Telescope Simulator.TELESCOPE_PARK.UNPARK=On");
  server.setprop("Telescope Simulator.ON_COORD_SET.SYNC=On");
  server.setprop(`Telescope Simulator.EQUATORIAL_EOD_COORD.RA;DEC=${raHours};${decDegrees}`);
}

/** Cover and diffuser on a clock of their own, six times as fast: they move ten times. */
const quickLeaves = `#!/bin/sh
EVENFIELD_CLOCK=6,${systemClock.nowMs()},${systemClock.nowMs()} exec ${program("front-cover-driver.ts")}
`;

/** Readings that nobody can put back: times, what the sky's rotation moves, and the picture of the last exposure. */
const notSettings =
  /\.(CCD_EXPOSURE|CCD1|EQUATORIAL_EOD_COORD|TARGET_EOD_COORD|MOUNT_AXES|EQUATORIAL_PE|TIME_UTC|FWHM|FOCUS_TEMPERATURE|CCD_TEMPERATURE)\./;

let folder: string;
let server: StockServer;

beforeAll(async () => {
  folder = mkdtempSync(join(tmpdir(), "whole-job-"));
  const scene = join(folder, "scene.yaml");
  writeFileSync(scene, sceneYaml);
  const leaves = join(folder, "quick-leaves");
  writeFileSync(leaves, quickLeaves, { mode: 0o755 });
  server = await startStockServer({
    drivers: [
      ...["telescope", "focus", "wheel", "rotator", "dome", "weather"].map(
        (name) => `indi_simulator_${name}`,
      ),
      program("camera-driver.ts"),
      leaves,
    ],
    // The programs name their interpreter as `bun`, which may be installed in this folder only.
    env: {
      PATH: `${join(root, "node_modules/.bin")}${delimiter}${process.env.PATH}`,
      EVENFIELD_SCENE: scene,
    },
  });
});

afterAll(async () => {
  clock[Symbol.dispose]();
  await server?.[Symbol.asyncDispose]();
  rmSync(folder, { recursive: true, force: true });
});

const devices = [
  "Telescope Simulator",
  "Focuser Simulator",
  "Filter Simulator",
  "Rotator Simulator",
  "Dome Simulator",
  "Weather Simulator",
  "Scene Camera",
  "Scene Cover",
  "Scene Diffuser",
];

function settings(): Record<string, string> {
  return Object.fromEntries(Object.entries(server.getprop()).filter(([key]) => !notSettings.test(key)));
}

async function until(what: string, holds: () => boolean): Promise<void> {
  for (let attempt = 0; attempt < 600; attempt++) {
    if (holds()) return;
    await systemClock.sleep(0.5);
  }
  throw new Error(`${what} did not come true`);
}

test("the whole job through Debian's server and simulators: good, and every setting as before by another program", async () => {
  await until("all devices", () => devices.every((name) => `${name}.CONNECTION.CONNECT` in server.getprop()));
  for (const name of devices) server.setprop(`${name}.CONNECTION.CONNECT=On`);
  await until("all connected", () => {
    const all = server.getprop();
    return (
      devices.every((name) => all[`${name}.CONNECTION.CONNECT`] === "On") &&
      "Scene Camera.CCD_GAIN.GAIN" in all
    );
  });
  server.setprop(
    `Telescope Simulator.GEOGRAPHIC_COORD.LAT;LONG;ELEV=${site.latitudeDegrees};${(longitudeDegrees + 360) % 360};200`,
  );
  syncNearSun();
  await systemClock.sleep(3);
  const before = settings();
  expect(Object.keys(before).length).toBeGreaterThan(150);

  const runFolder = join(folder, "run");
  using ledger = new Ledger(join(folder, "ledger.sqlite"));
  const report = await runPlan({
    plan: readPlan(planYaml, "whole-job.yaml"),
    rigFile: readRigFile(rigYaml, "stock-rig.yaml"),
    openers: () => server.open,
    clock,
    random: new Random(1),
    log: silentLog,
    folder: runFolder,
    ledger,
    signal: new AbortController().signal,
    unattended: true,
    warn: () => {},
    progress: () => {},
    keepers: [presentKeeper],
    writeOutputs: (record) => writeReport(record, { folder: runFolder }),
  });
  expect(report.record.guardEvents).toEqual([]); // why it was left half way, if it was
  expect(report.failure).toBeUndefined();
  const flat = report.record.steps.find(({ kind }) => kind === "flat")!.found as FlatFound;
  expect(flat.reasons).toEqual([]);
  expect(report).toMatchObject({ ended: "completed", verdict: "good", exitCode: 0, notAsFound: [] });
  await systemClock.sleep(2);
  expect(settings()).toEqual(before);
});
