import { existsSync, readFileSync } from "node:fs";
import { join } from "node:path";
import { afterEach, beforeEach, expect, test } from "vitest";
import { StepError } from "../../agent/procedures/step-error.ts";
import { mastersOf } from "../../agent/run/ledger/history.ts";
import { DeadlineError, RefusedError } from "../../drivers/kit/errors.ts";
import { FakeRun, flatFound, usualWorks } from "../agent/run/fake-run.ts";

let run: FakeRun;
let before: unknown;
beforeEach(() => {
  run = new FakeRun();
  before = run.rig.account();
});
afterEach(() => run[Symbol.dispose]());

/** The rig is as it was found, and nothing of ours is left waiting. */
function expectAsFound(): void {
  expect(run.rig.account()).toEqual(before);
  expect(run.clock.pendingTimers).toBe(0);
  expect(run.ledger.unfinishedRuns("garden")).toEqual([]);
}

test("a clear morning: every step in order, verdict good, rig as it was found", async () => {
  const seen: string[] = [];
  const note =
    (name: string, work = usualWorks.flat!) =>
    async (...given: Parameters<typeof work>) => {
      seen.push(name);
      return work(...given);
    };
  const nothing = async () => undefined;
  const report = await run.run({
    centre: note("centre", usualWorks.centre),
    "leak-check": note("leak-check", nothing),
    flat: note("flat"),
    images: note("images", nothing),
  });
  expect(report).toMatchObject({ ended: "completed", verdict: "good", exitCode: 0, notAsFound: [] });
  expect(seen).toEqual(["centre", "leak-check", "flat", "images"]);
  const masters = mastersOf(run.ledger, { rig: "garden", trainMark: report.record.trainMark! });
  expect(masters).toMatchObject([
    { kind: "flat", verdict: "good", file: join(report.folder, "flat-master.fits") },
  ]);
  expect(report.record.steps.map((step) => step.ended)).toEqual(Array(4).fill("completed"));
  expect(run.rig.told).toContain("cover.position = open");
  expectAsFound();
});

test("the record tells the whole run: settings before and after, time line, and it is on disk", async () => {
  const report = await run.run(usualWorks);
  const { record } = report;
  expect(record.settings).toHaveLength(25);
  expect(record.settings.find((s) => s.device === "Fake camera" && s.key === "gain")).toEqual({
    role: "camera",
    device: "Fake camera",
    key: "gain",
    before: 120,
    after: 120,
    state: "same",
  });
  const onDisk = JSON.parse(readFileSync(join(report.folder, "run.json"), "utf8"));
  expect(onDisk).toMatchObject({ runId: record.runId, exitCode: 0, leftOnRig: { cover: "closed" } });
  const events = readFileSync(join(report.folder, "events.ndjson"), "utf8").trim().split("\n");
  const told = events.map((line) => JSON.parse(line).event);
  for (const event of [
    "run begins",
    "baseline is on disk",
    "step begins",
    "restoring",
    "restored",
    "run ended",
  ]) {
    expect(told).toContain(event);
  }
  expect(told.indexOf("baseline is on disk")).toBeLessThan(told.indexOf("step begins"));
});

test("rain in mid-flat: the frame is dropped, the cover closes before the mount turns off the Sun", async () => {
  const report = await run.run({
    ...usualWorks,
    flat: async (bench, signal) => {
      bench.clock.setTimer(60, () => {
        run.rig.weather = "unsafe";
      });
      return usualWorks.flat!(bench, signal);
    },
  });
  expect(report).toMatchObject({ ended: "unsafe", exitCode: 4, leftOnRig: { cover: "closed" } });
  expect(report.record.guardEvents[0]!.reasons[0]).toContain("rain");
  const told = run.rig.told.slice(run.rig.told.indexOf("diffuser.position = closed"));
  const closed = told.indexOf("cover.position = closed");
  expect(closed).toBeGreaterThan(0);
  expect(told.findIndex((line) => line.startsWith("mount.pointing"))).toBeGreaterThan(closed);
  expect(run.rig.get("dome", "shutter")).toBe("closed");
  run.rig.truth.get("dome")!.set("shutter", "open"); // all else
  expectAsFound();
});

