import { join } from "node:path";
import { expect, test } from "vitest";
import { flatAgainstTruth } from "../../../../../agent/imaging/proof/flat-against-truth.ts";
import { flat } from "../../../../../agent/procedures/flat/flat.ts";
import type { FlatRequest } from "../../../../../agent/procedures/flat/flat-request.ts";
import { reportJumps } from "../../../../../agent/rehearsal/faults/world-faults.ts";
import { readCcdImage } from "../../../../../drivers/formats/ccd-image.ts";
import { complaintsOf, onlyUnproved } from "../complaints.ts";
import { driftBench } from "../drift-bench.ts";

const request: FlatRequest = {
  blur: "drift",
  frames: 36,
  darkFrames: 8,
  levelFraction: 0.8,
  leakLimitFraction: 0.001,
  proveLight: false,
  coverAfter: "closed",
};

test("a flat by drift: good but for its light, true to the scene, no leak check needed, the cover closed after it", async () => {
  using rig = driftBench(61);
  const outcome = await rig.run(flat, request);
  expect(outcome.failure).toBeUndefined();
  const found = outcome.found!;
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
  expect(found).toMatchObject({ verdict: "usable", blur: "drift" });
  expect(complaintsOf(found.proof)).toEqual(onlyUnproved);
  expect(compared.rmsError / compared.rmsExpected).toBeLessThan(1.2);
  expect(compared.rmsErrorBlocks).toBeLessThan(5e-4);
  expect(found.proof.greyFrames).toBe(8);
  const figure = (id: string) => found.proof.figures.find((one) => one.id === id)!;
  expect(figure("evenOdd")).toMatchObject({ verdict: "good", value: expect.closeTo(1, 1) });
  expect(figure("drift")).toMatchObject({ verdict: "good" });
  for (const { ratio, band } of found.proof.grey) expect(ratio).toBeLessThan(1 + band);
  const { conversion } = rig.findings;
  expect(conversion).toMatchObject({ from: "two frames at rest" });
  const off = conversion!.electronsPerAdu / rig.painter.truth({ gain: 0 }).electronsPerAdu - 1;
  expect(Math.abs(off)).toBeLessThan((4 * conversion!.electronsPerAduSigma) / conversion!.electronsPerAdu);
  expect(rig.world.cover.position).toBe(0);
  expect(rig.world.diffuser.position).toBe(0);
});

test("the mount loses its count while it wanders: given up with both numbers, the open telescope stays on the Sun", async () => {
  using rig = driftBench(61);
  let farthestOpen = 0;
  let openMoves = 0;
  rig.world.listen(({ what, coverOpen, sunSeparationDegrees }) => {
    if (coverOpen < 1) return;
    farthestOpen = Math.max(farthestOpen, sunSeparationDegrees);
    if (what === "jogEnded" && ++openMoves === 8) reportJumps(2).begin({ world: rig.world });
  });
  const { ended, failure } = await rig.run(flat, request);
  rig.world.recordState();
  expect(ended).toBe("failed");
  expect(failure).toMatchObject({ code: "RIG_READBACK" });
  expect(failure!.message).toMatch(/within 1\.06° of where the Sun is expected and reads 2\d\.\d\d° from it/);
  expect(farthestOpen).toBeLessThan(1.1);
  expect(rig.world.cover.position).toBe(0);
});

test("a disc that leaves no room to drift: refused with the sizes, nothing moves", async () => {
  using rig = driftBench(65, { optics: { focalLengthMm: 300 } });
  const before = rig.world.history.length;
  const outcome = await rig.run(flat, request);
  expect(outcome).toMatchObject({ ended: "failed", failure: { code: "DISC_TOO_SMALL_TO_DRIFT" } });
  expect(outcome.failure!.message).toContain("256 x 192 px");
  expect(rig.world.history.slice(before).some(({ part }) => part === "mount")).toBe(false);
});

test("never centred: refused, nothing moves", async () => {
  using rig = driftBench(63);
  delete rig.findings.cameraOnSky;
  expect(await rig.run(flat, request)).toMatchObject({
    ended: "failed",
    failure: { code: "CAMERA_ON_SKY_UNKNOWN" },
  });
});

test("the sky is lost while drifting: mount at rest, cover closed", async () => {
  using rig = driftBench(64);
  const outcome = await rig.run(flat, request, {
    stop: { afterSeconds: 120, because: "rain" },
  });
  expect(rig.told.some(({ what }) => what === "flat frames")).toBe(true);
  expect(outcome.ended).toBe("stopped");
  expect(outcome.failure!.message).toContain("rain");
  expect(rig.world.cover.position).toBe(0);
  expect(rig.world.mount.phase).toBe("still");
  expect(rig.world.camera.phase).toBe("idle");
});
