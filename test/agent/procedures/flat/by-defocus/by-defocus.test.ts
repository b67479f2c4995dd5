import { existsSync } from "node:fs";
import { join } from "node:path";
import { expect, test } from "vitest";
import { maskBits } from "../../../../../agent/imaging/combining/mask-bits.ts";
import { flatAgainstTruth } from "../../../../../agent/imaging/proof/flat-against-truth.ts";
import type { FocusTry } from "../../../../../agent/procedures/flat/by-defocus/defocus-work.ts";
import { flat } from "../../../../../agent/procedures/flat/flat.ts";
import type { FlatFound, FlatRequest } from "../../../../../agent/procedures/flat/flat-request.ts";
import type { StepError } from "../../../../../agent/procedures/step-error.ts";
import { at, playFaults } from "../../../../../agent/rehearsal/faults/fault.ts";
import { cloud, stuck } from "../../../../../agent/rehearsal/faults/world-faults.ts";
import { failureRecord } from "../../../../../agent/run/record/failure-record.ts";
import { readCcdImage } from "../../../../../drivers/formats/ccd-image.ts";
import { complaintsOf, onlyUnproved } from "../complaints.ts";
import { defocusBench } from "../defocus-bench.ts";

const request: FlatRequest = {
  blur: "defocus",
  frames: 24,
  darkFrames: 8,
  levelFraction: 0.85,
  leakLimitFraction: 0.001,
  proveLight: false,
  coverAfter: "closed",
};

type Bench = ReturnType<typeof defocusBench>;

const take = (rig: Bench, send?: Parameters<Bench["run"]>[2]) =>
  rig.run(flat, request, { rig: { focuser: rig.focuser }, ...send });

function compared(rig: Bench, found: FlatFound) {
  const { widthPx, heightPx, data, sigma, mask } = readCcdImage(join(rig.bench.folder, found.files.flat));
  const truth = rig.painter.truth().flat;
  return {
    ...flatAgainstTruth({ widthPx, heightPx, master: data, sigma: sigma!, mask: mask!, truth })!,
    mask: mask!,
  };
}

/** Steps that both states of focus lie apart, play included. */
const focusOff = (rig: Bench, before: number) => Math.abs(rig.world.focuser.load - before);
/** Depth of focus ±2 λ N² at f/6.7 and 656 nm, 2 µm a step: 29 steps. */
const depthSteps = (2 * 0.65628 * (500 / 75) ** 2) / 2;

test("a flat by defocus: good but for its light, true to the scene though spots stand in view, focus found again, covered", async () => {
  using rig = defocusBench(71);
  const [position, load] = [rig.world.focuser.position, rig.world.focuser.load];
  const outcome = await take(rig);
  expect(outcome.failure).toBeUndefined();
  const found = outcome.found!;
  expect(found).toMatchObject({ verdict: "usable", blur: "defocus" });
  expect(complaintsOf(found.proof)).toEqual(onlyUnproved);
  const truth = compared(rig, found);
  expect(truth.rmsError / truth.rmsExpected).toBeLessThan(1.1);
  expect(truth.rmsErrorBlocks).toBeLessThan(2e-4);
  expect(found.defocus!.stretch).toBeGreaterThan(1); // behind focus, as the focuser went up
  const worst = Math.max(...found.defocus!.leftover.map(({ rms }) => rms));
  expect(worst).toBeLessThan(found.defocus!.noise);
  expect(found.defocus!.litFraction).toBeGreaterThan(0.99);
  const { electronsPerAdu, from } = rig.findings.conversion!;
  expect(from).toBe("a flat's frames");
  expect(Math.abs(electronsPerAdu / rig.painter.truth({ gain: 0 }).electronsPerAdu - 1)).toBeLessThan(0.02);
  expect(rig.world.focuser.position).toBe(position);
  expect(focusOff(rig, load)).toBeLessThan(depthSteps);
  expect(rig.world.cover.position).toBe(0);
});

test("a gear with much play: the side is found from which focus is the same again", async () => {
  using rig = defocusBench(72, { focuser: { backlashSteps: 120 } });
  const load = rig.world.focuser.load;
  const outcome = await take(rig);
  expect(outcome.failure).toBeUndefined();
  expect(focusOff(rig, load)).toBeLessThan(depthSteps);
  const { fields } = rig.notes.find(({ event }) => event === "focus")!;
  expect(fields).toMatchObject({ approach: "above" });
});

test("the mount did not follow the Sun for a while: the flat is usable at most, and says why", async () => {
  using rig = defocusBench(71);
  Object.assign(rig.bench, { trackingLapses: () => [{ fromUtcMs: rig.clock.nowMs() }] });
  const { found } = await take(rig);
  expect(found!.verdict).toBe("usable");
  expect(complaintsOf(found!.proof)).toEqual(onlyUnproved);
  expect(found!.reasons.join(" ")).toContain("did not follow the Sun");
});

test("a focuser high up in its travel goes down to leave focus", async () => {
  using rig = defocusBench(73, {
    focuser: { bestSteps: 15_000 },
    startsWith: { focusSteps: 15_000 },
  });
  const outcome = await take(rig);
  expect(complaintsOf(outcome.found!.proof)).toEqual(onlyUnproved);
  expect(outcome.found!.defocus!.flatSteps).toBeLessThan(15_000);
  expect(rig.world.focuser.position).toBe(15_000);
});