test("a step that finds it unsafe: the telescope is turned off the Sun, though no guard said so", async () => {
  const { sunFromSite } = await import("../../agent/sky/sun-from-site.ts");
  const { separationDegrees } = await import("../../agent/sky/separation.ts");
  let farthest = 0;
  run.rig.afterChange = (what) => {
    if (what !== "mount.pointing") return;
    const [raHours, decDegrees] = run.rig.get("mount", "pointing") as readonly [number, number];
    const sun = sunFromSite(run.clock.nowMs(), {
      latitudeDegrees: 52.1,
      longitudeDegrees: -1.4,
      elevationMetres: 110,
    });
    farthest = separationDegrees({ raHours, decDegrees }, sun);
    if (farthest > 25) run.rig.afterChange = () => {};
  };
  const failure = new StepError("FAR_TOO_BRIGHT", "far too bright", "Look at the filter.", "brightness");
  const report = await run.run({ ...usualWorks, flat: async () => ({ ended: "unsafe", failure }) });
  expect(report).toMatchObject({ ended: "unsafe", exitCode: 4, leftOnRig: { cover: "closed" } });
  expect(farthest).toBeGreaterThan(25);
});

test("the operator stops once: the step settles, the rig is put back, a shell sees 130", async () => {
  run.clock.setTimer(60, () => run.stop.abort(new Error("Ctrl-C")));
  const report = await run.run(usualWorks);
  expect(report).toMatchObject({ ended: "stopped", exitCode: 130 });
  expect(report.record.steps.map((step) => [step.kind, step.ended])).toEqual([
    ["centre", "completed"],
    ["leak-check", "completed"],
    ["flat", "stopped"],
  ]);
  expectAsFound();
});

test("a stop while the rig is being put back changes nothing: the plan was done", async () => {
  const report = await run.run({
    ...usualWorks,
    images: async () => {
      run.clock.setTimer(4, () => run.stop.abort(new Error("Ctrl-C")));
      return undefined;
    },
  });
  expect(report).toMatchObject({ ended: "completed", exitCode: 0 });
  expectAsFound();
});

test("a stop before anything moved: nothing is restored because nothing was changed", async () => {
  run.stop.abort(new Error("Ctrl-C"));
  const report = await run.run(usualWorks);
  expect(report).toMatchObject({ ended: "stopped", exitCode: 130 });
  expect(run.rig.told.filter((line) => !line.includes("connected"))).toEqual([]);
  expectAsFound();
});

test("a step that does not settle is given up, and the rig is made safe without it", async () => {
  run.clock.setTimer(60, () => run.stop.abort(new Error("Ctrl-C")));
  const report = await run.run({
    ...usualWorks,
    flat: (bench) => bench.clock.sleep(3600).then(() => undefined),
  });
  expect(report).toMatchObject({ ended: "stopped", exitCode: 130 });
  expect(report.failure?.code).toBe("STEP_ABANDONED");
  expect(run.rig.account()).toEqual(before);
});

test("a step that hangs while the sky is lost is given up in time: covered within the minute", async () => {
  let rainMs = 0;
  let coveredMs = 0;
  run.rig.afterChange = (what) => {
    if (what === "cover.position" && run.rig.get("cover", "position") === "closed")
      coveredMs = run.clock.nowMs();
  };
  const report = await run.run({
    ...usualWorks,
    flat: ({ clock }) => {
      rainMs = clock.nowMs();
      run.rig.weather = "unsafe";
      return clock.sleep(12 * 3600).then(() => undefined);
    },
  });
  expect(report).toMatchObject({ ended: "unsafe", exitCode: 4, failure: { code: "STEP_ABANDONED" } });
  expect((coveredMs - rainMs) / 1000).toBeLessThan(60);
});

test("a failed step ends the plan, unless the plan goes on", async () => {
  const fails = async () =>
    ({ ended: "failed", failure: new DeadlineError("Fake camera", "the exposure", 5) }) as const;
  const stopped = await run.run({ ...usualWorks, flat: fails });
  expect(stopped).toMatchObject({ ended: "failed", exitCode: 5, failure: { code: "RIG_DEADLINE" } });
  expect(stopped.record.steps).toHaveLength(3);
  expectAsFound();
  const went = await run.run({ ...usualWorks, images: fails });
  expect(went.record.steps).toHaveLength(4);
  expect(went).toMatchObject({ ended: "failed", verdict: "good", exitCode: 5 });
  expectAsFound();
});

test("a result that is bad is said so with its own code", async () => {
  const report = await run.run({
    ...usualWorks,
    flat: async () => ({ ended: "completed", found: flatFound("bad") }),
  });
  expect(report).toMatchObject({ ended: "completed", verdict: "bad", exitCode: 3 });
});

