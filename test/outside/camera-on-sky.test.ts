import { expect, test } from "vitest";
import { calibrateCamera, moveToCentre } from "../../agent/imaging/disc/camera-on-sky.ts";
import { type Check, check } from "./check.ts";

function calibrated({ inputs }: Check) {
  const [first, second] = inputs.nudgesArcsec.map(([eastArcsec, northArcsec]: number[], i: number) => ({
    move: { eastArcsec, northArcsec },
    shiftPx: { xPx: inputs.movesPx[i][0], yPx: inputs.movesPx[i][1] },
  }));
  const result = calibrateCamera(first, second);
  if (!result.accepted) throw new Error(result.reason);
  return result.camera;
}

/** Computed independently with numpy. */
test.each(["mount.nudges", "mount.nudges.mirrored"])("%s: matrix, scale, parity, correction", (id) => {
  const one = check(id);
  const { inputs, expected, tolerance } = one;
  const camera = calibrated(one);
  expect(Math.abs(camera.arcsecPerPx - expected.scaleArcsecPerPx)).toBeLessThan(tolerance.abs);
  expect(camera.parity).toBe(expected.parity);
  if (expected.angleDeg !== undefined) {
    expect(Math.abs(camera.angleDegrees - expected.angleDeg)).toBeLessThan(tolerance.abs);
    expected.matrixPxPerArcsec.flat().forEach((value: number, i: number) => {
      expect(Math.abs(camera.pxPerArcsec[i]! - value)).toBeLessThan(tolerance.abs);
    });
  }
  const move = moveToCentre(camera, { xPx: inputs.discOffsetPx[0], yPx: inputs.discOffsetPx[1] });
  expect(Math.abs(move.eastArcsec - expected.correctionArcsec[0])).toBeLessThan(tolerance.abs);
  expect(Math.abs(move.northArcsec - expected.correctionArcsec[1])).toBeLessThan(tolerance.abs);
});
