import { copyFileSync, mkdtempSync, readFileSync, rmSync } from "node:fs";
import { tmpdir } from "node:os";
import { join } from "node:path";
import { afterAll, expect, test } from "vitest";
import { flatCheckRows } from "../../agent/outputs/flat-check-rows.ts";
import { reportSummary } from "../../agent/outputs/report-words.ts";
import type { FlatFound } from "../../agent/procedures/flat/flat-request.ts";
import type { ImagesFound } from "../../agent/procedures/images/images-request.ts";
import { checkWorld } from "../../agent/rehearsal/checkers/check-world.ts";
import { at, type Fault } from "../../agent/rehearsal/faults/fault.ts";
import { cameraStuckBusy, tubeSlips } from "../../agent/rehearsal/faults/world-faults.ts";
import { listFlats } from "../../agent/run/ledger/history.ts";
import { describeRun } from "../../agent/run/record/describe-run.ts";
import { imageWarnings } from "../../agent/run/record/flat-doubts.ts";
import type { RunReport } from "../../agent/run/record/run-record.ts";
import { FitsFile } from "../../drivers/formats/fits-file.ts";
import { openStage, type Stage } from "../stage/stage.ts";
import { dustyScene, slippingPlanText } from "./slipping-scene.ts";

const start = (plan: string) => openStage({ scene: dustyScene, plan });

const folder = mkdtempSync(join(tmpdir(), "evenfield-new-flat-"));
afterAll(() => rmSync(folder, { recursive: true, force: true }));

/** A whole run in which nothing moved. */
const quietFolder = join(folder, "day-before");
const quietReport = await playQuietRun();

async function playQuietRun(): Promise<RunReport> {
  const plan = slippingPlanText(", whenFlatMoved: new-flat");
  await using run = await openStage({ scene: dustyScene, plan, folder: quietFolder });
  return await run.run();
}

/** The day after, with the ledger as it was then: the flat still fits, so that no other is taken at first. */
function startDayAfter(images: string, plannedMinutes?: number): Promise<Stage> {
  const today = mkdtempSync(join(folder, "day-after-"));
  copyFileSync(join(quietFolder, "ledger.sqlite"), join(today, "ledger.sqlite"));
  const startUtc = new Date(Date.parse(dustyScene.startUtc) + 86_400_000).toISOString();
  const plan = slippingPlanText(images, ", onlyWhenNoneFits: true").replace(
    "Min: 20",
    plannedMinutes === undefined ? "Min: 20" : `Min: 20, plannedMinutes: ${plannedMinutes}`,
  );
  return openStage({ scene: dustyScene, startUtc, plan, folder: today });
}

/** Begins each fault as soon as so many of that work are done. */
function when(run: Stage, script: readonly { what: string; done: number; step?: number; fault: Fault }[]) {
  const left = [...script];
  run.onProgress = ({ what, done, stepIndex }) => {
    const next = left[0];
    if (!next || what !== next.what || done < next.done || stepIndex < (next.step ?? 0)) return;
    left.shift();
    run.begin(at(0.01).for(200, next.fault));
  };
}

/** It stays. */
const slips = (xPx: number, yPx: number, degrees = 0): Fault => ({
  name: "slip",
  begin: (rig) => void tubeSlips({ xPx, yPx, degrees }).begin(rig),
});

const kinds = (report: RunReport) => report.record.steps.map(({ kind, ended }) => `${kind} ${ended}`);
const imagesOf = (report: RunReport) =>
  report.record.steps.filter(({ kind }) => kind === "images").map(({ found }) => found as ImagesFound);

function header(run: Stage, file: string) {
  using fits = FitsFile.open(join(run.folder, "run", file));
  return fits.image().header;
}

function expectAsFoundAndSafe(run: Stage): void {
  expect(run.differences()).toEqual([]);
  expect(checkWorld(run.world)).toEqual([]);
  expect(run.ledger.unfinishedRuns("scene")).toEqual([]);
}

const wholeWithNewFlat = [
  "centre completed",
  "leak-check completed",
  "flat completed",
  "images completed",
  "leak-check completed",
  "flat completed",
  "images completed",
];