test("a fault of ours in a step still puts the rig back", async () => {
  const report = await run.run({
    ...usualWorks,
    flat: async () => {
      throw new TypeError("undefined is not a flat");
    },
  });
  expect(report).toMatchObject({ ended: "failed", exitCode: 1, failure: { code: "FAULT" } });
  expectAsFound();
});

test("a step that finds it unsafe makes the rig retreat", async () => {
  const failure = new RefusedError("Fake camera", "40 times brighter than expected");
  const report = await run.run({ ...usualWorks, centre: async () => ({ ended: "unsafe", failure }) });
  expect(report).toMatchObject({ ended: "unsafe", exitCode: 4 });
  expect(report.record.steps).toHaveLength(1);
  expect(run.rig.told.some((line) => line.startsWith("mount.pointing"))).toBe(false); // parked: stays so
  expectAsFound();
});

test("a cover that was found open stays closed after a retreat, and that is said; the shutter is left to the weather", async () => {
  run.rig.truth.get("cover")!.set("position", "open");
  const failure = new RefusedError("Fake camera", "40 times brighter than expected");
  const report = await run.run({ ...usualWorks, flat: async () => ({ ended: "unsafe", failure }) });
  expect(report.exitCode).toBe(4);
  expect(run.rig.get("cover", "position")).toBe("closed");
  expect(report.notAsFound).toMatchObject([{ device: "Fake cover", key: "position", state: "keptSafe" }]);
  expect(run.ledger.unfinishedRuns("garden")).toEqual([]);
});

test("a cover that was found open is open again after a good run", async () => {
  run.rig.truth.get("cover")!.set("position", "open");
  before = run.rig.account();
  expect((await run.run(usualWorks)).exitCode).toBe(0);
  expect(run.rig.told.at(-2)).toBe("cover.position = open");
  expect(run.rig.told.at(-1)).toBe("camera.connected = false");
  expectAsFound();
});

test("what cannot be put back is listed, and the next run does not begin before it is", async () => {
  run.rig.afterChange = (what) => {
    if (what === "diffuser.position") run.rig.stuck.add("diffuser.position");
  };
  const report = await run.run(usualWorks);
  expect(report).toMatchObject({ exitCode: 6, verdict: "good" });
  expect(report.notAsFound).toMatchObject([
    { device: "Fake diffuser", key: "position", before: "open", after: "closed" },
  ]);
  const told = run.rig.told.length;
  const second = await run.run(usualWorks, { folder: join(run.folder, "second") });
  expect(second).toMatchObject({ ended: "failed", exitCode: 6, failure: { code: "RIG_NOT_RESTORED" } });
  expect(run.rig.told.slice(told).every((line) => line.endsWith("stops") || line.includes("connected"))).toBe(
    true,
  );
  run.rig.stuck.clear();
  run.rig.afterChange = () => {};
  const third = await run.run(usualWorks, { folder: join(run.folder, "third") });
  expect(third.exitCode).toBe(0);
  expectAsFound();
});

test("weather that is bad at the start refuses the run; nothing moves", async () => {
  run.rig.weather = "unsafe";
  const report = await run.run(usualWorks);
  expect(report).toMatchObject({ ended: "refused", exitCode: 4 });
  expect(run.rig.told.filter((line) => !line.includes("connected"))).toEqual([]);
  expectAsFound();
});

test.each([
  ["drift", 500, "must be at least 498 px", "1.6"],
  ["defocus", 60, "must be at least 127 px", "3.4"],
] as const)(
  "a disc too small for a flat by %s is refused before anything moves",
  async (blur, focalLengthMm, needed, times) => {
    run.planText = `plan: blur\nsteps:\n  - centre\n  - flat: { blur: ${blur}, frames: 30 }\n`;
    run.rigText = run.rigText
      .replace("focalLengthMm: 800", `focalLengthMm: ${focalLengthMm}`)
      .replace("devices:", "devices:\n  focuser: { server: home, device: Focuser A }");
    const report = await run.run(usualWorks);
    expect(report).toMatchObject({ ended: "refused", exitCode: 2 });
    const { message, whatToDo } = report.failure!;
    expect(message).toContain(`with ${focalLengthMm} mm of focal length and pixels of 3.75 µm, binned 2 x 2`);
    expect(message).toContain("in a frame of 320 x 240 px");
    expect(message).toContain(needed);
    expect(whatToDo).toContain(`a focal length ${times}`);
    expect(run.rig.told.filter((line) => !line.includes("connected"))).toEqual([]);
    expectAsFound();
  },
);

