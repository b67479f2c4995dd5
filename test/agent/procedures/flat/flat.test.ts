import { join } from "node:path";
import { expect, test } from "vitest";
import { flatAgainstTruth } from "../../../../agent/imaging/proof/flat-against-truth.ts";
import { flat } from "../../../../agent/procedures/flat/flat.ts";
import type { FlatRequest } from "../../../../agent/procedures/flat/flat-request.ts";
import { images } from "../../../../agent/procedures/images/images.ts";
import { leakCheck } from "../../../../agent/procedures/leak-check/leak-check.ts";
import { readCcdImage } from "../../../../drivers/formats/ccd-image.ts";
import { FitsFile } from "../../../../drivers/formats/fits-file.ts";
import { benchOnWorld } from "../bench-on-world.ts";
import { complaintsOf, onlyUnproved } from "./complaints.ts";
import { driftBench } from "./drift-bench.ts";

const leakAsk = { limitFraction: 0.001, frames: 8, levelFraction: 0.85, coverAfter: "closed" } as const;
const request: FlatRequest = {
  blur: "diffuser",
  frames: 20,
  darkFrames: 8,
  levelFraction: 0.85,
  leakLimitFraction: 0.001,
  proveLight: false,
  coverAfter: "closed",
};

/** Deep wells: 20 frames are enough for 0.2 %. */
const deep = {
  camera: { bits: 14, words: "shifted", fullWellElectrons: 50_000, electronsPerCodeAtGain0: 3 },
} as const;

test("leak check, then a flat of 20 frames: good but for its light, that nobody proved; true to the scene, diffuser out and cover closed after it", async () => {
  using rig = benchOnWorld(41, deep, 0);
  await rig.run(leakCheck, leakAsk);
  const outcome = await rig.run(flat, request);
  expect(outcome.failure).toBeUndefined();
  const found = outcome.found!;
  expect(found).toMatchObject({ verdict: "usable", frameCount: 20, refusedFrames: 0 });
  expect(complaintsOf(found.proof)).toEqual(onlyUnproved);
  expect(found.reasons.join()).toMatch(
    /light was not proved: the plan does not want it.*eight or more frames/,
  );
  expect(Math.abs(found.upperEdge.median - 0.85)).toBeLessThan(0.012);
  const master = readCcdImage(join(rig.bench.folder, found.files.flat));
  const { widthPx, heightPx, data } = master;
  const { flat: truth } = rig.painter.truth();
  const compared = flatAgainstTruth({
    widthPx,
    heightPx,
    master: data,
    sigma: master.sigma!,
    mask: master.mask!,
    truth,
  })!;
  expect(compared.rmsError / compared.rmsExpected).toBeLessThan(1.05);
  expect(Math.abs(compared.withinOneSigma - 0.6827)).toBeLessThan(0.02);
  expect(rig.world.diffuser.position).toBe(0);
  expect(rig.world.cover.position).toBe(0);
  expect(rig.notes.filter(({ event }) => event === "dark master")).toHaveLength(1); // the leak check's served
});

test("progress is told once a frame, with the time left", async () => {
  using rig = benchOnWorld(42);
  await rig.run(leakCheck, leakAsk);
  rig.told.length = 0;
  await rig.run(flat, request);
  const frames = rig.told.filter(({ what }) => what === "flat frames");
  expect(frames.map(({ done }) => done)).toEqual(Array.from({ length: 20 }, (_, k) => k + 1));
  expect(frames.at(-1)!.secondsLeft).toBe(0);
  expect(frames[9]!.secondsLeft).toBeGreaterThan(0);
});

test("no leak check before it: refused, nothing moves", async () => {
  using rig = benchOnWorld(43);
  const before = rig.world.history.length;
  const outcome = await rig.run(flat, request);
  expect(outcome).toMatchObject({ ended: "failed", failure: { code: "LEAK_CHECK_MISSING" } });
  expect(rig.world.history.slice(before).some(({ part }) => part === "cover" || part === "mount")).toBe(
    false,
  );
});

test("darks that do not match are taken anew, and the mount comes back to the Sun", async () => {
  using rig = benchOnWorld(45, deep);
  await rig.run(leakCheck, leakAsk);
  const outcome = await rig.run(flat, { ...request, darkFrames: 12 });
  expect(complaintsOf(outcome.found!.proof)).toEqual(onlyUnproved);
  expect(rig.findings.darkMaster!.frameCount).toBe(12);
});

test("after images have shown how bright the bare Sun is, the flat is searched for what is left of it", async () => {
  using rig = benchOnWorld(46, deep);
  const taken = await rig.run(images, { frames: 2, levelFraction: 0.7, coverAfter: "closed" });
  expect(taken.ended).toBe("completed");
  await rig.run(leakCheck, leakAsk);
  const outcome = await rig.run(flat, request);
  const left = outcome.found!.proof.leftoverSun!;
  expect(Math.abs(left.share)).toBeLessThan(4 * left.shareSigma);
  expect(outcome.found!.proof.figures.find(({ id }) => id === "leftoverSun")).toMatchObject({
    verdict: "good",
  });
});

test("the sky is lost in mid-series: the frame is dropped, cover closed, diffuser out", async () => {
  using rig = benchOnWorld(47);
  await rig.run(leakCheck, leakAsk);
  const outcome = await rig.run(flat, request, {
    stop: { afterSeconds: 14, because: "rain" },
  });
  expect(outcome.ended).toBe("stopped");
  expect(outcome.failure!.message).toContain("rain");
  expect(rig.world.cover.position).toBe(0);
  expect(rig.world.diffuser.position).toBe(0);
  expect(rig.world.camera.phase).toBe("idle");
});