test("the camera slips by 5 px in mid-run: noticed, a new flat taken, the images after it carry it, the rig as found", async () => {
  await using run = await start(slippingPlanText(", whenFlatMoved: new-flat"));
  when(run, [{ what: "images", done: 7, fault: slips(4, -3) }]);
  let firstMaster: Uint8Array | undefined;
  const play = run.onProgress;
  run.onProgress = (now) => {
    if (now.what === "images") firstMaster ??= readFileSync(join(run.folder, "run/flat-master.fits"));
    play(now);
  };
  const report = await run.run();
  expect(report).toMatchObject({ ended: "completed", verdict: "good", exitCode: 0 });
  expect(kinds(report)).toEqual(wholeWithNewFlat);
  const [before, after] = imagesOf(report);
  expect(before!.files).toHaveLength(10);
  expect(after!.files.map((file) => file.slice(-9, -5))).toEqual(
    Array.from({ length: 10 }, (_, k) => String(k + 11).padStart(4, "0")),
  );
  expect(before!.checks.map(({ says }) => says)).toEqual(["untold", "fits", "moved"]);
  expect(after!.checks.at(-1)).toMatchObject({ says: "fits", flat: "flat-master-2.fits", afterImages: 20 });
  const moved = before!.checks.at(-1)!;
  expect(moved).toMatchObject({ flat: "flat-master.fits", afterImages: 10, outcome: "new flat" });
  // Between two images the Sun changes: the shift is told to half a pixel, and says so.
  expect(moved.shiftSigmaPx).toBeLessThan(0.7);
  expect(Math.hypot(moved.shiftXPx! - 4, moved.shiftYPx! + 3)).toBeLessThan(2 * moved.shiftSigmaPx!);
  // It slipped 10 ms after the seventh, when the eighth had been exposed.
  expect(before!.doubtful).toEqual([]);
  expect(before!.moved.map((file) => file.slice(-9, -5))).toEqual(["0009", "0010"]);
  expect(imageWarnings(report.record.steps).between).toEqual([
    "image-0009.fits to image-0010.fits were taken after the train had moved: divide them by flat-master-2.fits.",
  ]);
  const [early, late] = [header(run, before!.files[0]!), header(run, after!.files[0]!)];
  expect(early.text("FLATMSTR")).toBe("flat-master.fits");
  expect(late.text("FLATMSTR")).toBe("flat-master-2.fits");
  const fits = before!.files.map((file) => header(run, file).text("FLATFITS"));
  expect(fits).toEqual([...Array(8).fill(undefined), "moved", "moved"]);
  expect(header(run, before!.moved[0]!).text("FLATMSTR")).toBe("flat-master.fits");
  expect(late.has("FLATFITS")).toBe(false);
  for (const keyword of ["EXPTIME", "GAIN", "OFFSET"]) expect(late.value(keyword)).toBe(early.value(keyword));
  expect(firstMaster).toEqual(readFileSync(join(run.folder, "run/flat-master.fits")));
  expect(
    listFlats(run.ledger)
      .map(({ file }) => file.split("/").at(-1)!)
      .toSorted((a, b) => a.localeCompare(b)),
  ).toEqual(["flat-master-2.fits", "flat-master.fits"]);
  expect(report.record.steps[5]).toMatchObject({
    kind: "flat",
    because: expect.stringContaining("moved by"),
  });
  expect(describeRun(report).happened).toContain("A new flat was taken in mid-run: The dust has moved by");
  expect(flatCheckRows(report.record).map(({ says, flat }) => `${flat} ${says}`)).toEqual([
    "flat-master.fits can't be told",
    "flat-master.fits fits",
    "flat-master.fits moved",
    "flat-master-2.fits can't be told",
    "flat-master-2.fits fits",
    "flat-master-2.fits fits",
  ]);
  expect(reportSummary(report.record)).toContain("taken in mid-run, as the one before no longer fitted");
  expect(report.record.timeline.map(({ event }) => event)).toContain("steps put in");
  expectAsFoundAndSafe(run);
});

test("the tube slips by a pixel while the flat itself is taken: the flat says that something moved, and where", async () => {
  const flatAlone = slippingPlanText("").replace(/^ {2}- images.*$/m, "");
  await using run = await start(flatAlone);
  when(run, [{ what: "flat frames", done: 16, fault: slips(0.8, -0.6) }]);
  const report = await run.run();
  const flat = report.record.steps.find(({ kind }) => kind === "flat")!.found as FlatFound;
  const moved = flat.proof.figures.find(({ id }) => id === "moved")!;
  expect(moved.value).toBeGreaterThan(0.005);
  expect(moved.verdict).not.toBe("good");
  const [, x, y] = /It shows at (\d+), (\d+) px/.exec(moved.whatToDo)!.map(Number);
  const away = dustyScene.rig.dust.map(({ xPx, yPx }) => Math.hypot(xPx - x!, yPx - y!));
  expect(Math.min(...away)).toBeLessThan(30);
});

test("the same without the option: told in verdict and record, the images go on to the last", async () => {
  await using run = await start(slippingPlanText(", testFrames: 4"));
  when(run, [{ what: "images", done: 7, fault: slips(4, -3) }]);
  const report = await run.run();
  expect(report).toMatchObject({ ended: "completed", verdict: "usable", exitCode: 0 });
  expect(kinds(report)).toEqual(wholeWithNewFlat.slice(0, 4));
  const [found] = imagesOf(report);
  expect(found!.files).toHaveLength(20);
  expect(found!.checks.map(({ says }) => says)).toEqual(["untold", "fits", "moved", "moved", "moved"]);
  expect(describeRun(report).happened).toMatch(
    /no longer fits the images: after image 10 .* only wants it told/,
  );
  const told = found!.files.map((file) => header(run, file).text("FLATFITS"));
  expect(told).toEqual([...Array(8).fill(undefined), ...Array(12).fill("moved")]);
  expectAsFoundAndSafe(run);
});