test("a disc large enough for a flat by drift by the rig file is not refused", async () => {
  run.planText = "plan: blur\nsteps:\n  - centre\n  - flat: { blur: drift, frames: 30 }\n";
  run.rigText = run.rigText.replace("focalLengthMm: 800", "focalLengthMm: 1100");
  expect((await run.run(usualWorks)).ended).toBe("completed");
});

test("a mount that falls silent for a minute is as unsafe as rain; the rest of the rig is put back", async () => {
  const report = await run.run({
    ...usualWorks,
    flat: async ({ clock }, signal) => {
      run.rig.silent.add("mount");
      await clock.sleep(600, signal);
      return undefined;
    },
  });
  expect(report.exitCode).toBe(6);
  expect(report.record.guardEvents[0]!.reasons[0]).toContain("mount");
  expect(new Set(report.notAsFound.map((s) => s.role))).toEqual(new Set(["mount"]));
  expect(run.rig.get("cover", "position")).toBe("closed");
});

test("a report that cannot be drawn is a fault of ours, and the numbers are on disk all the same", async () => {
  const report = await run.run(usualWorks, {
    writeOutputs: async () => {
      throw new Error("no ink");
    },
  });
  expect(report).toMatchObject({ exitCode: 1, failure: { message: "no ink" } });
  expect(existsSync(join(report.folder, "run.json"))).toBe(true);
  expectAsFound();
});

test("what one run measured the next one knows", async () => {
  const rate = {
    edgeAduPerSecond: 5,
    pedestalAdu: 60,
    gain: 0,
    sunAltitudeDegrees: 50,
    measuredUtcMs: run.clock.nowMs() + 1,
  };
  await run.run({
    ...usualWorks,
    "leak-check": async ({ findings }) => {
      findings.lightRate.diffuser = rate;
      return undefined;
    },
  });
  let known: unknown;
  await run.run(
    {
      ...usualWorks,
      centre: async ({ findings }) => {
        known = structuredClone(findings);
        return { ended: "completed" };
      },
    },
    { folder: join(run.folder, "second") },
  );
  expect(known).toEqual({ lightRate: { diffuser: rate }, clearestRate: { diffuser: rate } });
});

test("a dome found parked and shut is open towards the Sun for the work, follows it, and is shut and parked again", async () => {
  const dome = run.rig.truth.get("dome")!;
  dome.set("shutter", "closed").set("parked", true);
  before = run.rig.account();
  const seen: unknown[] = [];
  const report = await run.run({
    ...usualWorks,
    images: async ({ clock }, signal) => {
      seen.push(run.rig.get("dome", "shutter"), run.rig.get("dome", "azimuth"));
      await clock.sleep(3600, signal);
      seen.push(run.rig.get("dome", "azimuth"));
      return undefined;
    },
  });
  expect(report.exitCode).toBe(0);
  const [shutter, early, late] = seen as [string, number, number];
  expect(shutter).toBe("open");
  expect(early).toBeGreaterThan(120); // the Sun at ten in the forenoon
  expect(early).toBeLessThan(140);
  expect(late - early).toBeGreaterThan(15);
  expectAsFound();
});

test("a stop while the dome opens: no step begins, the dome is shut again", async () => {
  run.rig.truth.get("dome")!.set("shutter", "closed");
  before = run.rig.account();
  run.rig.afterChange = (what) => {
    if (what === "dome.shutter") run.stop.abort(new Error("Ctrl-C"));
  };
  const report = await run.run(usualWorks);
  expect(report).toMatchObject({ ended: "stopped", exitCode: 130 });
  expect(report.record.steps).toEqual([]);
  expectAsFound();
});

test("a dome that does not open ends the run as a device's failure", async () => {
  run.rig.truth.get("dome")!.set("shutter", "closed");
  before = run.rig.account();
  const connect = async () => {
    const { rig, seal } = await run.rig.connect();
    const ensureShutterOpen = () => Promise.reject(new DeadlineError("Fake dome", "opening", 180));
    return {
      seal,
      leftConnected: () => [],
      rig: { ...rig, dome: { ...rig.dome!, ensureShutterOpen } },
      async [Symbol.asyncDispose]() {},
    };
  };
  const report = await run.run(usualWorks, { connect });
  expect(report).toMatchObject({ ended: "failed", exitCode: 5, failure: { device: "Fake dome" } });
  expect(report.record.steps).toEqual([]);
});