test("enough frames: the series ends when a stack of 5 images is served, long before the most that are allowed", async () => {
  using rig = benchOnWorld(48, deep);
  await rig.run(leakCheck, leakAsk);
  const enough = { imagesToStack: 5, addedNoiseFraction: 0.1, imageOverFlatLevel: 0.8 };
  const outcome = await rig.run(flat, { ...request, frames: 200, enough });
  expect(outcome.failure).toBeUndefined();
  const { frameCount, bought, proof } = outcome.found!;
  // 5 · 0.8 / (1.1² - 1) = 19.05; the even and odd halves are compared every second frame.
  expect(frameCount).toBeGreaterThanOrEqual(20);
  expect(frameCount).toBeLessThanOrEqual(26);
  expect(bought!.addedNoiseFraction).toBeLessThanOrEqual(0.1);
  expect(bought!.frames).toBe(frameCount);
  expect(Math.abs(proof.halves!.firstFrames - proof.halves!.secondFrames)).toBeLessThanOrEqual(6);
});

/** Rms error of a flat of the run over blocks of 32 px. */
function blockErrorOf({ bench, painter }: ReturnType<typeof benchOnWorld>, file: string): number {
  const { widthPx, heightPx, data, sigma, mask } = readCcdImage(join(bench.folder, file));
  const pixels = { widthPx, heightPx, master: data, sigma: sigma!, mask: mask! };
  return flatAgainstTruth({ ...pixels, truth: painter.truth().flat })!.rmsErrorBlocks;
}

test("a bent response is found by a ladder of exposures, told as the cause, and known from then on", async () => {
  using rig = benchOnWorld(49, { camera: { ...deep.camera, response: { quadratic: 0.05, shoulder: 0 } } });
  await rig.run(leakCheck, leakAsk);
  const ask = { ...request, frames: 8, proofFrames: 4 };
  const outcome = await rig.run(flat, ask);
  expect(complaintsOf(outcome.found!.proof)).toContain("response");
  expect(outcome.found!.reasons.join()).toContain("response is bent");
  const { budget, response } = outcome.found!.proof;
  expect(response!.ofImages.map(({ imageLevel }) => imageLevel)).toEqual([0.4, 0.7]);
  expect(budget.parts.find(({ cause }) => cause === "linearity")).toMatchObject({ state: "measured" });
  const ladders = () => rig.notes.filter(({ event }) => event === "sensor's response").length;
  expect(ladders()).toBe(1);
  const again = await rig.run(flat, ask);
  expect(complaintsOf(again.found!.proof)).toContain("response");
  expect(ladders(), "not measured twice").toBe(1);
  const straight = await rig.run(flat, { ...ask, correctResponse: true });
  const { files, proof, responseCorrection } = straight.found!;
  expect(responseCorrection).toEqual({ kept: true });
  expect(complaintsOf(proof)).not.toContain("response");
  expect(ladders(), "by the curve that is known").toBe(1);
  const [bentError, straightError] = [again.found!.files.flat, files.flat].map((file) =>
    blockErrorOf(rig, file),
  ) as [number, number];
  expect(bentError).toBeGreaterThan(0.001);
  expect(straightError).toBeLessThan(bentError / 2);
  // Another gain's curve is another curve, and one of long ago is measured again.
  rig.findings.response = {
    ...rig.findings.response!,
    measuredUtcMs: rig.bench.clock.nowMs() - 91 * 86_400_000,
  };
  await rig.run(flat, ask);
  expect(ladders()).toBe(2);
});

test("a sheet that lets 3 % through clear before a whole disc is refused before any frame of the flat is taken", async () => {
  const optics = { apertureMm: 12, focalLengthMm: 85 } as const;
  using rig = driftBench(50, { optics, rig: { diffuser: { clearShare: 0.03 } } });
  await rig.run(images, { frames: 1, levelFraction: 0.7, coverAfter: "closed" });
  await rig.run(leakCheck, leakAsk);
  rig.told.length = 0;
  const outcome = await rig.run(flat, { ...request, proveLight: true });
  expect(outcome).toMatchObject({ ended: "failed", failure: { code: "DIFFUSER_TOO_CLEAR" } });
  expect(outcome.failure!.message).toMatch(/lets (2\.[6-9]|3|3\.[0-4]) %/);
  expect(rig.told.some(({ what }) => what === "flat frames")).toBe(false);
  expect(rig.world.cover.position).toBe(0);
  // The same sheet, where the plan says that its picture of the Sun is to be divided out again.
  const again = await rig.run(flat, { ...request, proveLight: true, correctLight: true });
  expect(again.failure).toBeUndefined();
  const { lightCorrection, files, proof } = again.found!;
  expect(lightCorrection).toMatchObject({ kept: true, heldOutLooks: 9 });
  expect(Math.abs(lightCorrection!.clearShare!.share - 0.03)).toBeLessThan(0.003);
  expect(lightCorrection!.after!.rms).toBeLessThan(0.0015);
  expect("notMeasured" in proof.light ? undefined : proof.light.rms).toBe(lightCorrection!.after!.rms);
  const master = readCcdImage(join(rig.bench.folder, files.flat));
  expect(master.header.logical("LIGHTCOR")).toBe(true);
  expect(blockErrorOf(rig, files.flat)).toBeLessThan(0.001);
  // Times its factor the flat is as it was taken: the Sun's picture is in it.
  using file = FitsFile.open(join(rig.bench.folder, files.flat));
  const factor = file.findImage("LIGHTCLR")!;
  const clear = factor.readRows(0, factor.rowCount);
  const [middle, corner] = [clear[clear.length / 2 + master.widthPx / 2]!, clear[0]!];
  expect(middle / corner - 1).toBeGreaterThan(0.025);
});