test("nothing moves: no new flat, however often it is asked", () => {
  expect(kinds(quietReport)).toEqual(wholeWithNewFlat.slice(0, 4));
  expect(quietReport.verdict).toBe("good");
  const [found] = imagesOf(quietReport);
  expect(found!.checks.map(({ says }) => says)).toEqual(["untold", "fits", "fits", "fits", "fits"]);
  expect(found!.doubtful).toEqual([]);
});

test("it slips again and again: no more new flats than the plan allows, and that is told", async () => {
  await using run = await startDayAfter(", whenFlatMoved: new-flat, newFlatsMost: 1");
  when(run, [
    { what: "images", done: 7, fault: slips(4, -3) },
    { what: "images", done: 12, step: 6, fault: slips(-3, 4) },
  ]);
  const report = await run.run();
  expect(kinds(report)).toEqual(wholeWithNewFlat);
  expect(report).toMatchObject({ ended: "completed", verdict: "usable" });
  expect(imagesOf(report)[1]!.checks.at(-1)).toMatchObject({ says: "moved", outcome: "went on" });
  expect(describeRun(report).happened).toContain(
    "1 new flat was taken in this run, as many as the plan allows",
  );
  expectAsFoundAndSafe(run);
});

test("the planned time is nearly over: no new flat is begun", async () => {
  await using run = await startDayAfter(", whenFlatMoved: new-flat", 6);
  when(run, [{ what: "images", done: 7, fault: slips(4, -3) }]);
  const report = await run.run();
  expect(kinds(report)).toEqual(wholeWithNewFlat.slice(0, 4));
  expect(describeRun(report).happened).toContain("more than is left of the 6 that are planned");
});

test("the camera dies in the new flat: the run ends as with any step that fails, and the rig is put back", async () => {
  await using run = await startDayAfter(", whenFlatMoved: new-flat");
  when(run, [
    { what: "images", done: 7, fault: slips(4, -3) },
    { what: "flat frames", done: 3, step: 5, fault: cameraStuckBusy() },
  ]);
  const report = await run.run();
  expect(report).toMatchObject({ ended: "failed", exitCode: 5 });
  expect(kinds(report).slice(3)).toEqual(["images completed", "leak-check completed", "flat failed"]);
  expectAsFoundAndSafe(run);
});

test("images come before any flat: there is none for them, so one is taken first", async () => {
  await using run = await start(`plan: none-yet
sun: { altitudeDegreesMin: 20 }
steps:
  - centre
  - images: { frames: 4, whenFlatMoved: new-flat }
  - leak-check: { frames: 8 }
  - flat: { blur: diffuser, frames: 12, darkFrames: 8 }
`);
  const report = await run.run();
  expect(kinds(report).slice(1, 5)).toEqual([
    "images completed",
    "leak-check completed",
    "flat completed",
    "images completed",
  ]);
  expect(imagesOf(report)[0]!.checks).toMatchObject([{ says: "none", outcome: "new flat", afterImages: 1 }]);
  expect(imagesOf(report)[1]!.files).toHaveLength(3);
});

test("a good flat of yesterday that still fits is not taken again; after a slip it is", async () => {
  const text = slippingPlanText("", ", onlyWhenNoneFits: true");
  await using run = await start(text);
  const first = await run.run();
  expect(first.verdict).toBe("good");
  const second = await run.run({ name: "second" });
  expect(second).toMatchObject({ ended: "completed", exitCode: 0, verdict: "good" });
  expect(second.record.findings.flatInUse).toMatchObject({
    from: "ledger",
    file: join(run.folder, "run/flat-master.fits"),
  });
  expect(listFlats(run.ledger)).toHaveLength(1);
  expect(describeRun(second).happened).toContain("still fits and serves");
  run.world.slip = { xPx: 3, yPx: 2, degrees: 0 };
  const third = await run.run({ name: "third" });
  expect(third.record.findings.flatInUse).toMatchObject({ from: "this run" });
  expect(listFlats(run.ledger)).toHaveLength(2);
  expectAsFoundAndSafe(run);
});

test("no frames through the diffuser are allowed: the images themselves, beside the first one, show the slip", async () => {
  await using run = await start(slippingPlanText(", testFrames: 0, whenFlatMoved: new-flat"));
  when(run, [{ what: "images", done: 7, fault: slips(4, -3) }]);
  const report = await run.run();
  expect(kinds(report)).toEqual(wholeWithNewFlat);
  const moved = imagesOf(report)[0]!.checks.at(-1)!;
  expect(moved).toMatchObject({ says: "moved", afterImages: 10, seenIn: "images since it fitted" });
  expect(Math.hypot(moved.shiftXPx! - 4, moved.shiftYPx! + 3)).toBeLessThan(1.2);
  expectAsFoundAndSafe(run);
});
