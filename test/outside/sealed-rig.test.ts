import { mkdtempSync, rmSync } from "node:fs";
import { tmpdir } from "node:os";
import { join } from "node:path";
import { afterAll, beforeAll, expect, test } from "vitest";
import { Ledger } from "../../agent/run/ledger/ledger.ts";
import { runPlan } from "../../agent/run/machine/run-plan.ts";
import { systemClock } from "../../drivers/kit/clock.ts";
import { silentLog } from "../../drivers/kit/log.ts";
import { Random } from "../../drivers/kit/random.ts";
import { readPlan } from "../../plans/plan-file.ts";
import { readRigFile } from "../../plans/rig-file.ts";
import { presentKeeper } from "../agent/run/present-keeper.ts";
import { clockWithoutStalls } from "./clock-without-stalls.ts";
import { type StockServer, startStockServer } from "./stock-server.ts";

const camera = "CCD Simulator";
const clock = clockWithoutStalls();
/** Where it is about noon now. */
const longitudeDegrees = (180 - ((systemClock.nowMs() / 86_400_000) % 1) * 360).toFixed(2);
const rigYaml = `
rig: stock-camera
site: { latitudeDegrees: 30, longitudeDegrees: ${longitudeDegrees}, elevationMetres: 200 }
optics: { apertureMm: 60, focalLengthMm: 400, wavelengthNm: 656.28 }
sunFilter:
  describe: Simulated energy-rejection filter of full aperture
  madeForThisInstrument: true
  lastConfirmed: ${new Date(systemClock.nowMs()).toISOString().slice(0, 10)}
servers:
  stock: { indi: { host: 127.0.0.1, port: 7624 } }
devices:
  camera: { server: stock, device: ${camera} }
`;
const darksPlan = "plan: darks\nsteps:\n  - darks: { exposureSeconds: 0.5, frames: 4 }\n";
/** Shorter than the camera exposes, which is judged with the camera connected. */
const refusedPlan = "plan: too-short\nsteps:\n  - darks: { exposureSeconds: 0.0001, frames: 4 }\n";

let folder: string;
let server: StockServer;

beforeAll(async () => {
  folder = mkdtempSync(join(tmpdir(), "sealed-rig-"));
  server = await startStockServer({ drivers: ["indi_simulator_ccd"] });
});

afterAll(async () => {
  clock[Symbol.dispose]();
  await server?.[Symbol.asyncDispose]();
  rmSync(folder, { recursive: true, force: true });
});

/** All but what the camera measures, counts and pictures. */
function settings(): Record<string, string> {
  const all = Object.entries(server.getprop(`${camera}.*.*`));
  return Object.fromEntries(all.filter(([key]) => !/\.(CCD_EXPOSURE|CCD1|CCD_TEMPERATURE|FWHM)\./.test(key)));
}

async function play(plan: string, name: string) {
  using ledger = new Ledger(join(folder, `${name}.sqlite`));
  return await runPlan({
    plan: readPlan(plan, "plan.yaml"),
    rigFile: readRigFile(rigYaml, "rig.yaml"),
    openers: () => server.open,
    clock,
    random: new Random(1),
    log: silentLog,
    folder: join(folder, name),
    ledger,
    signal: new AbortController().signal,
    unattended: true,
    warn: () => {},
    progress: () => {},
    keepers: [presentKeeper],
    writeOutputs: async () => [],
  });
}

test("Debian's camera, set up by another program: untouched by a refused run, and after a good one as it was", async () => {
  server.setprop(`${camera}.CONNECTION.CONNECT=On`);
  await systemClock.sleep(3);
  server.setprop(`${camera}.CCD_COMPRESSION.INDI_ENABLED=On`);
  server.setprop(`${camera}.UPLOAD_MODE.UPLOAD_LOCAL=On`);
  server.setprop(`${camera}.CCD_EXPOSURE.CCD_EXPOSURE_VALUE=600`);
  await systemClock.sleep(1);
  const before = settings();
  expect(before).toMatchObject({
    [`${camera}.CCD_COMPRESSION.INDI_ENABLED`]: "On",
    [`${camera}.UPLOAD_MODE.UPLOAD_LOCAL`]: "On",
  });

  expect(await play(refusedPlan, "refused")).toMatchObject({ failure: { code: "PLAN_DOES_NOT_FIT_RIG" } });
  expect(settings()).toEqual(before);
  const left = `${camera}.CCD_EXPOSURE.CCD_EXPOSURE_VALUE`;
  expect(Number(server.getprop(left)[left])).toBeGreaterThan(100);

  server.setprop(`${camera}.CCD_ABORT_EXPOSURE.ABORT=On`);
  expect(await play(darksPlan, "good")).toMatchObject({ exitCode: 0, notAsFound: [] });
  expect(settings()).toEqual(before);
});