test("a disc smaller than the frame: the corners are masked as unlit, the middle is true", async () => {
  using rig = defocusBench(74, { optics: { focalLengthMm: 160, apertureMm: 24 } });
  const outcome = await take(rig);
  expect(outcome.failure).toBeUndefined();
  const found = outcome.found!;
  const truth = compared(rig, found);
  expect(found.verdict).toBe("usable");
  expect(found.reasons.join(" ")).toContain("leaves its corners unlit");
  expect(found.defocus!.litFraction).toBeLessThan(0.6);
  expect(found.defocus!.litFraction).toBeGreaterThan(0.4);
  for (const corner of [0, 255, 191 * 256, 192 * 256 - 1])
    expect(truth.mask[corner]! & maskBits.unlit).toBe(maskBits.unlit);
  expect(truth.rmsError / truth.rmsExpected).toBeLessThan(1.3);
});

test("a disc that would light hardly anything: refused with the sizes, nothing moves", async () => {
  using rig = defocusBench(75, { optics: { focalLengthMm: 40, apertureMm: 6 } });
  const before = rig.world.history.length;
  const outcome = await take(rig);
  expect(outcome).toMatchObject({ ended: "failed", failure: { code: "DISC_TOO_SMALL_TO_DEFOCUS" } });
  expect(outcome.failure!.message).toContain("256 x 192 px");
  expect(rig.world.history.slice(before)).toEqual([]);
});

test("the travel ends before the Sun's structure is gone: said with its limits, focus put back, covered", async () => {
  using rig = defocusBench(76, {
    focuser: { stepsMin: 5600, stepsMax: 6500 },
  });
  const outcome = await take(rig);
  expect(outcome).toMatchObject({ ended: "failed", failure: { code: "DEFOCUS_TOO_WEAK" } });
  expect(outcome.failure!.message).toContain("5600 to 6500 steps");
  expect(rig.world.focuser.position).toBe(6000);
  expect(rig.world.cover.position).toBe(0);
});

test("the focuser jams on its way: the step fails, the cover closes, and it is told that focus is not back", async () => {
  using rig = defocusBench(77);
  playFaults({ world: rig.world }, [at(0).begins(stuck("focuser", 7000))]);
  const outcome = await take(rig);
  expect(outcome.ended).toBe("failed");
  expect(outcome.failure!.message).toContain("focuser");
  expect(rig.world.cover.position).toBe(0);
  expect(rig.world.camera.phase).toBe("idle");
});

test("the focuser says that it is back, and the Sun is not sharp: told, the flat kept but called bad", async () => {
  using rig = defocusBench(81);
  const slipping = {
    ...rig.focuser,
    moveTo: (steps: number, signal: AbortSignal) => {
      const isOver = rig.told.some(({ what }) => what === "putting focus back");
      if (isOver) rig.world.focuser.pretend(); // its motor turns, and nothing moves
      return rig.focuser.moveTo(steps, signal);
    },
  };
  const outcome = await rig.run(flat, request, { rig: { focuser: slipping } });
  expect(outcome).toMatchObject({ ended: "failed", failure: { code: "FOCUS_NOT_RESTORED" } });
  const { message, figures } = outcome.failure as StepError;
  expect(message).toMatch(
    /back at 6000 steps.* \d\.\d\d % rms .* \d\.\d\d % is wanted.* at 6000 steps from (above|below).* from (above|below)/,
  );
  const { reached, wanted, before, tried } = figures as Record<string, number> & { tried: FocusTry[] };
  expect(reached).toBe(Math.max(...tried.map(({ sharpness }) => sharpness)));
  expect(reached).toBeLessThan(wanted!);
  expect(wanted).toBe(0.75 * before!);
  expect(failureRecord(outcome.failure)).toMatchObject({ figures: { reached, wanted } });
  expect(rig.notes.find(({ event }) => event === "flat master")!.fields).toMatchObject({ verdict: "bad" });
  expect(existsSync(join(rig.bench.folder, "flat-master.fits"))).toBe(true);
  expect(rig.world.cover.position).toBe(0);
});

test("a focuser that moves nothing from the start: the blur can't be measured, and that is said", async () => {
  using rig = defocusBench(82);
  rig.world.focuser.pretend();
  const outcome = await take(rig);
  expect(outcome).toMatchObject({ ended: "failed", failure: { code: "BLUR_NOT_MEASURED" } });
  expect(rig.world.cover.position).toBe(0);
});

test("stopped in the middle of the looks: mount at rest, cover closed, focus back where it was", async () => {
  using rig = defocusBench(78);
  const outcome = await take(rig, { stop: { afterSeconds: 200, because: "the operator" } });
  expect(outcome.ended).toBe("stopped");
  expect(rig.notes.some(({ event }) => event === "out of focus")).toBe(true);
  expect(rig.world.focuser.position).toBe(6000);
  expect(rig.world.mount.phase).toBe("still");
  expect(rig.world.cover.position).toBe(0);
});

test("the Sun goes behind a cloud: no flat, focus back where it was, covered", async () => {
  using rig = defocusBench(79);
  playFaults({ world: rig.world }, [at(250).begins(cloud(0.3))]);
  const outcome = await take(rig);
  expect(outcome).toMatchObject({ ended: "failed", failure: { code: "LIGHT_UNSTEADY" } });
  expect(rig.world.focuser.position).toBe(6000);
  expect(rig.world.cover.position).toBe(0);
});

test("never centred, or no focuser: refused, nothing moves", async () => {
  using rig = defocusBench(80);
  expect(await rig.run(flat, request)).toMatchObject({ ended: "failed" });
  delete rig.findings.cameraOnSky;
  expect(await take(rig)).toMatchObject({ ended: "failed", failure: { code: "CAMERA_ON_SKY_UNKNOWN" } });
  expect(rig.world.cover.moving).toBe(false);
});
